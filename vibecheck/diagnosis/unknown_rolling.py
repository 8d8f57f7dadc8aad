"""Bearings whose numbers nobody knows, over a whole sweep.

A worn bearing strikes at an order of its shaft that is no whole number and stays the same while
the levers change everything else. Its size, if known, says within what range that order must lie.
One family alone never tells which race, nor which of two bearings on one shaft.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.families import Family
from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.matching import Field
from vibecheck.diagnosis.rolling import SLIP_SCATTER, RollingScore, peeled
from vibecheck.diagnosis.rolling_evidence import (
    STEP,
    decoy_chance,
    hidden,
    own_place,
    take_ratios,
    together,
    within,
)
from vibecheck.diagnosis.rolling_fields import line_depth, rolling_fields
from vibecheck.diagnosis.rolling_suspects import rolling_odds
from vibecheck.diagnosis.surprise import surprise
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing

Numbers = NDArray[np.float64]

LOWEST, HIGHEST = 2.0, 16.0
"""Orders looked at when nothing is known of size or count."""
BELIEVED = -3.0
NEVER_SURER = 0.88
"""Likely at most: without numbers nothing says what the family belongs to but its shaft."""
PRIOR = 3e-3
LEAST_SAID = 0.005
"""An order is written to four figures; no smaller error is claimed of it."""
PLAINLY = 6.0
"""Log odds from which a known bearing is as good as named."""
AROUND = 0.02
"""Half the window, relative, that holds one bearing's order in all takes."""
WHOLE, HALF = 0.03, 0.01
SHARES: Mapping[str, tuple[float, float]] = {
    "ball": (0.50, 0.65),
    "angular contact": (0.50, 0.65),
    "double row": (0.40, 0.65),
    "cylindrical roller": (0.42, 0.60),
    "tapered roller": (0.28, 0.44),
    "unknown": (0.28, 0.65),
}
"""Element diameter over half the difference of outside and bore (common proportions, memory)."""
FILL = (0.55, 0.85)
"""Part of the pitch circle that the elements fill (common proportions, memory)."""
STEEPEST = 0.90
"""Cosine of the steepest usual contact angle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a bearing's size allows: counts of elements, and orders of its outer and inner race."""

    fewest: int
    most: int
    outer: tuple[float, float]
    inner: tuple[float, float]


def expected_orders(bearing: Bearing) -> Expected | None:
    """Orders a bearing of known bore and outside may have; None when they are not known.

    >>> from vibecheck.machine.parts import Bearing, Known
    >>> front = Bearing(name="front", shaft="spindle", kind="tapered roller",
    ...     elements=Known.between(20, 26), bore_mm=Known.exactly(75),
    ...     outside_mm=Known.exactly(130))
    >>> low, high = expected_orders(front).outer
    >>> round(low, 1), round(high, 1)
    (8.8, 12.1)
    """
    bore, outside = bearing.bore_mm.middle, bearing.outside_mm.middle
    if not bore or not outside:
        return None
    pitch, section = (bore + outside) / 2, (outside - bore) / 2
    sizes = [share * section for share in SHARES.get(bearing.kind, SHARES["unknown"])]
    around = [pi * pitch * fill / size for fill, size in zip(FILL, sizes[::-1], strict=True)]
    low, high = bearing.elements.low, bearing.elements.high
    fewest = int(low) if low else max(5, int(np.ceil(around[0])))
    most = int(high) if high else int(around[1])
    found = [
        count / 2 * (1 + way * share)
        for way in (-1, 1)
        for count in (fewest, most)
        for share in _shares(pitch, sizes, count, known=bool(low))
    ]
    half = len(found) // 2
    return Expected(
        fewest=fewest,
        most=most,
        outer=(min(found[:half]), max(found[:half])),
        inner=(min(found[half:]), max(found[half:])),
    )


