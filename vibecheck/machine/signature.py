"""What each suspect should do at each lever position: how often it is heard, and whether at all.

Two parts that predict the same at every position recorded cannot be told apart by those takes,
whatever is done to the samples.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Literal

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.stand_ins import with_stand_ins
from vibecheck.machine.tones import Tone, tones
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning

SuspectKind = Literal["gear", "shaft", "bearing", "belt", "pump", "mains"]
State = Literal["working", "idling", "out of mesh", "still"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """A part that may be at fault."""

    name: str
    kind: SuspectKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """What one suspect does at one position.

    Attributes
    ----------
    state : str
        "working"; "idling" (turns unloaded); "out of mesh"; "still".
    rate_hz : float or None
        How often it is heard a second (a tooth: turns of its gear; a bearing: its outer race).
    known : bool
        False when the part's own numbers are missing: then its rate tells something only by how
        it moves with the levers.
    slack : float
        How far the true rate may lie off its rotor's, relative: bearings and belts slip.
    group : str
        Rigid group it follows; rates of one group stand in a fixed ratio, known or not.
    spread : float
        How far the speed of that group may lie off the table, relative.
    rolling : bool
        Heard at no whole multiple of any shaft, which by itself sets it apart from what is.
    clearance_hz : float
        For what rolls: distance to the nearest whole multiple of its shaft, which a take must be
        long enough to show (a twentieth of a turn when the bearing's numbers are not known).
    """

    state: State
    rate_hz: float | None
    known: bool = True
    slack: float = 0.0
    group: str = ""
    spread: float = 0.0
    rolling: bool = False
    clearance_hz: float = 0.0

    @property
    def heard(self) -> bool:
        """Whether a fault of the part would be heard here."""
        return self.state == "working" and self.rate_hz is not None


def every_suspect(machine: Machine) -> tuple[Suspect, ...]:
    """All parts of the table that can be at fault at some chart position."""
    turnings = [turning(machine, position) for position in machine.positions]
    working = {name for here in turnings for name in _working_gears(here)}
    rotors = dict.fromkeys(name for here in turnings for name in here.rotors)
    own = {gear.name for gear in machine.gears}
    belts = dict.fromkeys(belt.name for belt in machine.belts)
    found = [
        *(Suspect(name=g.name, kind="gear") for g in machine.gears if g.name in working),
        *(Suspect(name=name, kind="shaft") for name in rotors if name not in own),
        *(Suspect(name=b.name, kind="bearing") for b in machine.bearings if b.shaft in rotors),
        *(Suspect(name=name, kind="belt") for name in belts),
        *(Suspect(name=p.name, kind="pump") for p in machine.pumps if p.shaft in rotors),
    ]
    return (*found, Suspect(name="mains", kind="mains"))


def _working_gears(here: Turning) -> set[str]:
    loaded = [work.mesh for work in here.meshes if work.loaded]
    return {name for mesh in loaded for name in (mesh.driver, mesh.driven)}


def signature(
    machine: Machine,
    suspects: Iterable[Suspect] | None = None,
    positions: Iterable[Position] | None = None,
) -> dict[str, tuple[Sign, ...]]:
    """Suspect name -> what it does at each position, in the order of ``positions``.

    Parameters
    ----------
    machine : Machine
        Numbers may be unknown; rates that rest on them are marked as not known.
    suspects : iterable of Suspect, optional
        Default: every suspect of the table.
    positions : iterable of Position, optional
        Default: the chart.
    """
    chosen = tuple(suspects) if suspects is not None else every_suspect(machine)
    places = tuple(positions) if positions is not None else machine.positions
    filled = with_stand_ins(machine)
    pairs = [(turning(machine, p), turning(filled, p)) for p in places]
    return {s.name: tuple(_sign(s, told, full) for told, full in pairs) for s in chosen}


def _sign(suspect: Suspect, told: Turning, full: Turning) -> Sign:
    """One suspect at one position; ``full`` has stand-ins for the numbers ``told`` lacks."""
    if suspect.kind == "gear":
        return _gear_sign(suspect.name, told, full)
    if suspect.kind == "shaft":
        return _turn_sign(suspect.name, told, full)
    if suspect.kind == "mains":
        return Sign(state="working", rate_hz=2.0 * told.machine.supply.mains_hz)
    natures = {"bearing": ("outer",), "belt": ("belt",), "pump": ("vane",)}[suspect.kind]
    heard, really = _tone_of(suspect.name, natures, full), _tone_of(suspect.name, natures, told)
    rate_hz = heard.hz(full) if heard else None
    if rate_hz is None:
        return Sign(state="still", rate_hz=None)
    group = really.group or "" if really else ""
    clearance = 0.0
    if suspect.kind == "bearing":
        shaft = next(b.shaft for b in full.machine.bearings if b.name == suspect.name)
        clearance = _clearance_hz(rate_hz, full.nominal_hz(shaft) or 0.0, really is not None)
    return Sign(
        state="working",
        clearance_hz=clearance,
        rate_hz=rate_hz,
        known=bool(group),
        group=group,
        spread=_spread(told, group),
        slack={"bearing": 0.02, "belt": 0.03, "pump": 0.0}[suspect.kind],
        rolling=suspect.kind == "bearing",
    )


def _clearance_hz(rate_hz: float, shaft_hz: float, known: bool) -> float:
    if not known or shaft_hz == 0:
        return 0.05 * shaft_hz
    order = rate_hz / shaft_hz
    return abs(order - round(order)) * shaft_hz


def _tone_of(part: str, natures: tuple[str, ...], here: Turning) -> Tone | None:
    return next((t for t in tones(here) if t.part == part and t.nature in natures), None)


def _turn_sign(rotor: str, told: Turning, full: Turning) -> Sign:
    if rotor not in full.rotors:
        return Sign(state="still", rate_hz=None)
    group = told.rotors[rotor].group
    return Sign(
        state="working",
        rate_hz=full.nominal_hz(rotor),
        group=group,
        spread=_spread(told, group),
    )


def _spread(here: Turning, name: str) -> float:
    """How far a group's speed may lie off what the table gives; endless when it gives none."""
    group = here.groups.get(name)
    if group is None or not group.nominal_hz or not group.low_hz or not group.high_hz:
        return float("inf")
    return max(group.high_hz / group.nominal_hz - 1.0, 1.0 - group.low_hz / group.nominal_hz)


def _gear_sign(gear: str, told: Turning, full: Turning) -> Sign:
    works = [w for w in full.meshes if gear in (w.mesh.driver, w.mesh.driven)]
    shaft = full.machine.gear(gear).shaft
    if not works:
        return Sign(state="out of mesh" if shaft in full.rotors else "still", rate_hz=None)
    best = next((w for w in works if w.loaded), works[0])
    turn = _turn_sign(best.driver if gear == best.mesh.driver else best.driven, told, full)
    return replace(turn, state="working" if best.loaded else "idling")


def parted_here(a: Sign, b: Sign, relative: float, seconds: float) -> bool:
    """Whether one take of ``seconds`` at one position tells two suspects apart."""
    if a.heard != b.heard:
        return True
    if a.heard and a.rolling != b.rolling:
        return seconds_to_part(a, b, relative) <= seconds
    if not a.heard or not a.known or not b.known:
        return False
    return seconds_to_part(a, b, relative) <= seconds


def seconds_to_part(a: Sign, b: Sign, relative: float) -> float:
    """Length of record that shows two rates apart: four beats of their difference.

    >>> one, other = Sign(state="working", rate_hz=24.0), Sign(state="working", rate_hz=24.4)
    >>> round(seconds_to_part(one, other, 1e-3), 6)
    10.0
    """
    if a.heard != b.heard:
        return 0.0
    if a.rolling != b.rolling:
        clearance = max(a.clearance_hz, b.clearance_hz)
        return 4.0 / clearance if clearance > 0 else float("inf")
    if a.rate_hz is None or b.rate_hz is None:
        return float("inf")
    gap = abs(a.rate_hz - b.rate_hz)
    doubt = relative + a.slack + b.slack
    if a.group != b.group:
        doubt += max(a.spread, b.spread)
    if gap <= doubt * max(a.rate_hz, b.rate_hz):
        return float("inf")
    return 4.0 / gap


def moves_alike(a: Sequence[Sign], b: Sequence[Sign], relative: float = 1e-3) -> bool:
    """Whether two rates keep one ratio at all positions where both are heard."""
    steps = [
        log(x.rate_hz / y.rate_hz)
        for x, y in zip(a, b, strict=True)
        if x.heard and y.heard and x.rate_hz and y.rate_hz
    ]
    return not steps or max(steps) - min(steps) <= 10 * relative


def apart(a: Sequence[Sign], b: Sequence[Sign], relative: float, seconds: float) -> bool:
    """Whether takes at all the positions of two signatures, together, tell two suspects apart."""
    if any(parted_here(x, y, relative, seconds) for x, y in zip(a, b, strict=True)):
        return True
    return not moves_alike(a, b, relative)


def indistinguishable(
    machine: Machine,
    positions: Iterable[Position] | None = None,
    suspects: Iterable[Suspect] | None = None,
    relative: float = 1e-3,
    seconds: float = 60.0,
) -> list[tuple[str, ...]]:
    """Groups of parts that takes at these positions cannot tell apart by rate and working alone.

    Parameters
    ----------
    machine : Machine
    positions : iterable of Position, optional
        Those recorded; default the whole chart.
    suspects : iterable of Suspect, optional
        Default: every suspect of the table.
    relative : float
        Relative accuracy of the speeds found.
    seconds : float
        Length of each take.

    Returns
    -------
    list of tuple of str
        Only groups of two and more, each part in one group at most. Parts that work at none of
        the positions are left out: nothing was learnt about them.
    """
    signs = signature(machine, suspects, positions)
    heard = {name: row for name, row in signs.items() if any(sign.heard for sign in row)}
    return groups_of(heard, relative, seconds)


def groups_of(
    signs: Mapping[str, Sequence[Sign]], relative: float, seconds: float
) -> list[tuple[str, ...]]:
    """Groups of names whose signatures are not told apart, directly or through a third."""
    groups: list[list[str]] = []
    for name in signs:
        alike = [
            group
            for group in groups
            if any(not apart(signs[name], signs[other], relative, seconds) for other in group)
        ]
        merged = [other for group in alike for other in group]
        groups = [group for group in groups if group not in alike] + [[*merged, name]]
    return [tuple(group) for group in groups if len(group) > 1]
