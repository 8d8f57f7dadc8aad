"""Which of the tones a machine makes fit the marks, and how much such a fit is worth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot

from vibecheck.finish.marks import Cut, Possibility, Reading

NEIGHBOURHOOD = 2.0
"""The chance of a fit is judged from the candidates within this factor either way."""
TYPICAL_UNCERTAINTY = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A tone that something on the machine could make while this cut was taken.

    Attributes
    ----------
    name : str
        What makes it.
    hz, uncertainty_hz : float
        The tone, and its limit of error. For a tone geared to the spindle leave the error of
        the spindle speed out of it.
    geared : bool
        Whether it is tied to the spindle by teeth: then an error of the spindle speed moves tone
        and marks alike and cancels.
    """

    name: str
    hz: float
    uncertainty_hz: float = 0.0
    geared: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A candidate that fits one possibility; ``miss_hz`` is candidate less marks."""

    candidate: Candidate
    possibility: Possibility
    miss_hz: float
    limit_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """What fits a reading.

    Attributes
    ----------
    fits : tuple of Fit
        Best first; empty when the reading was refused.
    by_chance : float
        How many of the candidates a random frequency in the same region would fit.
    tried : int
        How many candidates there were.
    """

    fits: tuple[Fit, ...]
    by_chance: float
    tried: int


def limit_hz(possibility: Possibility, candidate: Candidate, cut: Cut) -> float:
    """Largest miss at which candidate and marks still agree."""
    marks = (
        possibility.waves_uncertainty * cut.turns_hz
        if candidate.geared
        else possibility.hz_uncertainty
    )
    return hypot(marks, candidate.uncertainty_hz)


def fit(possibility: Possibility, candidate: Candidate, cut: Cut) -> Fit | None:
    """The fit of one candidate to one possibility, None when they disagree."""
    limit = limit_hz(possibility, candidate, cut)
    miss = candidate.hz - possibility.hz
    if abs(miss) > limit:
        return None
    return Fit(candidate=candidate, possibility=possibility, miss_hz=miss, limit_hz=limit)


def name(reading: Reading, candidates: Iterable[Candidate]) -> Naming:
    """Candidates that fit a reading; none when the reading was refused.

    Examples
    --------
    >>> from vibecheck.finish.marks import Marks, read
    >>> cut = Cut(rpm=637.2, feed_mm=0.10)
    >>> reading = read(Marks(pattern="slanted", count=11, spacing_mm=0.33, hand="left"), cut)
    >>> found = name(reading, [Candidate(name="twice mains", hz=120.0, uncertainty_hz=0.1)])
    >>> found.fits[0].candidate.name
    'twice mains'
    """
    listed = tuple(candidates)
    if reading.refusal:
        return Naming(fits=(), by_chance=0.0, tried=len(listed))
    fits = [
        found
        for possibility in reading.possibilities
        for candidate in listed
        if (found := fit(possibility, candidate, reading.cut))
    ]
    fits.sort(key=lambda item: abs(item.miss_hz) / item.limit_hz)
    return Naming(
        fits=tuple(fits),
        by_chance=sum(_chance(p, listed, reading.cut) for p in reading.possibilities),
        tried=len(listed),
    )


def _chance(possibility: Possibility, candidates: Sequence[Candidate], cut: Cut) -> float:
    """Candidates expected to fit a frequency picked at random near this one."""
    if possibility.hz <= 0:
        return 0.0
    low, high = possibility.hz / NEIGHBOURHOOD, possibility.hz * NEIGHBOURHOOD
    near = [c for c in candidates if low <= c.hz <= high]
    return sum(min(2 * limit_hz(possibility, c, cut) / (high - low), 1.0) for c in near)