def _shares(
    pitch: float, sizes: Sequence[float], count: int, *, known: bool
) -> tuple[float, float]:
    """Least and most of (element / pitch) * cos(angle); a counted bearing must hold its count."""
    low, high = sizes
    if known:
        low, high = (float(np.clip(pi * pitch * fill / count, sizes[0], sizes[1])) for fill in FILL)
    return STEEPEST * low / pitch, high / pitch


def unknown_rolling(heard: Listened) -> list[Finding]:
    """At most one finding a shaft: a family that only a bearing of unknown numbers makes."""
    unknown = [b for b in heard.machine.bearings if orders_of(b) is None and b.kind != "plain"]
    if not unknown or not heard.takes or _spoken_for(heard):
        return []
    fields = rolling_fields(heard.takes, unknown)
    shafts = {b.shaft: [o for o in unknown if o.shaft == b.shaft] for b in unknown}
    found: list[Finding] = []
    left: Sequence[Mapping[str, Field]] = fields
    while shafts:
        scores = [_searched(heard, shaft, own, left) for shaft, own in shafts.items()]
        lead = min((s for s in scores if s), key=lambda s: s.log10_chance, default=None)
        if lead is None:
            break
        made = _finding(heard, shafts.pop(lead.shaft), lead, left)
        found += [made] if made is not None else []
        left = [
            peeled(take, field, lead, float(order))
            for take, field, order in zip(heard.takes, left, lead.orders, strict=True)
        ]
    return _one_shaft_each(found)


def _fixed_ratio(heard: Listened, one: str, other: str) -> float | None:
    """Speed of one shaft over another's when it is the same in all takes that know both."""
    pairs = [(take.ratio(one), take.ratio(other)) for take in heard.takes]
    ratios = [own / base for own, base in pairs if own and base]
    if 2 * len(ratios) < len(pairs) or np.ptp(ratios) > 2 * SLIP_SCATTER * ratios[0]:
        return None
    return ratios[0]


def _spoken_for(heard: Listened) -> bool:
    """Whether a known bearing is plainly heard: its echoes at other orders accuse nobody else."""
    return any(
        score.family.name != "cage" and rolling_odds(score, heard.takes) > PLAINLY
        for score in heard.rolling
    )


def _alike(heard: Listened, shaft: str, order: float) -> list[str]:
    """Bearings of unknown numbers on other shafts that keep a fixed ratio to this one."""
    found = []
    for bearing in heard.machine.bearings:
        if bearing.shaft == shaft or bearing.kind == "plain" or orders_of(bearing) is not None:
            continue
        ratio = _fixed_ratio(heard, bearing.shaft, shaft)
        if ratio is None:
            continue
        low, high = _range([bearing])
        if low <= order / ratio <= high:
            found.append(bearing.name)
    return found


def _range(bearings: Sequence[Bearing]) -> tuple[float, float]:
    known = [expected_orders(bearing) for bearing in bearings]
    sizes = [each for each in known if each]
    if len(sizes) < len(bearings):
        return LOWEST, HIGHEST
    return (
        0.95 * min(size.outer[0] for size in sizes),
        1.05 * max(size.inner[1] for size in sizes),
    )


