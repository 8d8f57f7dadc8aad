"""Chatter or forced vibration: what the evidence says, and what is missing.

Self-excited chatter sings near a mode of the structure, only while cutting, at no whole multiple
of any shaft, and moves little (in small jumps) when the speed is changed. A forced vibration is
there in air as well, or follows a shaft or the mains. One sign alone proves neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vibecheck import units
from vibecheck.finish.readings import Reading as Indicated
from vibecheck.finish.tap import Mode

Kind = Literal["self-excited", "forced", "cannot tell"]
Confidence = Literal["shown", "likely", "possible", ""]

SPEED_CHANGE = 0.10
"""Cutting takes nearer in speed than this are one speed."""
STAYS = 0.08
"""A line that moved less than this while the speed changed did not follow it."""
SAME_LINE = 0.01
IN_AIR_DB = 12.0
"""A line within this of its level while cutting is there in air."""
SILENT_DB = 25.0
ABOVE_MODE = 0.15
"""Chatter lies from a little below its mode to about this far above (common practice, memory)."""
MULTIPLE_TOLERANCE = 0.2
"""A whole-multiple test looser than this many turns says nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a spectrum."""

    hz: float
    level_db: float
    uncertainty_hz: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """What was heard in one take.

    Attributes
    ----------
    name : str
        The take.
    rpm, rpm_uncertainty : float
        Spindle speed and its limit of error as a fraction.
    lines : sequence of Line
        Lines that stand out.
    shafts : sequence of (str, float)
        Everything that turns, in turns a second; the spindle is added by itself.
    """

    name: str
    rpm: float
    lines: Sequence[Line]
    rpm_uncertainty: float = 0.002
    shafts: Sequence[tuple[str, float]] = ()

    @property
    def turning(self) -> dict[str, float]:
        """Name -> turns a second, the spindle among them."""
        return {"spindle": units.hz(self.rpm), **dict(self.shafts)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """The four signs; None where the evidence is missing.

    Attributes
    ----------
    in_air : bool or None
        The line is there at idle, same speed; None without such a take or when weak.
    follows : str
        "38 x spindle": shafts it follows over two speeds by one whole multiple, joined by " = "
        when teeth make them one; "mains"; else "".
    stays : bool or None
        Nearly the same hertz although the speed changed; None with one speed only.
    whole : tuple of str
        Shafts of which one whole multiple may be the line at every take.
    mode : Mode or None
        Tapped mode it lies at; ``tapped`` says whether anybody tapped.
    """

    in_air: bool | None
    follows: str
    stays: bool | None
    whole: tuple[str, ...]
    mode: Mode | None
    tapped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ChatterVerdict:
    """What kind of vibration spoils the cut.

    Attributes
    ----------
    kind, confidence : str
        Confidence is empty when it cannot be told.
    hz : tuple of float
        The line at each cutting take.
    signs : Signs
        The evidence.
    reasons, next_tests : tuple of str
        In plain words.
    """

    kind: Kind
    confidence: Confidence
    hz: tuple[float, ...]
    signs: Signs
    reasons: tuple[str, ...]
    next_tests: tuple[str, ...]


def decide(
    cutting: Sequence[Listening],
    idle: Sequence[Listening] = (),
    modes: Sequence[Mode] = (),
    *,
    mains_hz: float | None = None,
    near_hz: float | None = None,
    tapped: bool = False,
    indicated: Sequence[Indicated] = (),
) -> ChatterVerdict:
    """Weigh the signs.

    Parameters
    ----------
    cutting : sequence of Listening
        Takes made while the mark was being cut.
    idle : sequence of Listening
        Takes in air; used where the speed is that of a cutting take.
    modes : sequence of Mode
        From a tap take; ``tapped`` is also True when a tap was made and nothing was found.
    near_hz : float or None
        Look for the line within 15 % of this; otherwise the strongest is taken.
    indicated : sequence of Reading
        Indicator readings from the job.
    """
    from vibecheck.finish.chatter_words import next_tests, reasons

    pairs = [(take, line) for take in cutting if (line := _suspect(take, near_hz))]
    signs = Signs(
        in_air=_in_air(pairs, idle),
        follows=_follows(pairs, mains_hz),
        stays=_stays(pairs),
        whole=_whole(pairs),
        mode=_mode(pairs, modes),
        tapped=tapped or bool(modes),
    )
    kind, confidence = _weigh(signs) if pairs else ("cannot tell", "")
    return ChatterVerdict(
        kind=kind,
        confidence=confidence,
        hz=tuple(line.hz for _, line in pairs),
        signs=signs,
        reasons=reasons(signs, pairs) if pairs else ("no line stands out while cutting",),
        next_tests=next_tests(kind, signs, indicated),
    )


Pair = tuple[Listening, Line]


def _suspect(take: Listening, near_hz: float | None) -> Line | None:
    lines = [
        line for line in take.lines if near_hz is None or abs(line.hz / near_hz - 1) <= ABOVE_MODE
    ]
    return max(lines, key=lambda line: line.level_db, default=None)


def _in_air(pairs: Sequence[Pair], idle: Sequence[Listening]) -> bool | None:
    answers = [
        answer
        for take, line in pairs
        for air in idle
        if abs(air.rpm / take.rpm - 1) <= 0.03 and (answer := _heard(line, air)) is not None
    ]
    return answers[0] if answers and all(a == answers[0] for a in answers) else None


def _heard(line: Line, air: Listening) -> bool | None:
    """Whether a cutting line is there in air; None when it is there but much weaker."""
    limit = max(SAME_LINE * line.hz, 2 * line.uncertainty_hz)
    level = max((o.level_db for o in air.lines if abs(o.hz - line.hz) <= limit), default=None)
    if level is None or level < line.level_db - SILENT_DB:
        return False
    return True if level >= line.level_db - IN_AIR_DB else None


def _changes(speeds: Sequence[float]) -> bool:
    return max(speeds) / min(speeds) - 1 >= SPEED_CHANGE


def _sharp(pairs: Sequence[Pair], shaft: str) -> bool:
    """Whether the multiple is known well enough at every take for a fit to mean something."""
    spans = [_span(pair, shaft) for pair in pairs]
    return all(high - low <= 2 * MULTIPLE_TOLERANCE for low, high in spans)


def _speeds_differ(pairs: Sequence[Pair]) -> bool:
    return len(pairs) > 1 and _changes([take.rpm for take, _ in pairs])


def _stays(pairs: Sequence[Pair]) -> bool | None:
    if not _speeds_differ(pairs):
        return None
    tones = [line.hz for _, line in pairs]
    return max(tones) / min(tones) - 1 <= STAYS


def _whole(pairs: Sequence[Pair]) -> tuple[str, ...]:
    """Shafts of which one and the same whole multiple may be the line at every take."""
    names = set.intersection(*(set(take.turning) for take, _ in pairs)) if pairs else set()
    return tuple(sorted(name for name in names if _multiple(pairs, name)))


def _multiple(pairs: Sequence[Pair], shaft: str) -> int | None:
    """The whole multiple of a shaft that fits every take, None when none does."""
    spans = [_span(pair, shaft) for pair in pairs]
    low, high = max(a for a, _ in spans), min(b for _, b in spans)
    whole = round((low + high) / 2)
    return whole if whole >= 1 and low <= whole <= high else None


def _span(pair: Pair, shaft: str) -> tuple[float, float]:
    """Least and most turns' multiple the line may be of a shaft at one take."""
    take, line = pair
    turns = take.turning[shaft]
    waves = line.hz / turns
    limit = waves * take.rpm_uncertainty + line.uncertainty_hz / turns
    return waves - limit, waves + limit


