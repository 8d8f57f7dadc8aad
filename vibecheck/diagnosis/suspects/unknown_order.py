"""The order at which a shaft's bearing of unknown numbers strikes, sought over a whole sweep.

It is no whole and no half number, stays the same in all takes, and lies where the bearing's size,
if known, allows. All other orders of the same scan are the decoys.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.added_up import (
    STEP,
    decoy_chance,
    hidden,
    own_place,
    take_ratios,
    together,
    within,
)
from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.matching import Field
from vibecheck.diagnosis.chance.surprise import surprise
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.rolling import SLIP_SCATTER, RollingScore
from vibecheck.diagnosis.readings.rolling_fields import line_depth
from vibecheck.diagnosis.suspects.bearing_size import expected_orders
from vibecheck.machine.parts import Bearing

Numbers = NDArray[np.float64]

LOWEST, HIGHEST = 2.0, 16.0
"""Orders looked at when nothing is known of size or count."""
BELIEVED = -3.0
AROUND = 0.02
"""Half the window, relative, that holds one bearing's order in all takes."""
WHOLE, HALF = 0.03, 0.01
IN_STEP = 1.001
"""Two shafts whose ratio varies by less over the takes make lines that no sweep parts."""


def unknown_order(
    heard: Listened,
    shaft: str,
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
) -> RollingScore | None:
    """The order at which most takes agree, judged by all others of the scan; None if by none."""
    low, high = order_range(bearings)
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
    order, _ = sharpened_order(score, fields)
    depth = [
        np.nan if ground is None else line_depth(ground, float(where))
        for ground, where in zip(grounds, score.orders, strict=True)
    ]
    return replace(score, order=order, depth=np.array(depth))


def order_range(bearings: Sequence[Bearing]) -> tuple[float, float]:
    """Orders at which any of these bearings may strike: by size, or the widest usual ones."""
    known = [expected_orders(bearing) for bearing in bearings]
    sizes = [each for each in known if each]
    if len(sizes) < len(bearings):
        return LOWEST, HIGHEST
    return (
        0.95 * min(size.outer[0] for size in sizes),
        1.05 * max(size.inner[1] for size in sizes),
    )


def _broken(trial: Numbers) -> NDArray[np.bool_]:
    """Orders that are no whole and no half number: what turns with the shaft makes those."""
    whole = np.abs(trial - np.rint(trial)) > WHOLE
    return whole & (np.abs(2 * trial - np.rint(2 * trial)) > HALF)


def _explained(heard: Listened, shaft: str, trial: Numbers) -> NDArray[np.bool_]:
    """Orders at which a bearing of known numbers was heard."""
    taken = np.zeros(trial.size, dtype=bool)
    for score in heard.rolling:
        if score.log10_chance > BELIEVED or score.reach:
            continue
        scales = [
            own / other
            for take in heard.takes
            if (own := take.ratio(score.shaft)) and (other := take.ratio(shaft))
        ]
        if scales and max(scales) / min(scales) < IN_STEP:
            for times in (0.5, 1.0, 2.0):
                taken |= np.abs(trial / (times * score.order * scales[0]) - 1.0) < 0.01
    return taken


def _echoes(trial: Numbers, order: float) -> NDArray[np.bool_]:
    """Orders that share lines with a family: simple ratios of it, and whole turns beside it."""
    places = [order * ratio for ratio in (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0)]
    places += [order + turns for turns in (-2.0, -1.0, 1.0, 2.0)]
    near = [np.abs(trial / place - 1.0) < 2 * AROUND for place in places]
    return np.asarray(np.any(near, axis=0))


def sharpened_order(
    score: RollingScore, fields: Sequence[Mapping[str, Field]]
) -> tuple[float, float]:
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