def _searched(
    heard: Listened,
    shaft: str,
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
) -> RollingScore | None:
    """The order at which most takes agree, judged by all other orders of the same scan."""
    low, high = _range(bearings)
    wide = (min(low, LOWEST), max(high, HIGHEST))
    trial = np.exp(np.arange(np.log(wide[0]), np.log(wide[1]), STEP))
    free = _broken(trial)
    inside = free & (trial >= low) & (trial <= high) & ~_explained(heard, shaft, trial)
    shape = Family(name="free", order=float(np.sqrt(low * high)))
    grounds = [field.get(shaft) for field in fields]
    rows = [
        None if ground is None else surprise(ground, shape, trial, free)[0] for ground in grounds
    ]
    if not any(row is not None for row in rows) or not inside.any():
        return None
    known = [(g, r) for g, r in zip(grounds, rows, strict=True) if g is not None and r is not None]
    ratios = [np.where(hidden(g, shape, trial), 1.0, take_ratios(row)) for g, row in known]
    own = together(ratios, [ground.shaft_hz for ground, _ in known])
    best = int(np.argmax(np.where(inside, own, -np.inf)))
    around = np.abs(trial / trial[best] - 1.0) < AROUND
    evidence = within(own, around)
    elsewhere = free & ~_echoes(trial, float(trial[best]))
    log10_chance = decoy_chance(evidence, own, elsewhere, int(around.sum()))
    log10_chance = min(0.0, log10_chance + float(np.log10(inside.sum() / around.sum())))
    if log10_chance > BELIEVED:
        return None
    places = [None if row is None else own_place(row, best) for row in rows]
    order = float(trial[best])
    score = RollingScore(
        bearing=bearings[0].name,
        shaft=shaft,
        family=Family(name="free", order=order),
        log10_chance=log10_chance,
        order=order,
        slip=0.0,
        surprise=np.array(
            [
                np.nan if row is None or place is None else float(row[place])
                for row, place in zip(rows, places, strict=True)
            ]
        ),
        orders=np.array([np.nan if place is None else float(trial[place]) for place in places]),
        depth=np.zeros(len(rows)),
        evidence=evidence,
    )
    order, _ = _sharpened(score, fields)
    depth = [
        np.nan if ground is None else line_depth(ground, float(where))
        for ground, where in zip(grounds, score.orders, strict=True)
    ]
    return replace(score, order=order, depth=np.array(depth))


def _echoes(trial: Numbers, order: float) -> NDArray[np.bool_]:
    """Orders that share lines with a family: simple ratios of it, and whole turns beside it."""
    places = [order * ratio for ratio in (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0)]
    places += [order + turns for turns in (-2.0, -1.0, 1.0, 2.0)]
    near = [np.abs(trial / place - 1.0) < 2 * AROUND for place in places]
    return np.asarray(np.any(near, axis=0))


def _broken(trial: Numbers) -> NDArray[np.bool_]:
    """Orders that are no whole and no half number: what turns with the shaft makes those."""
    whole = np.abs(trial - np.rint(trial)) > WHOLE
    return whole & (np.abs(2 * trial - np.rint(2 * trial)) > HALF)


def _explained(heard: Listened, shaft: str, trial: Numbers) -> NDArray[np.bool_]:
    """Orders at which a bearing of known numbers was heard."""
    taken = np.zeros(trial.size, dtype=bool)
    for score in heard.rolling:
        if score.log10_chance > BELIEVED:
            continue
        scales = [
            (take.ratio(score.shaft) or 0.0) / (take.ratio(shaft) or 1.0) for take in heard.takes
        ]
        if score.shaft == shaft or max(scales) / max(min(scales), 1e-9) < 1.001:
            for times in (0.5, 1.0, 2.0):
                taken |= np.abs(trial / (times * score.order * scales[0]) - 1.0) < 0.01
    return taken


