"""Every tone a machine should make at one lever position, as orders of its rigid groups.

A tone stores its *order*; hertz appears only when a speed is multiplied in.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd
from typing import Literal

from vibecheck.machine.bearings import orders_of
from vibecheck.machine.train import MeshAtWork, Turning

Nature = Literal[
    "turn",
    "mesh",
    "hunting tooth",
    "belt",
    "belt tooth",
    "outer",
    "inner",
    "roller",
    "cage",
    "vane",
    "planet mesh",
    "mains",
    "motor torque",
    "pole pass",
    "rub",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One fundamental a part makes.

    Attributes
    ----------
    part : str
        The part's name in the table (shaft, pair, belt, bearing ...).
    nature : str
        What makes it.
    group : str or None
        Rigid group whose speed it follows; None for a tone fixed in hertz.
    order : float
        Multiple of the group's speed, or hertz when ``group`` is None.
    rotor : str
        The rotor it belongs to, where there is one.
    loaded : bool
        False for gears that only idle along.
    slip_low, slip_high : float
        Relative shift allowed (bearings roll and slip; belts stretch).
    """

    part: str
    nature: Nature
    group: str | None
    order: float
    rotor: str = ""
    loaded: bool = True
    slip_low: float = 0.0
    slip_high: float = 0.0

    @property
    def name(self) -> str:
        """What a person would call it."""
        return self.part if self.nature == "mesh" else f"{self.part} {self.nature}"

    def hz(self, turning: Turning) -> float | None:
        """Its frequency at the table's speeds; None when no speed is known."""
        if self.group is None:
            return self.order
        base = turning.groups[self.group].nominal_hz
        return None if base is None else base * self.order


BEARING_SLIP = (-0.03, 0.01)
"""One-sided slip window of the outer race (measured medians run from -0.3 % to -2.7 %)."""


def hunting_divisor(mesh: MeshAtWork) -> int | None:
    """Mesh rate over the rate at which the same two teeth meet: lcm(z1, z2).

    25/50 meet again every turn of the 50; 24/67 only every 24 * 67 teeth.
    """
    if not mesh.driver_teeth or not mesh.driven_teeth:
        return None
    a, b = mesh.driver_teeth, mesh.driven_teeth
    return a * b // gcd(a, b)


def tones(turning: Turning) -> tuple[Tone, ...]:
    """Fundamentals of every part at one position, those without a known order left out."""
    return (
        *_rotor_tones(turning),
        *_mesh_tones(turning),
        *_belt_tones(turning),
        *_bearing_tones(turning),
        *_other_tones(turning),
        *_electric_tones(turning),
    )


def _rotor_tones(turning: Turning) -> list[Tone]:
    turns = [
        Tone(part=r.name, nature="turn", group=r.group, order=r.ratio, rotor=r.name)
        for r in turning.rotors.values()
    ]
    return [*turns, *_rub_tones(turning)]


def _rub_tones(turning: Turning) -> list[Tone]:
    """What turns on another rotor rubs there at the difference of the two speeds."""
    found = []
    for name, carrier in _riders(turning).items():
        rider, shaft = turning.rotors.get(name), turning.rotors.get(carrier)
        if rider is None or shaft is None or rider.group != shaft.group:
            continue
        sign = -1.0 if rider.reverse == shaft.reverse else 1.0
        order = abs(rider.ratio + sign * shaft.ratio)
        if order > 1e-9:
            found.append(Tone(part=name, nature="rub", group=rider.group, order=order, rotor=name))
    return found


def _riders(turning: Turning) -> dict[str, str]:
    machine = turning.machine
    loose = {m.loose for m in machine.meshes if m.loose in turning.rotors}
    return {**machine.rides_on, **{name: machine.gear(name).shaft for name in sorted(loose)}}


def _mesh_tones(turning: Turning) -> list[Tone]:
    found = []
    for mesh in turning.meshes:
        if mesh.order is None:
            continue
        found.append(
            Tone(
                part=mesh.name,
                nature="mesh",
                group=mesh.group,
                order=mesh.order,
                rotor=mesh.driver,
                loaded=mesh.loaded,
            )
        )
        divisor = hunting_divisor(mesh)
        if divisor:
            found.append(
                Tone(
                    part=mesh.name,
                    nature="hunting tooth",
                    group=mesh.group,
                    order=mesh.order / divisor,
                    rotor=mesh.driver,
                    loaded=mesh.loaded,
                )
            )
    return found


def _belt_tones(turning: Turning) -> list[Tone]:
    found = []
    for work in turning.belts:
        driver = turning.rotors[work.driver]
        if work.order is not None:
            slip = (0.0, 0.0) if work.belt.toothed else (-0.03, 0.02)
            found.append(
                Tone(
                    part=work.belt.name,
                    nature="belt",
                    group=driver.group,
                    order=work.order * driver.ratio,
                    slip_low=slip[0],
                    slip_high=slip[1],
                )
            )
        teeth = work.belt.driver_teeth.value
        if work.belt.toothed and teeth:
            found.append(
                Tone(
                    part=work.belt.name,
                    nature="belt tooth",
                    group=driver.group,
                    order=teeth * driver.ratio,
                )
            )
    return found


def _bearing_tones(turning: Turning) -> list[Tone]:
    found = []
    for bearing in turning.machine.bearings:
        rotor = turning.rotors.get(bearing.shaft)
        orders = orders_of(bearing)
        if rotor is None or orders is None:
            continue
        for element, order in orders.items():
            low, high = BEARING_SLIP
            if element == "inner" and orders.inner > 0:
                low, high = (
                    -high * orders.outer / orders.inner,
                    -low * orders.outer / orders.inner,
                )
            found.append(
                Tone(
                    part=bearing.name,
                    nature=element,
                    group=rotor.group,
                    order=order * rotor.ratio,
                    rotor=rotor.name,
                    slip_low=low,
                    slip_high=high,
                )
            )
    return found


def _other_tones(turning: Turning) -> list[Tone]:
    found = []
    for pump in turning.machine.pumps:
        rotor = turning.rotors.get(pump.shaft)
        vanes = pump.vanes.value
        if rotor and vanes:
            found.append(
                Tone(
                    part=pump.name,
                    nature="vane",
                    group=rotor.group,
                    order=vanes * rotor.ratio,
                    rotor=rotor.name,
                )
            )
    for stage, group, order in turning.planetaries:
        found.append(Tone(part=stage.name, nature="planet mesh", group=group, order=order))
    return found


def _electric_tones(turning: Turning) -> list[Tone]:
    supply, motor = turning.machine.supply, turning.machine.motor
    found = [Tone(part="mains", nature="mains", group=None, order=2.0 * supply.mains_hz)]
    fed = supply.hz.value
    if fed and motor and supply.kind == "inverter" and fed != supply.mains_hz:
        found.append(Tone(part="motor", nature="motor torque", group=None, order=2.0 * fed))
    return found
