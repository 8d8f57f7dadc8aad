"""What marks mean, in plain words. One home for the sentences of both finish commands."""

from __future__ import annotations

import textwrap
from math import isinf

from vibecheck.finish.marks import Cut, Possibility, Reading
from vibecheck.finish.naming import Naming
from vibecheck.finish.prediction import Prediction
from vibecheck.units import inch


def length(mm: float, inches: bool = False) -> str:
    """A length in both systems, the user's own first.

    >>> length(0.3333)
    '0.333 mm (0.0131 in)'
    """
    if isinf(mm):
        return "endless"
    metric, imperial = f"{mm:.3f} mm" if mm < 10 else f"{mm:.1f} mm", f"{inch(mm):.4f} in"
    return f"{imperial} ({metric})" if inches else f"{metric} ({imperial})"


def prediction_lines(
    prediction: Prediction, cut: Cut, *, inches: bool = False, width: int = 78
) -> list[str]:
    """What one tone leaves on the work."""
    found = [
        f"{prediction.waves:.2f} waves a turn, give or take {prediction.waves_uncertainty:.2g}"
    ]
    if prediction.refusal:
        found.append(f"Cannot foretell the pattern: {prediction.refusal}.")
    else:
        found += _pattern(prediction, cut, inches)
    if prediction.pitch_mm and prediction.count:
        found.append(f"Pitch along the skin {length(prediction.pitch_mm, inches)}.")
    return wrap(found, width)


def _pattern(prediction: Prediction, cut: Cut, inches: bool) -> list[str]:
    count, spacing = prediction.count, length(prediction.spacing_mm, inches)
    along = "along a radius" if cut.facing else "along the axis"
    what = "spokes" if cut.facing else "crests"
    low, high = prediction.spacing_range_mm
    span = f" (between {low:.3g} and {'endless' if isinf(high) else f'{high:.3g} mm'})"
    if prediction.pattern == "bands":
        return [f"Plain rings {spacing} apart {along}{span}, nothing to count round."]
    if prediction.pattern == "straight":
        return [f"{count} straight {what if cut.facing else 'flutes'}."]
    if prediction.pattern == "herringbone":
        return [
            f"Herringbone: crests of one turn fall between those of the next; "
            f"{prediction.waves:.2f} along one groove, pattern {spacing} {along}."
        ]
    if prediction.pattern == "unknown":
        return [f"{count} {what}, nearly straight; which way they lean is too close to say."]
    lean = "with" if prediction.fraction < 0 else "against"
    shape = "curved spokes" if cut.facing else "slanted crests"
    return [
        f"{count} {shape} round, {spacing} apart {along}{span}, {prediction.hand} "
        f"(leaning {lean} the feed marks)."
    ]


def possibility_line(possibility: Possibility) -> str:
    """One frequency with its limit.

    >>> possibility_line(Possibility(waves=11.3, waves_uncertainty=0.02, hz=120.0,
    ...     hz_uncertainty=0.3))
    '120.00 +- 0.30 Hz (11.300 waves a turn: 11 crests, fraction +0.300)'
    """
    p = possibility
    return (
        f"{p.hz:.2f} +- {p.hz_uncertainty:.2f} Hz ({p.waves:.3f} waves a turn: "
        f"{p.count} crests, fraction {p.fraction:+.3f})"
    )


def reading_lines(reading: Reading, width: int = 78) -> list[str]:
    """What one set of marks says."""
    if reading.refusal:
        found = [f"Cannot tell: {reading.refusal}.", reading.remedy]
        if reading.possibilities:
            low, high = reading.coarse_hz
            found.append(f"All that can be said: between {low:.1f} and {high:.1f} Hz.")
        return wrap(found, width)
    found = [possibility_line(p) for p in reading.possibilities]
    if len(found) > 1 and reading.lean == "unknown" and reading.marks.pattern == "slanted":
        found.append("Both, because which way the marks lean was not given; look, and say --hand.")
    if reading.marks.pattern == "herringbone" and len(found) > 1:
        found.append(
            "A herringbone is half a wave off, either way: count along one feed groove through "
            "two turns, halve it, and give that (5.5, say)."
        )
    if reading.marks.count:
        step = reading.cut.turns_hz
        found.append(f"A miscount by one shifts it by {step:.2f} Hz.")
    return wrap(found, width)


def naming_lines(naming: Naming, most: int = 12, width: int = 78) -> list[str]:
    """Which parts fit, and how much that is worth."""
    if not naming.fits:
        return wrap([f"None of the {naming.tried} tones of this machine fits."], width)
    found = []
    for item in naming.fits[:most]:
        c = item.candidate
        found.append(
            f"{c.name}: {c.hz:.2f} Hz, off by {item.miss_hz:+.2f} (limit {item.limit_hz:.2f})"
        )
    if len(naming.fits) > most:
        found.append(f"and {len(naming.fits) - most} more")
    found.append(
        f"Of {naming.tried} tones, about {naming.by_chance:.1f} would fit a frequency picked at "
        "random near here: a fit at one speed is a suspicion, not a verdict."
    )
    return wrap(found, width)


def wrap(lines: list[str], width: int = 78) -> list[str]:
    """Every line folded to ``width``, the folds set in by two."""
    return [
        piece
        for line in lines
        for piece in textwrap.wrap(line, width, subsequent_indent="  ") or [""]
    ]
