"""What marks mean, in plain words. One home for the sentences of both finish commands."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from math import isinf

from vibecheck.finish.carriage import Repeat
from vibecheck.finish.chatter import ChatterVerdict
from vibecheck.finish.cuts import Common, Steady
from vibecheck.finish.judgement import FinishOpinion
from vibecheck.finish.marks import Cut, Possibility, Reading
from vibecheck.finish.naming import Naming
from vibecheck.finish.prediction import Prediction
from vibecheck.finish.second_cut import SecondCut
from vibecheck.units import inch

NOTHING_STEADY = (
    "Nothing stays the same: no one frequency, no one multiple of the spindle, no one distance. "
    "A shaft whose speed the levers changed may still fit; else recount."
)


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
        kind = what if cut.facing else "flutes"
        return [f"{count} straight {kind}, as near as the speed is known."]
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
        f"{p.count} crest{'' if p.count == 1 else 's'}, fraction {p.fraction:+.3f})"
    )


def reading_lines(reading: Reading, width: int = 78) -> list[str]:
    """What one set of marks says."""
    if reading.refusal:
        found = [f"Cannot tell: {reading.refusal}.", reading.remedy]
        if reading.possibilities:
            low, high = reading.coarse_hz
            found.append(f"All that can be said: between {low:.1f} and {high:.1f} Hz.")
        return wrap(found, width)
    if reading.marks.pattern == "bands":
        return wrap([f"As a vibration this would be {reading.possibilities[0].hz:.4g} Hz."], width)
    found = [possibility_line(p) for p in reading.possibilities]
    if len(found) > 1 and reading.lean == "unknown" and reading.marks.pattern == "slanted":
        found.append("Both, because which way the marks lean was not given; look, and say --hand.")
    if reading.marks.pattern == "herringbone" and len(found) > 1:
        found.append(
            "A herringbone is half a wave off, either way: count along one feed groove through "
            "two turns, halve it, and give that (5.5, say)."
        )
    if reading.marks.pattern == "slanted" and len(found) == 1:
        p = reading.possibilities[0]
        other = reading.cut.turns_hz * (p.count - p.fraction)
        found.append(f"Had the lean been read the wrong way about: {other:.2f} Hz.")
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
    often = f"about {naming.by_chance:.1f}" if naming.by_chance >= 0.05 else "fewer than 0.1"
    found.append(
        f"Of {naming.tried} tones, {often} would fit a frequency picked at "
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


def steady_lines(item: Steady, inches: bool = False, width: int = 78) -> list[str]:
    """What stayed the same from cut to cut."""
    if item.kind == "fixed millimetres":
        line = (
            f"The distance stays at {length(item.value, inches)} although the feed changed: "
            "something the carriage rides on, not vibration."
        )
    elif item.kind == "fixed hertz":
        line = (
            f"One frequency explains all: {item.value:.2f} +- {item.uncertainty:.2f} Hz. Mains, "
            "motor, belt, structure, or a shaft these levers do not change."
        )
    else:
        line = (
            f"One multiple of the spindle explains all: {item.value:.3f} +- "
            f"{item.uncertainty:.3f} a turn. Something that turns with the spindle."
        )
    return wrap([line], width)


def common_lines(shared: Sequence[Common], width: int = 78) -> list[str]:
    """Parts that fit every cut."""
    if not shared:
        return wrap(["No single tone of this machine fits every cut."], width)
    found = ["Fits every cut:" if len(shared) > 1 else "Only one tone fits every cut:"]
    for item in shared:
        found.append(f"- {item.name}: {', '.join(f'{hz:.2f}' for hz in item.hz)} Hz")
    return wrap(found, width)


def carriage_lines(found: Sequence[Repeat], known: Sequence[Repeat], width: int = 78) -> list[str]:
    """What on the carriage repeats at the distance, or what would at which."""
    if not known:
        return wrap(
            ["The gear table says nothing of rack, feed rod or leadscrew: add [feed]."], width
        )
    if not found:
        lines = ["Nothing in the feed train comes round at that distance. These do:"]
        lines += [f"- {item.name}: {item.spacing_mm:.3f} mm" for item in known]
        return wrap(lines, width)
    lines = [f"- {item.name}: {item.spacing_mm:.3f} mm; {item.look}" for item in found]
    if len(found) > 1:
        lines.append("These cannot be told apart by distance; look at each.")
    lines.append(
        "Stop and lock out before reaching to rack, rod or screw. A recording has no say in this."
    )
    return wrap(lines, width)


def second_feed_lines(reading: Reading, width: int = 78) -> list[str]:
    """Plain bands: the feed must be changed before anything is named."""
    cut = reading.cut
    return wrap(
        [
            "Nothing is named from one feed. Take a second cut at the same speed with the feed "
            f"changed, {length(2 * cut.feed_mm)} a turn say, and measure again:",
            "- same distance: the carriage (rack, pinion, feed rod, leadscrew);",
            "- distance grown with the feed: vibration on the spindle side, or a feed gear;",
            "- neither, or gone on another bar: the material.",
            'Then add it: --also "feed=... spacing=..."',
        ],
        width,
    )


def plain_second_cut_lines(readings: Sequence[Reading], width: int = 78) -> list[str]:
    """Advice without a gear table: a slower speed."""
    rpm = readings[0].cut.rpm
    return wrap(
        [
            f"Take a second cut about a third slower ({0.7 * rpm:.0f} rpm or the nearest) at the "
            "same feed and add it with --also: one frequency at both is mains, motor, belt or "
            "structure; one count at both turns with the spindle. With --table parts are named."
        ],
        width,
    )


def confirm_lines(suspects: Sequence[str], width: int = 78) -> list[str]:
    """Advice when one or no suspect is left."""
    if not suspects:
        return wrap(
            ["No part of this machine fits: recount, measure the speed, or look to tool and work."],
            width,
        )
    return wrap(
        [
            f"Only {suspects[0]} fits. A second cut in another lever position must fit it too; "
            "then compare with the recordings of the sweep."
        ],
        width,
    )


def inseparable_lines(suspects: Sequence[str], width: int = 78) -> list[str]:
    """Advice when no chart position parts the suspects."""
    return wrap(
        [
            f"No lever position parts {'; '.join(suspects)} by their marks: use the recordings "
            "of the sweep, or inspect each."
        ],
        width,
    )


def second_cut_lines(best: SecondCut, width: int = 78) -> list[str]:
    """The second cut to take and what each suspect would leave."""
    cut = best.cut
    lines = [
        f"Take a second cut at {cut.position} ({cut.rpm:.1f} rpm by the table), same feed, if the "
        "chuck and the work allow that speed. Expected:"
    ]
    for group in best.groups:
        expected = best.expected[group[0]]
        lines.append(f"- {'; '.join(group)}: {short(expected)}")
    return wrap(lines, width)


def short(expected: Prediction) -> str:
    """A prediction in a few words."""
    if expected.refusal:
        return f"about {expected.count} round, spacing cannot be foretold"
    if expected.pattern == "bands":
        return f"rings {expected.spacing_mm:.3g} mm apart"
    if expected.pattern in ("straight", "unknown"):
        return f"{expected.count} round, straight or nearly so"
    if expected.pattern == "herringbone":
        return f"herringbone, {expected.waves:.2f} along a groove"
    return f"{expected.count} round, {expected.spacing_mm:.3g} mm apart, {expected.hand}"


OPINIONS = {
    "feed marks": "The feed marks alone explain this finish; no vibration is needed.",
    "more than feed marks": "Rougher than the feed marks alone. What adds to them may be vibration "
    "or may not: see below before blaming the machine.",
    "smoother than possible": "Smoother than this feed and nose can leave: a number is wrong.",
    "cannot tell": "Cannot tell whether the finish is worse than it must be.",
}


def micro(mm: float, inches: bool = False) -> str:
    """A roughness in both systems.

    >>> micro(0.0016)
    '1.60 um (63 uin)'
    """
    metric, imperial = f"{1000 * mm:.2f} um", f"{1e6 * inch(mm):.0f} uin"
    return f"{imperial} ({metric})" if inches else f"{metric} ({imperial})"


def roughness_lines(
    opinion: FinishOpinion, feed_mm: float, nose_mm: float, inches: bool = False, width: int = 78
) -> list[str]:
    """Whether feed marks explain a finish."""
    found = [f"Feed {length(feed_mm, inches)} a turn, nose radius {length(nose_mm, inches)}."]
    if opinion.ra_mm == opinion.ra_mm:
        found += [
            f"Feed marks alone leave Ra {micro(opinion.ra_mm, inches)}, "
            f"Rt {micro(opinion.rt_mm, inches)}.",
            f"By the short forms f^2/(18 sqrt(3) r) and f^2/(8 r): Ra "
            f"{micro(opinion.ra_short_mm, inches)}, Rt {micro(opinion.rt_short_mm, inches)}.",
        ]
    found.append(OPINIONS[opinion.opinion])
    found += [f"- {reason}" for reason in opinion.reasons]
    found.append("Before suspecting vibration:")
    found += [f"- {caution}" for caution in opinion.cautions]
    return wrap(found, width)


def chatter_lines(verdict: ChatterVerdict, width: int = 78) -> list[str]:
    """Chatter or forced, why, and what to do next."""
    names = {
        "self-excited": "Self-excited chatter: tool, slide or work sings, no part of the drive",
        "forced": "Forced vibration: something that turns, or the mains, drives it",
        "cannot tell": "Cannot tell chatter from forced vibration yet",
    }
    sure = f" ({verdict.confidence})" if verdict.confidence else ""
    found = [names[verdict.kind] + sure + "."]
    found += [f"- {reason}" for reason in verdict.reasons]
    if verdict.next_tests:
        found += ["Next:", *(f"- {test}" for test in verdict.next_tests)]
    return wrap(found, width)
