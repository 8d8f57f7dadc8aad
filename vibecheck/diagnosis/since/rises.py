"""What has risen from one sweep to another, trace by trace, over the positions that both have."""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.since.levels import ORDERS, SLIPS, STRANGE, Numbers, TakeLevels, Trace

Place = tuple[str, str]
"""A lever position, and how it was recorded (idle, cutting)."""
ODD_SPREADS, ODD_DB, NORMAL = 2.0, 2.0, 1.4826
"""How many spreads from the middle of a trace's rises a position is odd; what the spread is at
least; and a normal one over the median distance from the middle."""
SWELLS, STANDS = "sides", "tone"
TONES = ("once", "twice", "thrice", "mesh")
HEARD_DB, FEWEST_TONES, GONE_DB = 12.0, 5, 8.0
"""Tones this far over the floor in one of two sweeps, and so many of them, tell that the other was
laid on a wrong speed, when half of them stand lower by so much more than at the other positions."""
SLIPPED = 0.012
"""How much more or less a belt may slip from one day to another (relative)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """How far one trace has risen, over all positions that both sweeps have.

    ``db`` is the mean rise in the band where it rises most, ``scatter_db`` its standard deviation
    from position to position, ``by_place`` the rise at each, ``now_db`` the mean level now, and
    ``slip`` where it was found (0 for what does not slip).
    """

    db: float
    scatter_db: float
    now_db: float
    by_place: Mapping[Place, float]
    slip: float = 0.0
    order: float = float("nan")


def rises(now: Sequence[TakeLevels], sound: Sequence[TakeLevels]) -> dict[Trace, Rise]:
    """Rise of every trace that both sweeps have at some position, recorded the same way."""
    apart = _read_apart(now, sound)
    after, before = _gathered(now), _gathered(sound)
    off = _laid_amiss(after, before)
    found = {}
    for trace, places in after.items():
        both = [
            place
            for place in places
            if place in before.get(trace, {})
            and (trace[1], place[0]) not in apart
            and place not in off
        ]
        if both:
            rise = _rise(both, places, before[trace], trace[0])
            if rise is not None:
                found[trace] = rise
    return found


def _read_apart(now: Sequence[TakeLevels], sound: Sequence[TakeLevels]) -> set[tuple[str, str]]:
    """Rotors whose speed was found another in the two sweeps than belts slip, with the position.

    One of the two is wrong, and everything of the rotor read where it is not.
    """
    ratios: dict[tuple[str, str], list[float]] = defaultdict(list)
    for take in (*now, *sound):
        for name, ratio in take.ratios.items():
            ratios[name, take.label].append(ratio)
    return {place for place, found in ratios.items() if max(found) / min(found) > 1.0 + SLIPPED}


def _laid_amiss(
    after: Mapping[Trace, Mapping[Place, Numbers]], before: Mapping[Trace, Mapping[Place, Numbers]]
) -> set[Place]:
    """Places at which all tones of one sweep are gone that the other has: its speed is wrong."""
    told: dict[Place, list[float]] = defaultdict(list)
    for trace in (trace for trace in after if trace[0] in TONES and trace in before):
        for place in after[trace].keys() & before[trace].keys():
            levels = [float(side[trace][place].max()) for side in (after, before)]
            if np.isfinite(levels).all() and max(levels) > HEARD_DB:
                told[place].append(levels[0] - levels[1])
    middles = {p: float(np.median(each)) for p, each in told.items() if len(each) >= FEWEST_TONES}
    usual = float(np.median(list(middles.values()))) if middles else 0.0
    return {place for place, middle in middles.items() if abs(middle - usual) > GONE_DB}


def _gathered(takes: Sequence[TakeLevels]) -> dict[Trace, dict[Place, Numbers]]:
    """Trace -> place -> mean level of its takes."""
    found: dict[Trace, dict[Place, list[Numbers]]] = defaultdict(lambda: defaultdict(list))
    for take in takes:
        for trace, levels in take.levels.items():
            found[trace][take.label, take.kind].append(levels)
    return {
        trace: {place: _mean(several) for place, several in places.items()}
        for trace, places in found.items()
    }


def _rise(
    places: Sequence[Place],
    after: Mapping[Place, Numbers],
    before: Mapping[Place, Numbers],
    what: str,
) -> Rise | None:
    """Each side is read at its own slip, the same for all its takes; the band is one for both.

    What is strange is read where it has risen most; what swells must have risen over its tooth tone
    and over the floor, which may rise as well; what stands must do so at most positions.
    """
    strange = what == STRANGE
    bands = min(len(side[place]) for side in (after, before) for place in places)
    then, now = (np.array([side[place][:bands] for place in places]) for side in (before, after))
    best = _best(now - then if strange else now)
    high = _at(now, best)
    each = high - _at(then, best if strange else _best(then))
    if what == SWELLS:
        each = each.min(axis=1, keepdims=True)
    mean = np.median(each, axis=0) if what == STANDS else _mean(_without_odd_ones(each))
    if not np.isfinite(mean).any():
        return None
    band = int(np.nanargmax(mean))
    told = {p: float(d) for p, d in zip(places, each[:, band], strict=True) if np.isfinite(d)}
    slips = now.shape[2] == SLIPS.size and not strange
    return Rise(
        db=float(mean[band]),
        scatter_db=float(np.std(list(told.values()))),
        now_db=float(np.nanmean(high[:, band])),
        by_place=told,
        slip=float(SLIPS[best[band]]) if slips else 0.0,
        order=float(ORDERS[best[band]]) if strange else float("nan"),
    )


def _best(levels: Numbers) -> NDArray[np.intp]:
    """For each band the slip at which all takes together are highest; shape (bands,)."""
    mean = np.where(np.isfinite(levels), levels, -np.inf).mean(axis=0)
    return np.asarray(np.argmax(mean, axis=1))


def _at(levels: Numbers, best: NDArray[np.intp]) -> Numbers:
    """Levels at that slip, of shape (takes, bands)."""
    return np.asarray(levels[:, np.arange(best.size), best])


def _without_odd_ones(each: Numbers) -> Numbers:
    """Rises of shape (places, bands), those far from most drawn in."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        middle = np.nanmedian(each, axis=0)
        spread = np.maximum(NORMAL * np.nanmedian(np.abs(each - middle), axis=0), ODD_DB)
    return np.asarray(np.clip(each, middle - ODD_SPREADS * spread, middle + ODD_SPREADS * spread))


def _mean(several: Sequence[Numbers] | Numbers) -> Numbers:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmean(np.asarray(several), axis=0))
