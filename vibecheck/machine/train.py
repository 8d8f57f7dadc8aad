"""Who turns how fast at one lever position.

Shafts tied by teeth turn in exact ratio and form one *rigid group*; V-belts slip and unknown
tooth counts leave the ratio open, so each of them starts a new group. Everything about speed is
then a few numbers per take: one speed for each rigid group.
"""

from __future__ import annotations

from dataclasses import dataclass

from vibecheck.errors import Fault, GearTableError
from vibecheck.machine.motor import motor_span
from vibecheck.machine.parts import Belt, Machine, Mesh, Planetary, Position, When
from vibecheck.machine.ratios import (
    belt_speed,
    mesh_ratio,
    mesh_span,
    planet_mesh_per_input,
    planetary_ratio,
    planetary_reverses,
)
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


_CHART_RANGE = 0.12


@dataclass(frozen=True, slots=True)
class Link:
    """What ties rotor ``b`` to rotor ``a``: its speed over a's, exact, a span, or unknown."""

    a: str
    b: str
    ratio: float | tuple[float, float, float] | None
    reverse: bool
    name: str


class _Builder:
    """Walks from the motor outwards, one link at a time."""

    def __init__(self, machine: Machine, position: Position) -> None:
        self.machine, self.position = machine, position
        self.rotors: dict[str, Rotor] = {}
        self.groups: dict[str, Group] = {}
        self.free = self._free_gears()

    def _free_gears(self) -> dict[str, str]:
        clutched = {
            mesh.loose
            for mesh in self.machine.meshes
            if mesh.style == "dog clutch" and self.position.fits(mesh.when)
        }
        loose = {mesh.loose for mesh in self.machine.meshes if mesh.style == "dog clutch"}
        return {name: name for name in loose - clutched if name}

    def carrier(self, gear_name: str) -> str:
        """The rotor that carries a gear here: its shaft, or itself when it idles."""
        return self.free.get(gear_name, self.machine.gear(gear_name).shaft)

    def start(
        self, name: str, nominal: float | None, low: float | None, high: float | None
    ) -> None:
        self.groups[name] = Group(name=name, nominal_hz=nominal, low_hz=low, high_hz=high)
        self.rotors[name] = Rotor(name=name, group=name, ratio=1.0)

    def start_at(self, name: str, source: str, ratio: tuple[float, float, float] | None) -> None:
        """A new group driven from ``source`` at a ratio (likely, lowest, highest) or unknown."""
        base = self.rotors[source]
        group = self.groups[base.group]
        if ratio is None or group.nominal_hz is None:
            self.start(name, None, None, None)
            return
        likely, low, high = (part * base.ratio for part in ratio)
        assert group.low_hz is not None
        assert group.high_hz is not None
        self.start(name, group.nominal_hz * likely, group.low_hz * low, group.high_hz * high)

    def tie(self, name: str, source: str, ratio: float, reverse: bool) -> None:
        base = self.rotors[source]
        self.rotors[name] = Rotor(
            name=name, group=base.group, ratio=base.ratio * ratio, reverse=base.reverse ^ reverse
        )

    def links(self) -> list[Link]:
        """Everything that ties two rotors here, what is exact first."""
        here = self.position.fits
        found: list[Link] = []
        for mesh in self.machine.meshes:
            if here(mesh.when) or mesh.style == "dog clutch":
                a, b = self.carrier(mesh.driver), self.carrier(mesh.driven)
                ratio = mesh_ratio(self.machine, mesh) or mesh_span(self.machine, mesh)
                found.append(Link(a, b, ratio, not mesh.worm, mesh.name))
        for belt in self.machine.belts:
            if here(belt.when):
                found.append(Link(belt.driver, belt.driven, belt_speed(belt), False, belt.name))
        for coupling in self.machine.couplings:
            if here(coupling.when):
                found.append(Link(coupling.driver, coupling.driven, 1.0, False, "direct drive"))
        for stage in self.machine.planetaries:
            if here(stage.when):
                ratio, reverse = planetary_ratio(stage), planetary_reverses(stage)
                found.append(Link(stage.input, stage.output, ratio, reverse, stage.name))
        return sorted(found, key=lambda link: not isinstance(link.ratio, float))

    def spread(self) -> None:
        """Reach every rotor that can be reached, exact ties first, one belt at a time."""
        links = self.links()
        exact = [link for link in links if isinstance(link.ratio, float)]
        other = [link for link in links if not isinstance(link.ratio, float)]
        while any(self._cross(link) for link in exact) or any(self._cross(k) for k in other):
            pass

    def _cross(self, link: Link) -> bool:
        """Reach the far end of a link whose near end turns; False when nothing new turns."""
        known_a, known_b = link.a in self.rotors, link.b in self.rotors
        if known_a == known_b:
            return False
        source, target = (link.a, link.b) if known_a else (link.b, link.a)
        ratio = link.ratio
        if isinstance(ratio, float):
            self.tie(target, source, ratio if known_a else 1.0 / ratio, link.reverse)
        elif ratio is None or known_a:
            self.start_at(target, source, ratio)
        else:
            self.start_at(target, source, (1 / ratio[0], 1 / ratio[2], 1 / ratio[1]))
        return True

    def locked(self) -> list[Link]:
        """Exact links whose two ends turn at another ratio, or the other way round."""
        return [link for link in self.links() if not self._agrees(link)]

    def _agrees(self, link: Link) -> bool:
        a, b = self.rotors.get(link.a), self.rotors.get(link.b)
        if a is None or b is None or a.group != b.group or not isinstance(link.ratio, float):
            return True
        same = abs(b.ratio / (a.ratio * link.ratio) - 1.0) < 1e-9
        return same and (a.reverse ^ b.reverse) == link.reverse


