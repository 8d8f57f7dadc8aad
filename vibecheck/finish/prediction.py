"""What a tone of known frequency would leave on the work."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, isfinite, pi

from vibecheck.errors import UsageError
from vibecheck.finish.hand import Hand, hand_of
from vibecheck.finish.marks import USEFUL_FRACTION, Cut, Pattern, nearest

LONGEST_SPACING_MM = 50.0
"""A lean slower than one crest in this length passes for straight on ordinary work."""
HERRINGBONE_NEAR = 0.02
"""|e| within this of a half looks like a herringbone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """Marks expected from one tone.

    Attributes
    ----------
    hz, waves, waves_uncertainty : float
        The tone, waves a turn and their limit of error.
    count : int
        Crests round the work, k; 0 for plain bands.
    fraction : float
        e = N - k.
    pattern : str
        As a person would call it; "unknown" when the fraction is too uncertain to say.
    hand : str
        "unknown" when straight, herringbone, bands, or too uncertain.
    spacing_mm : float
        Along the axis (or radius); inf when straight.
    spacing_range_mm : tuple of float
        What the limits of error allow; the upper one may be inf.
    pitch_mm : float or None
        Along the skin; None without a diameter.
    refusal : str
        Why the fraction cannot be foretold; empty when it can.
    """

    hz: float
    waves: float
    waves_uncertainty: float
    count: int
    fraction: float
    pattern: Pattern
    hand: Hand
    spacing_mm: float
    spacing_range_mm: tuple[float, float]
    pitch_mm: float | None
    refusal: str = ""


def predict(hz: float, cut: Cut, hz_uncertainty: float = 0.0) -> Prediction:
    """Marks that a tone of ``hz`` would leave.

    Examples
    --------
    >>> mark = predict(120.0, Cut(rpm=637.2, feed_mm=0.10, rpm_uncertainty=0.001))
    >>> mark.count, round(mark.fraction, 3), round(mark.spacing_mm, 2), mark.hand
    (11, 0.299, 0.33, 'left')
    """
    if not (isfinite(hz) and hz > 0 and hz_uncertainty >= 0):
        raise UsageError(f"a tone of {hz:g} Hz", "Give a frequency above 0.")
    waves = hz / cut.turns_hz
    limit = hypot(waves * cut.rpm_uncertainty, hz_uncertainty / cut.turns_hz)
    count = nearest(waves)
    fraction = waves - count
    refused = limit > USEFUL_FRACTION
    pattern = "unknown" if refused else _pattern(count, fraction, limit, cut)
    return Prediction(
        hz=hz,
        waves=waves,
        waves_uncertainty=limit,
        count=count,
        fraction=fraction,
        pattern=pattern,
        hand=hand_of(fraction, cut.direction, cut.spindle) if pattern == "slanted" else "unknown",
        spacing_mm=cut.feed_mm / abs(fraction) if fraction else inf,
        spacing_range_mm=_range(fraction, limit, cut.feed_mm),
        pitch_mm=pi * cut.diameter_mm / waves if cut.diameter_mm else None,
        refusal=_why(waves, limit) if refused else "",
    )


def _pattern(count: int, fraction: float, limit: float, cut: Cut) -> Pattern:
    size = abs(fraction)
    if count == 0:
        return "bands"
    if size <= limit or cut.feed_mm / size > LONGEST_SPACING_MM:
        return "straight" if limit < 0.02 or size <= limit / 2 else "unknown"
    if size > 0.5 - max(limit, HERRINGBONE_NEAR):
        return "herringbone"
    return "slanted"


def _range(fraction: float, limit: float, feed_mm: float) -> tuple[float, float]:
    low, high = abs(fraction) - limit, min(abs(fraction) + limit, 0.5)
    return (feed_mm / high if high else inf), (feed_mm / low if low > 0 else inf)


def _why(waves: float, limit: float) -> str:
    return (
        f"{waves:.1f} waves a turn are uncertain by {limit:.2g}: about {waves:.0f} crests round, "
        "but spacing and hand cannot be foretold; know the speed better or take a faster one"
    )