def _finding(
    heard: Listened,
    bearings: Sequence[Bearing],
    score: RollingScore,
    fields: Sequence[Mapping[str, Field]],
) -> Finding | None:
    prior = PRIOR * len(bearings)
    odds = prior / (1.0 - prior) * float(np.exp(rolling_odds(score, heard.takes)))
    probability = min(odds / (1.0 + odds), NEVER_SURER)
    if probability < 0.15:
        return None
    order, error = _sharpened(score, fields)
    takes = [take for take in heard.takes if take.ratio(score.shaft)]
    strong = np.nan_to_num(score.surprise) > 1.0
    names = tuple(bearing.name for bearing in bearings)
    names += tuple(_alike(heard, score.shaft, order))
    loud = [take.label for take, yes in zip(heard.takes, strong, strict=True) if yes]
    rates = {take.label: order * (take.rotor_hz(score.shaft) or 0.0) for take in takes}
    spindle = heard.machine.spindle
    return Finding(
        part=names[0],
        parts=names,
        part_kind="bearing",
        fault="bearing worn, race not known",
        verdict=verdict_for(probability),
        probability=probability,
        evidence=tuple(_evidence(bearings, score, order, error, takes)),
        ruled_out=_whole_multiples(heard, score.shaft),
        next_test=fact("bearing_numbers", parts=names),
        heard=tuple(dict.fromkeys(loud)),
        expected=tuple(dict.fromkeys(take.label for take in takes)),
        rates_hz=rates,
        per_spindle_turn={
            take.label: rates[take.label] / turn
            for take in takes
            if (turn := take.rotor_hz(spindle))
        },
    )


def _sharpened(score: RollingScore, fields: Sequence[Mapping[str, Field]]) -> tuple[float, float]:
    """The order to a fraction of a line's width, and its standard error over the takes."""
    places, weights = [], []
    for field, strength in zip(fields, score.surprise, strict=True):
        if score.shaft not in field or not np.isfinite(strength) or strength <= 1.0:
            continue
        ground = field[score.shaft]
        width = ground.spectra[0].significance.step / ground.scale(ground.spectra[0])
        trial = score.order * np.exp(np.arange(-2 * SLIP_SCATTER, 2 * SLIP_SCATTER, STEP / 2))
        heights = ground.scores(score.family, trial).max(axis=0)
        top = heights > heights.max() - 0.5
        places.append(float(trial[top].mean()))
        weights.append(1.0 / width**2)
    if not places:
        return score.order, score.order * SLIP_SCATTER
    order = float(np.average(places, weights=weights))
    spread = float(np.sqrt(np.average((np.array(places) - order) ** 2, weights=weights)))
    finest = float(0.3 / np.sqrt(np.sum(weights)))
    return order, max(finest, spread / max(len(places) - 1, 1) ** 0.5, STEP * order / 2)


def _evidence(
    bearings: Sequence[Bearing],
    score: RollingScore,
    order: float,
    error: float,
    takes: Sequence[Heard],
) -> list[Fact]:
    shaft = score.shaft
    fastest = max(takes, key=lambda take: take.rotor_hz(shaft) or 0.0)
    facts = [
        fact("order_range", order=order, rotor=shaft, error=max(float(f"{error:.1g}"), LEAST_SAID)),
        fact(
            "order_not_whole",
            order=order,
            rotor=shaft,
            apart_hz=abs(order - round(order)) * (fastest.rotor_hz(shaft) or 0.0),
            position=fastest.label,
        ),
    ]
    for bearing in bearings:
        size = expected_orders(bearing)
        if size is not None and size.outer[0] <= order <= size.outer[1]:
            facts.append(
                fact(
                    "order_fits_size",
                    low=size.fewest,
                    high=size.most,
                    low_order=size.outer[0],
                    high_order=size.outer[1],
                )
            )
            break
    facts.append(fact("race_open", rotor=shaft))
    return facts


def _whole_multiples(heard: Listened, shaft: str) -> tuple[Fact, ...]:
    gears = [gear.name for gear in heard.machine.gears if gear.shaft == shaft]
    return tuple(fact("not_a_whole_multiple", part=name, rotor=shaft) for name in gears[:2])


def _one_shaft_each(findings: Sequence[Finding]) -> list[Finding]:
    """Of findings that rest on the same lines (seen from two shafts), the surest."""
    kept: list[Finding] = []
    for finding in findings:
        same = [
            other
            for other in kept
            if all(
                abs(rate / other.rates_hz[label] - 1.0) < 0.005
                for label, rate in finding.rates_hz.items()
                if other.rates_hz.get(label)
            )
        ]
        if not same:
            kept.append(finding)
    return kept
