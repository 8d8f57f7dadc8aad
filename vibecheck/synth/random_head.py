"""Invented geared heads: lever groups in series between a belt and the spindle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from vibecheck.machine.parts import (
    Belt,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    MeshStyle,
    Motor,
    Position,
    Pump,
    Supply,
)
from vibecheck.machine.turning import turning
from vibecheck.synth.random_bearings import bearings_of
from vibecheck.units import rpm

_ROMAN = ("I", "II", "III", "IV", "V")
_STEPS = (1.12, 1.26, 1.41, 1.58)
_STRUCTURES: tuple[tuple[int, ...], ...] = (
    (2, 2, 2),
    (3, 3),
    (3, 2, 2),
    (2, 3, 2),
    (2, 2, 2, 2),
    (3, 3, 2),
    (2, 3, 3),
    (3, 2, 2, 2),
    (2, 3, 2, 2),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    driver: int
    driven: int


def random_supply(rng: np.random.Generator) -> tuple[Supply, Motor]:
    """Mains of 50 or 60 Hz, one or three phases, now and then an inverter; a motor to match."""
    mains = float(rng.choice([50.0, 60.0]))
    kind = str(rng.choice(["three-phase", "three-phase", "single-phase", "inverter"]))
    fed = mains if kind != "inverter" else float(rng.choice([mains, 42.0, 45.0, 55.0]))
    poles = float(rng.choice([4, 4, 4, 6, 2]))
    slip = float(rng.uniform(0.025, 0.055))
    plate = round(rpm(2 * mains / poles) * (1 - slip) / 5) * 5
    supply = Supply(
        hz=Known.exactly(fed, "plate"),
        kind=kind,  # type: ignore[arg-type]
        mains_hz=mains,
    )
    return supply, Motor(
        poles=Known.exactly(poles, "plate"), plate_rpm=Known.exactly(plate, "plate")
    )


def v_belt(
    rng: np.random.Generator,
    name: str,
    driver: str,
    driven: str,
    ratio: float,
    when: dict[str, tuple[str, ...]] | None = None,
    length_mm: float | None = None,
) -> Belt:
    """A V-belt whose pulleys give about ``ratio`` (driven over driver speed)."""
    small = float(5 * rng.integers(14, 28))
    big = round(small / ratio) if ratio < 1 else small
    small = small if ratio < 1 else round(small / ratio)
    length = length_mm or float(10 * round((1.6 * (small + big) + rng.uniform(600, 1300)) / 10))
    return Belt(
        name=name,
        driver=driver,
        driven=driven,
        driver_mm=Known.exactly(small, "measured"),
        driven_mm=Known.exactly(big, "measured"),
        length_mm=Known.exactly(length, "plate"),
        count=int(rng.integers(1, 5)),
        when=when or {},
    )


def random_head(rng: np.random.Generator, *, speeds: int | None = None) -> Machine:
    """A geared head of 8 to 24 speeds; tries until ratios and teeth are such as men would cut."""
    for _ in range(400):
        machine = _try_head(rng, speeds)
        if machine is not None:
            return machine
    raise ValueError(f"no head of {speeds} speeds found")


def _try_head(rng: np.random.Generator, speeds: int | None) -> Machine | None:
    fitting = [s for s in _STRUCTURES if speeds is None or int(np.prod(s)) == speeds]
    if not fitting:
        raise ValueError(f"no structure of {speeds} speeds; try one of 8 9 12 16 18 24")
    structure = fitting[int(rng.integers(len(fitting)))]
    step = float(rng.choice(_STEPS))
    groups = _groups(rng, structure, step)
    if groups is None:
        return None
    supply, motor = random_supply(rng)
    shafts = (*_ROMAN[: len(structure)], "spindle")
    gears, meshes = _gears_and_meshes(rng, groups, shafts)
    letters = "ABCD"[: len(structure)]
    levers = tuple(
        LeverGroup(name=letter, settings=tuple(str(k + 1) for k in range(size)))
        for letter, size in zip(letters, structure, strict=True)
    )
    names = (motor.shaft, *shafts)
    machine = Machine(
        name=f"invented head, {int(np.prod(structure))} speeds",
        supply=supply,
        motor=motor,
        shafts=names,
        gears=tuple(gears),
        meshes=tuple(meshes),
        belts=(v_belt(rng, "main belt", motor.shaft, "I", float(rng.uniform(0.35, 0.8))),),
        bearings=bearings_of(rng, names, motor.shaft, "spindle"),
        pumps=random_pumps(rng, (motor.shaft, "I")),
        groups=levers,
        positions=_positions(levers),
    )
    machine = _with_stud(rng, machine) if rng.random() < 0.35 else machine
    return with_chart(machine) if _fast_enough(machine) else None


def _groups(
    rng: np.random.Generator, structure: tuple[int, ...], step: float
) -> list[list[_Pair]] | None:
    """Pairs of each group: steps of step, step^p1, step^(p1 p2) ..., in some order of groups."""
    found, apart = [], 1
    for size in structure:
        spread = step ** (apart * (size - 1))
        if spread > 7.9:
            return None
        apart *= size
        top = float(rng.uniform(max(0.27 * spread, 0.6), 2.0)) if spread < 7 else 1.95
        if rng.random() < 0.3 and 1 / spread > 0.26:
            top = 1.0
        ratios = [top / step ** (apart // size * k) for k in range(size)]
        pairs = _pairs(rng, ratios)
        if pairs is None:
            return None
        found.append(pairs)
    return found


def _pairs(rng: np.random.Generator, ratios: list[float]) -> list[_Pair] | None:
    if max(ratios) > 2.05 or min(ratios) < 0.235:
        return None
    total = int(rng.integers(62, 125))
    made = []
    for ratio in ratios:
        own = total + int(rng.choice([0, 0, 0, 0, 0, 0, -1, 1]))
        driver = round(own * ratio / (1 + ratio))
        made.append(_Pair(driver=driver, driven=own - driver))
    teeth = [t for pair in made for t in (pair.driver, pair.driven)]
    return made if min(teeth) >= 17 and max(teeth) <= 96 else None


def _gears_and_meshes(
    rng: np.random.Generator, groups: list[list[_Pair]], shafts: tuple[str, ...]
) -> tuple[list[Gear], list[Mesh]]:
    gears: list[Gear] = []
    meshes: list[Mesh] = []
    clutched = rng.random() < 0.45
    for number, pairs in enumerate(groups):
        letter, last = "ABCD"[number], number == len(groups) - 1
        style: MeshStyle = "dog clutch" if last and clutched else "sliding"
        loose_driven = rng.random() < 0.7
        for setting, pair in enumerate(pairs, start=1):
            driver = add_gear(gears, pair.driver, shafts[number])
            driven = add_gear(gears, pair.driven, shafts[number + 1])
            loose = (driven if loose_driven else driver) if style == "dog clutch" else ""
            when = {letter: (str(setting),)}
            meshes.append(Mesh(driver=driver, driven=driven, when=when, style=style, loose=loose))
    return gears, meshes


def add_gear(gears: list[Gear], teeth: int, shaft: str) -> str:
    """Append a gear under a name of its own ("36T II", a second one "36T II b"); the name."""
    name = f"{teeth}T {shaft}"
    taken = {gear.name for gear in gears}
    for letter in ("", " b", " c", " d"):
        if name + letter not in taken:
            gears.append(Gear(name=name + letter, shaft=shaft, teeth=Known.exactly(teeth)))
            return name + letter
    raise ValueError(f"too many gears called {name}")


def _positions(levers: tuple[LeverGroup, ...]) -> tuple[Position, ...]:
    settings = product(*(group.settings for group in levers))
    return tuple(
        Position(levers={g.name: s for g, s in zip(levers, chosen, strict=True)})
        for chosen in settings
    )


def _with_stud(rng: np.random.Generator, machine: Machine) -> Machine:
    """The spindle's gear to the feed train, which turns along when nobody disengaged it."""
    gears = list(machine.gears)
    teeth = int(rng.integers(36, 64))
    driver = add_gear(gears, teeth, "spindle")
    driven = add_gear(gears, int(rng.integers(24, 60)), "stud")
    mesh = Mesh(driver=driver, driven=driven)
    return replace(
        machine,
        shafts=(*machine.shafts, "stud"),
        gears=tuple(gears),
        meshes=(*machine.meshes, mesh),
    )