def _follows(pairs: Sequence[Pair], mains_hz: float | None) -> str:
    if not _speeds_differ(pairs):
        return ""
    found = [
        f"{_multiple(pairs, shaft)} x {shaft}"
        for shaft in _whole(pairs)
        if _changes([take.turning[shaft] for take, _ in pairs]) and _sharp(pairs, shaft)
    ]
    if found:
        return " = ".join(found)
    if mains_hz:
        near = [
            abs(line.hz / (2 * mains_hz) - round(line.hz / (2 * mains_hz))) for _, line in pairs
        ]
        blur = [(0.002 * line.hz + line.uncertainty_hz) / (2 * mains_hz) for _, line in pairs]
        tones = [line.hz for _, line in pairs]
        if all(n <= b for n, b in zip(near, blur, strict=True)) and max(tones) / min(tones) < 1.004:
            return "mains"
    return ""


def _mode(pairs: Sequence[Pair], modes: Sequence[Mode]) -> Mode | None:
    """The strongest tapped mode that every line lies at, or a little above."""
    for mode in modes:
        low = mode.hz * (1 - 2 * mode.damping) - mode.hz_uncertainty
        high = mode.hz * (1 + max(ABOVE_MODE, 3 * mode.damping)) + mode.hz_uncertainty
        if pairs and all(low <= line.hz <= high for _, line in pairs):
            return mode
    return None


def _weigh(signs: Signs) -> tuple[Kind, Confidence]:
    if signs.follows:
        return "forced", "shown" if signs.in_air else "likely"
    if signs.in_air:
        return "forced", "likely"
    for_chatter = [
        signs.in_air is False,
        signs.stays is True and not signs.whole,
        signs.mode is not None,
    ]
    if signs.stays is False or (signs.tapped and signs.mode is None):
        return ("self-excited", "possible") if sum(for_chatter) == 2 else ("cannot tell", "")
    if all(for_chatter):
        return "self-excited", "shown"
    if sum(for_chatter) == 2:
        return "self-excited", "likely"
    return ("self-excited", "possible") if for_chatter[1] else ("cannot tell", "")
