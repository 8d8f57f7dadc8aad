"""What sounds alike: to be known before anything is measured.

Two sources at one frequency cannot be told apart in that lever position, however long one listens.
Most such cases are fixed by tooth counts and can be read off the table, with the lever positions
that part them. Thousands of high harmonics cross each other and mean nothing; only low ones are
looked at (three of a mesh, one sideband either side, four of a shaft).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field
from itertools import combinations
from math import gcd
from typing import Literal

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.tones import Tone, tones
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import sweep

Kind = Literal[
    "same frequency",
    "sideband",
    "turn alike",
    "whole ratio",
    "bearing",
    "mains",
    "slip decides",
    "close together",
    "same teeth",
]

MESH_HARMONICS = 3
SHAFT_HARMONICS = 4
BELT_SLIP = 0.02
"""Two lines with a belt between them may fall together when they are nominally this near."""
MAINS_NEAR = 0.02
"""How far a line may shift, relative, between the plate's speed and the speed at idle."""
CYCLES_TO_PART = 4.0
"""Two lines are parted when the record is this many of their beats long (Hann window)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coincidence:
    """Two lines that fall together.

    Attributes
    ----------
    kind : str
        What falls on what.
    first, second : str
        The two lines, such as "2 x 22/62 (B2)".
    parts : tuple of str
        The two parts they belong to.
    exact : bool
        True when the numbers of the table make them equal at every speed.
    where : tuple of str
        Lever positions where they fall together.
    apart : tuple of str
        Lever positions that part them: both lines there and apart, or only one of them there.
        Empty means never.
    gap_hz : float
        Smallest distance; zero when exact.
    """

    kind: Kind
    first: str
    second: str
    parts: tuple[str, str]
    exact: bool
    where: tuple[str, ...]
    apart: tuple[str, ...]
    gap_hz: float = 0.0
    rank: float = 0.0

    @property
    def seconds(self) -> float | None:
        """Length of record that parts them where they are closest; None when none does."""
        return None if self.exact or self.gap_hz <= 0 else CYCLES_TO_PART / self.gap_hz


@dataclass(slots=True)
class _Line:
    """One harmonic or sideband of one tone, at one position."""

    tone: Tone
    name: str
    order: float
    harmonic: int
    side: int = 0


@dataclass(slots=True)
class _Case:
    kind: Kind
    parts: tuple[str, str]
    natures: tuple[str, str]
    exact: bool
    rank: float
    where: list[str] = field(default_factory=list)
    gaps: list[float] = field(default_factory=list)


def coincidences(
    machine: Machine, relative: float = 1e-3, seconds: float = 30.0
) -> tuple[Coincidence, ...]:
    """Everything that sounds alike, what matters most first.

    Parameters
    ----------
    machine : Machine
        With known numbers; what is unknown takes no part.
    relative : float
        Relative distance under which two lines of one rigid train count as together.
    seconds : float
        Length of record planned; lines it cannot part count as together.
    """
    turnings = sweep(machine)
    cases: dict[tuple[Kind, str, str], _Case] = {}
    for here in turnings:
        for kind, a, b, exact, gap, rank in _found_at(here, relative, seconds):
            case = cases.setdefault(
                (kind, a.name, b.name),
                _Case(
                    kind, (a.tone.part, b.tone.part), (a.tone.nature, b.tone.nature), exact, rank
                ),
            )
            case.where.append(here.label)
            case.gaps.append(gap)
    there: dict[str, set[tuple[str, str]]]
    there = {here.label: {(t.part, t.nature) for t in tones(here) if t.loaded} for here in turnings}
    found = [_finished(key, case, there) for key, case in cases.items()]
    found += _same_teeth(turnings)
    return tuple(sorted(_without_repeats(found), key=lambda c: (c.rank, len(c.apart), c.first)))


def _finished(
    key: tuple[Kind, str, str], case: _Case, there: Mapping[str, Set[tuple[str, str]]]
) -> Coincidence:
    a, b = zip(case.parts, case.natures, strict=True)
    apart = tuple(
        label
        for label, lines in there.items()
        if label not in case.where and (a in lines or b in lines)
    )
    return Coincidence(
        kind=case.kind,
        first=key[1],
        second=key[2],
        parts=case.parts,
        exact=case.exact,
        where=tuple(case.where),
        apart=apart,
        gap_hz=0.0 if case.exact else min(case.gaps),
        rank=case.rank - (0.5 if not apart else 0.0),
    )


Found = tuple[Kind, _Line, _Line, bool, float, float]


def _found_at(here: Turning, relative: float, seconds: float) -> Iterator[Found]:
    every = tones(here)
    turns = [t for t in every if t.nature == "turn"]
    meshes = [t for t in every if t.nature in ("mesh", "belt tooth", "planet mesh")]
    yield from _shafts(here, turns, seconds)
    yield from _meshes(here, meshes, relative, seconds)
    yield from _bearings(here, every, seconds)
    yield from _mains(here, every)


def _shafts(here: Turning, turns: list[Tone], seconds: float) -> Iterator[Found]:
    for a, b in combinations(turns, 2):
        fast, slow = (a, b) if _hz(here, a) >= _hz(here, b) else (b, a)
        if a.group != b.group:
            gap = abs(_hz(here, a) - _hz(here, b))
            if 0 < gap < BELT_SLIP * _hz(here, a):
                yield "slip decides", _line(a), _line(b), False, gap, 3.0
            continue
        gap = _hz(here, fast) - _hz(here, slow)
        if 0 < gap < 0.05 * _hz(here, fast) and CYCLES_TO_PART / gap > seconds:
            yield "close together", _line(fast), _line(slow), False, gap, 3.4
        for k in range(1, SHAFT_HARMONICS + 1):
            if abs(fast.order / (k * slow.order) - 1.0) < 1e-9 and k == 1:
                if not _coupled(here, a.rotor, b.rotor):
                    yield "turn alike", _line(a), _line(b), True, 0.0, 1.0
            elif abs(fast.order / (k * slow.order) - 1.0) < 1e-9:
                yield "whole ratio", _line(fast), _line(slow, k), True, 0.0, 4.0 + k / 10


def _coupled(here: Turning, a: str, b: str) -> bool:
    """Whether a direct drive makes the two one shaft here: nothing to be warned of."""
    return any(
        {c.driver, c.driven} == {a, b} for c in here.machine.couplings if here.position.fits(c.when)
    )


def _meshes(here: Turning, meshes: list[Tone], relative: float, seconds: float) -> Iterator[Found]:
    for a, b in combinations(meshes, 2):
        if a.group != b.group:
            continue
        for k, m in _ratios():
            together = _together(here, a, k * a.order, m * b.order, relative, seconds)
            if together is not None:
                exact, gap = together
                rank = 2.0 + (k + m) / 10 + (0.0 if exact else 2.0)
                yield "same frequency", _line(a, k), _line(b, m), exact, gap, rank
        yield from _sidebands(here, a, b, relative, seconds)
        yield from _sidebands(here, b, a, relative, seconds)


def _ratios() -> list[tuple[int, int]]:
    numbers = range(1, MESH_HARMONICS + 1)
    return [(k, m) for k in numbers for m in numbers if gcd(k, m) == 1]


def _sidebands(
    here: Turning, carrier: Tone, other: Tone, relative: float, seconds: float
) -> Iterator[Found]:
    """Whether ``other`` lies on the first sideband of ``carrier`` made by one of its own shafts."""
    work = next((w for w in here.meshes if w.name == carrier.part), None)
    if work is None or not work.loaded:
        return
    for rotor in (work.driver, work.driven):
        for side in (-1, 1):
            order = carrier.order + side * here.rotors[rotor].ratio
            together = _together(here, carrier, order, other.order, relative, seconds)
            if together is not None and together[0]:
                name = f"{carrier.part} {'+' if side > 0 else '-'} {rotor}"
                band = _Line(carrier, name, order, 1, side)
                yield "sideband", _line(other), band, True, 0.0, 2.6


def _together(
    here: Turning, tone: Tone, a: float, b: float, relative: float, seconds: float
) -> tuple[bool, float] | None:
    """(exact, gap in Hz) of two orders of one group that no record of that length parts."""
    if abs(a / b - 1.0) < 1e-9:
        return True, 0.0
    gap = abs(a - b) * (_base(here, tone) or 0.0)
    if gap > 0 and (abs(a / b - 1.0) < relative or CYCLES_TO_PART / gap > seconds):
        return False, gap
    return None


def _bearings(here: Turning, every: tuple[Tone, ...], seconds: float) -> Iterator[Found]:
    races = [t for t in every if t.nature in ("outer", "inner", "roller")]
    for race in races:
        ratio = here.rotors[race.rotor].ratio
        k = round(race.order / ratio)
        gap = abs(race.order - k * ratio) * (_base(here, race) or 0.0)
        if k and gap > 0 and CYCLES_TO_PART / gap > seconds:
            turn = next(t for t in every if t.nature == "turn" and t.part == race.rotor)
            yield "bearing", _line(race), _line(turn, k), False, gap, 3.5
    for a, b in combinations(races, 2):
        if a.rotor == b.rotor and abs(a.order / b.order - 1.0) < 0.01:
            gap = abs(a.order - b.order) * (_base(here, a) or 0.0)
            yield "slip decides", _line(a), _line(b), False, gap, 3.2


def _mains(here: Turning, every: tuple[Tone, ...]) -> Iterator[Found]:
    fixed = [t for t in every if t.group is None]
    moving = [t for t in every if t.nature in ("turn", "mesh", "belt tooth", "outer", "inner")]
    for mains in fixed:
        for tone in moving:
            for k in (1, 2) if tone.nature in ("turn", "mesh") else (1,):
                gap = abs(k * _hz(here, tone) - mains.order)
                if gap < MAINS_NEAR * mains.order:
                    yield "mains", _line(mains), _line(tone, k), False, gap, 3.0 + k / 5


def _same_teeth(turnings: tuple[Turning, ...]) -> list[Coincidence]:
    """Pairs in which the same teeth meet at every turn of the larger gear."""
    found: dict[str, list[str]] = {}
    for here in turnings:
        for work in here.meshes:
            z1, z2 = work.driver_teeth, work.driven_teeth
            if work.loaded and z1 and z2 and max(z1, z2) % min(z1, z2) == 0 and not work.mesh.worm:
                found.setdefault(work.name, []).append(here.label)
    return [
        Coincidence(
            kind="same teeth",
            first=name,
            second=name,
            parts=(name, name),
            exact=True,
            where=tuple(labels),
            apart=(),
            rank=5.0,
        )
        for name, labels in found.items()
    ]


def _without_repeats(found: list[Coincidence]) -> list[Coincidence]:
    """Of several cases of one kind between the same parts, only those that add a position."""
    kept: list[Coincidence] = []
    for case in sorted(found, key=lambda c: c.rank):
        alike = [k for k in kept if k.kind == case.kind and set(k.parts) == set(case.parts)]
        if not any(set(case.where) <= set(k.where) for k in alike):
            kept.append(case)
    return kept


def parting_moves(machine: Machine, case: Coincidence) -> tuple[str, ...]:
    """Lever settings any one of which parts the two lines wherever they fall together."""
    return tuple(
        group.name + setting
        for group in machine.groups
        for setting in group.settings
        if all(_moved(machine, label, group.name, setting) in case.apart for label in case.where)
    )


def _moved(machine: Machine, label: str, group: str, setting: str) -> str:
    levers = machine.position(label).levers
    return Position(levers={**levers, group: setting}).label


def _base(here: Turning, tone: Tone) -> float | None:
    return None if tone.group is None else here.groups[tone.group].nominal_hz


def _hz(here: Turning, tone: Tone) -> float:
    return tone.hz(here) or 0.0


def _line(tone: Tone, harmonic: int = 1) -> _Line:
    head = f"{harmonic} x " if harmonic > 1 else ""
    return _Line(tone, head + _short(tone), harmonic * tone.order, harmonic)


_NAMES = {
    "turn": "{}",
    "mesh": "{}",
    "belt tooth": "{} teeth",
    "planet mesh": "{} mesh",
    "mains": "twice mains",
    "motor torque": "twice the drive's frequency",
}


def _short(tone: Tone) -> str:
    return _NAMES.get(tone.nature, "{} " + tone.nature).format(tone.part)