def random_pumps(rng: np.random.Generator, shafts: tuple[str, ...]) -> tuple[Pump, ...]:
    """An oil pump on one of the shafts, or none."""
    if rng.random() > 0.4:
        return ()
    return (
        Pump(
            name="oil pump",
            shaft=str(rng.choice(list(shafts))),
            vanes=Known.exactly(int(rng.integers(5, 14))),
        ),
    )


def _fast_enough(machine: Machine) -> bool:
    speeds = spindle_rpm(machine)
    return min(speeds) >= 25 and max(speeds) <= 3200


def spindle_rpm(machine: Machine) -> list[float]:
    """Spindle speed the table promises at each position."""
    found = []
    for position in machine.positions:
        nominal = turning(machine, position).nominal_hz(machine.spindle)
        assert nominal is not None
        found.append(rpm(nominal))
    return found


def with_chart(machine: Machine) -> Machine:
    """With a speed chart as a plate would print it: two figures or three, a little wrong."""
    charted = []
    for position, speed in zip(machine.positions, spindle_rpm(machine), strict=True):
        digits = 5 if speed > 100 else 1
        printed = float(max(digits * round(speed / digits), 1))
        charted.append(replace(position, chart_rpm=Known.exactly(printed, "plate")))
    return replace(machine, positions=tuple(charted))
