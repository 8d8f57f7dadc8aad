"""Who turns how fast at one lever position.

Shafts tied by teeth turn in exact ratio and form one *rigid group*; V-belts slip and unknown
tooth counts leave the ratio open, so each of them starts a new group. Everything about speed is
then a few numbers per take: one speed for each rigid group.
"""

from __future__ import annotations

from dataclasses import dataclass

from vibecheck.machine.parts import Belt, Machine, Mesh, Planetary, Position


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
