"""Who turns how fast at one lever position.

Shafts tied by teeth turn in exact ratio and form one *rigid group*; V-belts slip and unknown
tooth counts leave the ratio open, so each of them starts a new group. Everything about speed is
then a few numbers per take: one speed for each rigid group.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from vibecheck.errors import Fault, GearTableError
from vibecheck.machine.parts import Belt, Machine, Mesh, Planetary, Position
from vibecheck.units import hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Rotor:
    """Something that turns as one piece: a shaft with what is keyed to it, or a loose gear.

    Attributes
    ----------
    name : str
        The shaft's name, or the loose gear's.
    group : str
        Rigid group it belongs to (named after the group's first rotor).
    ratio : float
        Its speed over the speed of the group's first rotor, unsigned.
    reverse : bool
        Whether it turns against the group's first rotor.
    """

    name: str
    group: str
    ratio: float
    reverse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MeshAtWork:
    """A pair of gears with its teeth together at this position.

    ``order`` is the tooth-meeting rate over the group's speed; ``loaded`` is False for a pair
    that only idles along; ``driver`` and ``driven`` name the rotors that carry the gears.
    """

    mesh: Mesh
    driver: str
    driven: str
    driver_teeth: int | None
    driven_teeth: int | None
    group: str
    order: float | None
    loaded: bool

    @property
    def name(self) -> str:
        """The pair's name."""
        return self.mesh.name


@dataclass(frozen=True, slots=True, kw_only=True)
class BeltAtWork:
    """A belt that runs at this position; ``order`` is belt turns per turn of its driver shaft."""

    belt: Belt
    driver: str
    driven: str
    order: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """A rigid group: its first rotor, and the speed expected of it, with the range allowed."""

    name: str
    nominal_hz: float | None
    low_hz: float | None
    high_hz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """Everything that turns at one lever position."""

    machine: Machine
    position: Position
    rotors: dict[str, Rotor]
    groups: dict[str, Group]
    meshes: tuple[MeshAtWork, ...]
    belts: tuple[BeltAtWork, ...]
    planetaries: tuple[tuple[Planetary, str, float], ...] = ()
    """Stage, group, and carrier-relative mesh order of the group."""

    def nominal_hz(self, rotor: str) -> float | None:
        """Expected speed of a rotor in turns a second; None when it cannot be known."""
        turn = self.rotors[rotor]
        base = self.groups[turn.group].nominal_hz
        return None if base is None else base * turn.ratio

    @property
    def label(self) -> str:
        """The position's label."""
        return self.position.label


_PLATE_RANGE = 0.05
_CHART_RANGE = 0.12


class _Builder:
    """Walks from the motor outwards, one link at a time."""

    def __init__(self, machine: Machine, position: Position) -> None:
        self.machine, self.position = machine, position
        self.rotors: dict[str, Rotor] = {}
        self.groups: dict[str, Group] = {}
        self.free = self._free_gears()

    def _free_gears(self) -> dict[str, str]:
        loose = {
            mesh.loose: mesh.loose
            for mesh in self.machine.meshes
            if mesh.style == "dog clutch" and not self.position.fits(mesh.when)
        }
        return {name: rotor for name, rotor in loose.items() if name}

    def carrier(self, gear_name: str) -> str:
        """The rotor that carries a gear here: its shaft, or itself when it idles."""
        return self.free.get(gear_name, self.machine.gear(gear_name).shaft)

    def start(
        self, name: str, nominal: float | None, low: float | None, high: float | None
    ) -> None:
        self.groups[name] = Group(name=name, nominal_hz=nominal, low_hz=low, high_hz=high)
        self.rotors[name] = Rotor(name=name, group=name, ratio=1.0)

    def start_at(self, name: str, source: str, ratio: tuple[float, float] | None) -> None:
        """A new group driven from ``source`` by something that slips or is not known."""
        base = self.rotors[source]
        group = self.groups[base.group]
        if ratio is None or group.nominal_hz is None:
            self.start(name, None, None, None)
            return
        low, high = ratio[0] * base.ratio, ratio[1] * base.ratio
        assert group.low_hz is not None
        assert group.high_hz is not None
        self.start(
            name, group.nominal_hz * sqrt(low * high), group.low_hz * low, group.high_hz * high
        )

    def tie(self, name: str, source: str, ratio: float, reverse: bool) -> None:
        base = self.rotors[source]
        self.rotors[name] = Rotor(
            name=name, group=base.group, ratio=base.ratio * ratio, reverse=base.reverse ^ reverse
        )

    def links(self) -> list[tuple[str, str, str, float | tuple[float, float] | None, bool]]:
        """(a, b, kind, b's speed over a's, reverses) for everything that ties two rotors here."""
        found: list[tuple[str, str, str, float | tuple[float, float] | None, bool]] = []
        for mesh in self.machine.meshes:
            if mesh.style != "sliding" or self.position.fits(mesh.when):
                if mesh.style == "fixed" and not self.position.fits(mesh.when):
                    continue
                a, b = self.carrier(mesh.driver), self.carrier(mesh.driven)
                ratio = mesh_ratio(self.machine, mesh)
                found.append((a, b, "teeth", ratio, not mesh.worm))
        for belt in self.machine.belts:
            if self.position.fits(belt.when):
                kind = "teeth" if belt.toothed else "slip"
                found.append((belt.driver, belt.driven, kind, belt_ratio(belt), False))
        for coupling in self.machine.couplings:
            if self.position.fits(coupling.when):
                found.append((coupling.driver, coupling.driven, "teeth", 1.0, False))
        for stage in self.machine.planetaries:
            if self.position.fits(stage.when):
                found.append((stage.input, stage.output, "teeth", planetary_ratio(stage), False))
        return found

    def spread(self) -> None:
        """Reach every rotor that can be reached, exact ties first."""
        links = self.links()
        while True:
            exact = [k for k in links if k[2] == "teeth" and isinstance(k[3], float)]
            other = [k for k in links if k not in exact]
            if not (self._step(exact) or self._step(other, one=True)):
                return

    def _step(
        self,
        links: list[tuple[str, str, str, float | tuple[float, float] | None, bool]],
        one: bool = False,
    ) -> bool:
        moved = False
        for a, b, _kind, ratio, reverse in links:
            known_a, known_b = a in self.rotors, b in self.rotors
            if known_a == known_b:
                continue
            source, target = (a, b) if known_a else (b, a)
            if isinstance(ratio, float):
                self.tie(target, source, ratio if known_a else 1.0 / ratio, reverse)
            elif ratio is None:
                self.start_at(target, source, None)
            else:
                span = ratio if known_a else (1.0 / ratio[1], 1.0 / ratio[0])
                self.start_at(target, source, span)
            moved = True
            if one:
                return True
        return moved


def mesh_ratio(machine: Machine, mesh: Mesh) -> float | None:
    """Driven speed over driver speed; None when neither teeth nor ratio are known.

    >>> from vibecheck.machine.parts import Gear, Known
    >>> m = Machine(name="m", gears=(Gear(name="a", shaft="I", teeth=Known.exactly(25)),
    ...     Gear(name="b", shaft="II", teeth=Known.exactly(50))))
    >>> mesh_ratio(m, Mesh(driver="a", driven="b"))
    0.5
    """
    driver, driven = machine.gear(mesh.driver).teeth.value, machine.gear(mesh.driven).teeth.value
    if driver and driven:
        return driver / driven
    return mesh.ratio.value


def belt_ratio(belt: Belt) -> float | tuple[float, float] | None:
    """Driven over driver speed: exact for toothed belts, a range for belts that slip."""
    if belt.toothed:
        driver, driven = belt.driver_teeth.value, belt.driven_teeth.value
        return driver / driven if driver and driven else None
    if None in (belt.driver_mm.low, belt.driven_mm.low):
        return None
    assert belt.driver_mm.low is not None
    assert belt.driver_mm.high is not None
    assert belt.driven_mm.low is not None
    assert belt.driven_mm.high is not None
    slip_low = belt.slip.low if belt.slip.low is not None else 0.0
    slip_high = belt.slip.high if belt.slip.high is not None else 0.03
    if slip_low == slip_high:
        slip_low, slip_high = slip_low - 0.015, slip_high + 0.015
    return (
        belt.driver_mm.low / belt.driven_mm.high * (1.0 - slip_high),
        belt.driver_mm.high / belt.driven_mm.low * (1.0 - slip_low),
    )


def planetary_ratio(stage: Planetary) -> float | None:
    """Output speed over input speed with one member held.

    Willis' equation, sun*ns + ring*nr = (sun + ring)*nc, any textbook of mechanisms.
    """
    sun, ring = stage.sun_teeth.value, stage.ring_teeth.value
    if not sun or not ring:
        return None
    both = sun + ring
    weight = {"sun": sun, "ring": ring, "carrier": -both}
    output_member = ({"sun", "ring", "carrier"} - {stage.held, stage.input_member}).pop()
    return abs(weight[stage.input_member] / weight[output_member])


def _motor_span(machine: Machine) -> tuple[float | None, float | None, float | None]:
    motor = machine.motor
    if motor is None:
        return None, None, None
    plate = motor.plate_rpm.middle
    if plate is not None:
        speed = hz(plate)
        return speed, speed * (1 - _PLATE_RANGE), speed * (1 + _PLATE_RANGE)
    poles, supply = motor.poles.value, machine.supply.hz.middle
    if poles and supply:
        synchronous = 2.0 * supply / poles
        return synchronous * 0.97, synchronous * 0.90, synchronous * 1.01
    return None, None, None


def turning(machine: Machine, position: Position) -> Turning:
    """What turns at one lever position, and how fast by the table.

    Raises
    ------
    GearTableError
        When the power does not reach the spindle although no lever is in neutral.
    """
    walk = _Builder(machine, position)
    first = machine.motor.shaft if machine.motor else (machine.shafts or (machine.spindle,))[0]
    walk.start(first, *_motor_span(machine))
    walk.spread()
    _anchor_to_chart(walk)
    if machine.spindle not in walk.rotors:
        raise GearTableError(
            [
                Fault(
                    f"positions.{position.label}",
                    f"nothing that turns reaches the spindle '{machine.spindle}'; "
                    f"what turns: {', '.join(walk.rotors)}",
                    "Check that each lever group has a pair for this setting and that shaft "
                    "names match.",
                )
            ],
            machine.name,
        )
    return Turning(
        machine=machine,
        position=position,
        rotors=walk.rotors,
        groups=walk.groups,
        meshes=tuple(_meshes(walk)),
        belts=tuple(_belts(walk)),
        planetaries=tuple(_planetaries(walk)),
    )


def _anchor_to_chart(walk: _Builder) -> None:
    """Give a group without a speed the one the chart promises the spindle."""
    chart = walk.position.chart_rpm.middle
    spindle = walk.rotors.get(walk.machine.spindle)
    if chart is None or spindle is None or walk.groups[spindle.group].nominal_hz is not None:
        return
    base = hz(chart) / spindle.ratio
    walk.groups[spindle.group] = Group(
        name=spindle.group,
        nominal_hz=base,
        low_hz=base * (1 - _CHART_RANGE),
        high_hz=base * (1 + _CHART_RANGE),
    )


def _meshes(walk: _Builder) -> list[MeshAtWork]:
    found = []
    for mesh in walk.machine.meshes:
        fits = walk.position.fits(mesh.when)
        if not fits and mesh.style != "dog clutch":
            continue
        driver, driven = walk.carrier(mesh.driver), walk.carrier(mesh.driven)
        if driver not in walk.rotors or driven not in walk.rotors:
            continue
        z1 = walk.machine.gear(mesh.driver).teeth.value
        z2 = walk.machine.gear(mesh.driven).teeth.value
        turn1, turn2 = walk.rotors[driver], walk.rotors[driven]
        if z1:
            group, order = turn1.group, z1 * turn1.ratio
        elif z2:
            group, order = turn2.group, z2 * turn2.ratio
        else:
            group, order = turn1.group, None
        found.append(
            MeshAtWork(
                mesh=mesh,
                driver=driver,
                driven=driven,
                driver_teeth=int(z1) if z1 else None,
                driven_teeth=int(z2) if z2 else None,
                group=group,
                order=order,
                loaded=fits,
            )
        )
    return found


def _belts(walk: _Builder) -> list[BeltAtWork]:
    found = []
    for belt in walk.machine.belts:
        if not walk.position.fits(belt.when) or belt.driver not in walk.rotors:
            continue
        order = None
        teeth, around = belt.driver_teeth.value, belt.belt_teeth.value
        if belt.toothed and teeth and around:
            order = teeth / around
        elif belt.length_mm.middle and belt.driver_mm.middle:
            order = 3.141592653589793 * belt.driver_mm.middle / belt.length_mm.middle
        found.append(BeltAtWork(belt=belt, driver=belt.driver, driven=belt.driven, order=order))
    return found


def _planetaries(walk: _Builder) -> list[tuple[Planetary, str, float]]:
    found = []
    for stage in walk.machine.planetaries:
        if not walk.position.fits(stage.when) or stage.input not in walk.rotors:
            continue
        sun, ring = stage.sun_teeth.value, stage.ring_teeth.value
        if not sun or not ring:
            continue
        turn = walk.rotors[stage.input]
        per_input = _planet_mesh_per_input(stage, sun, ring)
        found.append((stage, turn.group, turn.ratio * per_input))
    return found


def _planet_mesh_per_input(stage: Planetary, sun: float, ring: float) -> float:
    """Tooth-meeting rate over input speed: each member's teeth times its speed past the carrier."""
    speeds: dict[str, float] = {stage.held: 0.0, stage.input_member: 1.0}
    missing = next(m for m in ("sun", "ring", "carrier") if m not in speeds)
    weight: dict[str, float] = {"sun": sun, "ring": ring, "carrier": -(sun + ring)}
    speeds[missing] = -weight[stage.input_member] / weight[missing]
    return abs(ring * (speeds["ring"] - speeds["carrier"]))


def sweep(machine: Machine) -> tuple[Turning, ...]:
    """What turns at every position of the chart, in chart order."""
    return tuple(turning(machine, position) for position in machine.positions)
