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
    found = {}
    for trace, places in after.items():
        both = [
            place
            for place in places
            if place in before.get(trace, {}) and (trace[1], place[0]) not in apart
        ]
        if both:
            rise = _rise(both, places, before[trace], strange=trace[0] == STRANGE)
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
    *,
    strange: bool,
) -> Rise | None:
    """Each side is read at its own slip, the same for all its takes; the band is one for both.

    What is strange is read where it has risen most.
    """
    bands = min(len(side[place]) for side in (after, before) for place in places)
    then, now = (np.array([side[place][:bands] for place in places]) for side in (before, after))
    best = _best(now - then if strange else now)
    high = _at(now, best)
    each = high - _at(then, best if strange else _best(then))
    mean = _mean(each)
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


def _mean(several: Sequence[Numbers] | Numbers) -> Numbers:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.asarray(np.nanmean(np.asarray(several), axis=0))
