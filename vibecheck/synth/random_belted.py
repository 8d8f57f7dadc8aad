"""Invented belt drives: bench lathes with a back gear, mill heads with step pulleys."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from vibecheck.machine.parts import (
    Belt,
    Coupling,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Position,
)
from vibecheck.synth.random_bearings import bearings_of
from vibecheck.synth.random_head import (
    add_gear,
    random_pumps,
    random_supply,
    v_belt,
    with_chart,
)


def cone_belts(
    rng: np.random.Generator, name: str, driver: str, driven: str, steps: int, lever: str
) -> tuple[Belt, ...]:
    """One belt on the steps of a pair of cones: each step an entry, all of one name and length."""
    total = float(10 * rng.integers(17, 24))
    length = float(10 * rng.integers(85, 140))
    turn = float(rng.uniform(1.25, 1.75))
    made = []
    for step in range(steps):
        ratio = turn ** (step - (steps - 1) / 2)
        big = round(total * ratio / (1 + ratio))
        made.append(
            Belt(
                name=name,
                driver=driver,
                driven=driven,
                driver_mm=Known.exactly(big, "measured"),
                driven_mm=Known.exactly(total - big, "measured"),
                length_mm=Known.exactly(length, "plate"),
                when={lever: (str(step + 1),)},
            )
        )
    return tuple(made)


def random_belted_lathe(rng: np.random.Generator) -> Machine:
    """Motor, countershaft, cone pulleys, and a back gear that a pin or a lever puts in."""
    supply, motor = random_supply(rng)
    primary = 2 if rng.random() < 0.6 else 1
    steps = int(rng.integers(3, 5)) if primary == 2 else 4
    first = float(rng.uniform(0.28, 0.42))
    if primary == 2:
        length = float(10 * rng.integers(90, 130))
        belts = [
            v_belt(
                rng,
                f"motor belt step {k + 1}",
                motor.shaft,
                "countershaft",
                first * (1, 1.9)[k],
                {"P": (str(k + 1),)},
                length,
            )
            for k in range(2)
        ]
    else:
        belts = [v_belt(rng, "motor belt", motor.shaft, "countershaft", first)]
    belts += cone_belts(rng, "cone belt", "countershaft", "cone", steps, "S")
    gears: list[Gear] = []
    small, big = int(rng.integers(24, 34)), int(rng.integers(56, 74))
    pinion, bull = int(rng.integers(18, 27)), int(rng.integers(62, 84))
    a = add_gear(gears, small, "cone")
    b = add_gear(gears, big, "back gear")
    c = add_gear(gears, pinion, "back gear")
    d = add_gear(gears, bull, "spindle")
    when = {"G": ("B",)}
    shafts = (motor.shaft, "countershaft", "cone", "back gear", "spindle")
    machine = Machine(
        name="invented lathe with belts and a back gear",
        supply=supply,
        motor=motor,
        shafts=shafts,
        gears=tuple(gears),
        meshes=(
            Mesh(driver=a, driven=b, when=when, style="sliding"),
            Mesh(driver=c, driven=d, when=when, style="sliding"),
        ),
        belts=tuple(belts),
        couplings=(Coupling(driver="cone", driven="spindle", when={"G": ("D",)}),),
        bearings=bearings_of(rng, (motor.shaft, "countershaft", "spindle"), motor.shaft, "spindle"),
        groups=_lever_groups(primary, steps),
    )
    return with_chart(replace(machine, positions=_every_position(machine.groups)))


def random_mill(rng: np.random.Generator) -> Machine:
    """A mill head: step pulleys, direct or through a toothed belt and a gear pair."""
    supply, motor = random_supply(rng)
    steps = int(rng.integers(4, 7))
    belts = list(cone_belts(rng, "step belt", motor.shaft, "hub", steps, "S"))
    small, big = int(rng.integers(22, 32)), int(rng.integers(40, 56))
    toothed = Belt(
        name="toothed belt",
        driver="hub",
        driven="countershaft",
        driver_teeth=Known.exactly(small),
        driven_teeth=Known.exactly(big),
        belt_teeth=Known.exactly(int(rng.integers(84, 130))),
        length_mm=Known.exactly(900.0, "plate"),
        toothed=True,
        when={"G": ("L",)},
    )
    gears: list[Gear] = []
    pinion = add_gear(gears, int(rng.integers(20, 28)), "countershaft")
    bull = add_gear(gears, int(rng.integers(82, 110)), "spindle")
    machine = Machine(
        name="invented mill head",
        supply=supply,
        motor=motor,
        shafts=(motor.shaft, "hub", "countershaft", "spindle"),
        gears=tuple(gears),
        meshes=(Mesh(driver=pinion, driven=bull, when={"G": ("L",)}, style="sliding"),),
        belts=(*belts, toothed),
        couplings=(Coupling(driver="hub", driven="spindle", when={"G": ("H",)}),),
        bearings=bearings_of(
            rng, (motor.shaft, "hub", "countershaft", "spindle"), motor.shaft, "spindle"
        ),
        pumps=random_pumps(rng, (motor.shaft,)),
        groups=(
            LeverGroup(name="S", settings=tuple(str(k + 1) for k in range(steps))),
            LeverGroup(name="G", settings=("H", "L")),
        ),
    )
    return with_chart(replace(machine, positions=_every_position(machine.groups)))


def _lever_groups(primary: int, steps: int) -> tuple[LeverGroup, ...]:
    cone = LeverGroup(name="S", settings=tuple(str(k + 1) for k in range(steps)))
    back = LeverGroup(name="G", settings=("D", "B"))
    if primary == 1:
        return (cone, back)
    return (LeverGroup(name="P", settings=("1", "2")), cone, back)


def _every_position(groups: tuple[LeverGroup, ...]) -> tuple[Position, ...]:
    return tuple(
        Position(levers={g.name: s for g, s in zip(groups, chosen, strict=True)})
        for chosen in product(*(group.settings for group in groups))
    )
