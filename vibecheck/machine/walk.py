"""A walk through the train at one lever position: from the motor outwards, link by link."""

from __future__ import annotations

from dataclasses import dataclass

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.ratios import (
    belt_speed,
    mesh_ratio,
    mesh_span,
    planetary_ratio,
    planetary_reverses,
)
from vibecheck.machine.train import Group, Rotor


@dataclass(frozen=True, slots=True)
class Link:
    """What ties rotor ``b`` to rotor ``a``: its speed over a's, exact, a span, or unknown."""

    a: str
    b: str
    ratio: float | tuple[float, float, float] | None
    reverse: bool
    name: str


class Walk:
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
        """A new group, with its likely, lowest and highest speed in turns a second."""
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
        """A rotor in exact ratio to ``source``, and so of its group."""
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