def _conditions(machine: Machine) -> list[When]:
    return [
        *(mesh.when for mesh in machine.meshes),
        *(belt.when for belt in machine.belts),
        *(coupling.when for coupling in machine.couplings),
        *(stage.when for stage in machine.planetaries),
        *(speed.when for speed in (machine.motor.speeds if machine.motor else ())),
    ]


def turning(machine: Machine, position: Position) -> Turning:
    """What turns at one lever position, and how fast by the table.

    With a lever in neutral what lies beyond it, perhaps the spindle, is not among the rotors.

    Raises
    ------
    GearTableError
        When the power does not reach the spindle although no lever is in neutral, or when two
        paths through the train would drive one shaft at two speeds.
    """
    walk = _Builder(machine, position)
    first = machine.motor.shaft if machine.motor else (machine.shafts or (machine.spindle,))[0]
    walk.start(first, *motor_span(machine, position))
    walk.spread()
    _anchor_to_chart(walk)
    _check_free_to_turn(walk)
    if machine.spindle not in walk.rotors and not levers_in_neutral(machine, position):
        raise GearTableError(
            [
                Fault(
                    f"positions.{position.label}",
                    f"nothing that turns reaches the spindle '{machine.spindle}'; "
                    f"what turns: {', '.join(walk.rotors)}",
                    "Say what the motor drives: a belt, or [[couplings]] between two shafts."
                    if len(walk.rotors) == 1
                    else "Check that each lever group has a pair for this setting and that shaft "
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


def levers_in_neutral(machine: Machine, position: Position) -> tuple[str, ...]:
    """Levers of the chart that stand where nothing is selected."""
    selected = {
        (group, setting)
        for when in _conditions(machine)
        for group, settings in when.items()
        for setting in settings
    }
    return tuple(
        group.name
        for group in machine.groups
        if (group.name, position.levers.get(group.name)) not in selected
    )


def _check_free_to_turn(walk: _Builder) -> None:
    for link in walk.locked():
        raise GearTableError(
            [
                Fault(
                    f"positions.{walk.position.label}",
                    f"the train is locked: {link.name} and another path drive '{link.b}' from "
                    f"'{link.a}' at two speeds or two ways round",
                    "Check which pairs are together in this lever position, and their shafts.",
                )
            ],
            walk.machine.name,
        )


def _anchor_to_chart(walk: _Builder) -> None:
    """Give a group of unknown or vague speed the one the chart promises the spindle."""
    chart = walk.position.chart_rpm.middle
    spindle = walk.rotors.get(walk.machine.spindle)
    if chart is None or spindle is None or not _vague(walk.groups[spindle.group]):
        return
    base = hz(chart) / spindle.ratio
    walk.groups[spindle.group] = Group(
        name=spindle.group,
        nominal_hz=base,
        low_hz=base * (1 - _CHART_RANGE),
        high_hz=base * (1 + _CHART_RANGE),
    )


def _vague(group: Group) -> bool:
    if group.nominal_hz is None or group.low_hz is None or group.high_hz is None:
        return True
    return group.high_hz / group.low_hz > (1 + _CHART_RANGE) / (1 - _CHART_RANGE)


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
        per_input = planet_mesh_per_input(stage, sun, ring)
        found.append((stage, turn.group, turn.ratio * per_input))
    return found


def sweep(machine: Machine) -> tuple[Turning, ...]:
    """What turns at every position of the chart, in chart order."""
    return tuple(turning(machine, position) for position in machine.positions)
