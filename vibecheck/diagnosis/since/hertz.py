"""Tones that no lever moves: how high they stand in a take, and which ones are new.

They are read against hertz, not against shaft angle, on which they would smear.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.readings.fixed_tones import FixedTone, train_lines
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.ready import Ready
from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import averaged_spectrum

Numbers = NDArray[np.float64]

RESOLUTION_HZ, STEP_HZ, LOWEST_HZ = 1.0, 0.5, 30.0
WANDERS, AT_LEAST_HZ = 0.006, 1.0
"""How far a tone of the structure or a tool may lie off from take to take: relative, and hertz."""
TRAIN_HZ = 2.5
"""A place this near a tooth tone, its side lines, or a low multiple of a shaft is the machine's."""
TURNS = np.arange(1, 9)
FEWEST, NEW_DB, MOST_NEW, APART = 3, 4.0, 4, 0.02
"""In how many takes a tone is sought, how far it must have risen to be followed, how many are, and
how far apart (relative)."""
STEADY, SAME_TONE = 1e-4, 0.008
"""Scatter that a new tone is given, as it is sought at one frequency; and how near two tones must
come to be one (relative)."""
SPREADS, NORMAL = 6.0, 1.4826
"""How many spreads of all places' rises a new tone stands beyond their middle; a normal spread over
the median distance from the middle."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HertzLevels:
    """Power over the floor against hertz, one value every ``step`` Hz."""

    over: Numbers
    step: float

    def near(self, hertz: Sequence[float], wander: float) -> float:
        """Mean power over floor of some tones, each the highest within what it may wander."""
        found = []
        for hz in hertz:
            half = max(wander * hz, AT_LEAST_HZ)
            low, high = (round((hz + way * half) / self.step) for way in (-1, 1))
            part = self.over[max(low, 1) : high + 1]
            if part.size:
                found.append(float(part.max()))
        return float(np.mean(found)) if found else float("nan")


def hertz_levels(take: Ready) -> HertzLevels:
    """The spectrum of a take over its floor."""
    spectrum = averaged_spectrum(
        take.slow, take.slow_hz, resolution_hz=RESOLUTION_HZ, scaling="power"
    )
    inside = min(len(spectrum), int(take.top_hz / spectrum.step))
    floor = noise_floor(spectrum).values[:inside]
    over = spectrum.values[:inside].astype(np.float64) / np.maximum(floor, 1e-30)
    return HertzLevels(over=over, step=spectrum.step)


def followed(now: Listened, sound: Listened) -> dict[str, FixedTone]:
    """Tones that no lever moves, by the name of their trace: those heard now, and new ones."""
    heard = [*now.fixed, *now.cut]
    for kind in ("idle", "cutting"):
        heard += [
            tone
            for tone in new_tones(now.takes, sound.takes, kind)
            if all(abs(tone.hz / other.hz - 1.0) > SAME_TONE for other in heard)
        ]
    return {f"{tone.hz:.2f}": tone for tone in heard}


def new_tones(now: Sequence[Heard], sound: Sequence[Heard], kind: str) -> list[FixedTone]:
    """Tones at one frequency in all takes of a kind that stand higher than in the baseline.

    Parameters
    ----------
    now, sound : sequence of Heard
    kind : str
        Only takes of this kind are held against each other ("idle", "cutting").

    Returns
    -------
    list of FixedTone
        The highest first; places, no judgement.
    """
    mine, theirs = (
        {t.label: t for t in takes if t.ready.take.kind == kind} for takes in (now, sound)
    )
    both = [label for label in mine if label in theirs]
    if len(both) < FEWEST:
        return []
    top = min(min(mine[b].ready.top_hz, theirs[b].ready.top_hz) for b in both)
    grid = np.arange(LOWEST_HZ, 0.98 * top, STEP_HZ)
    risen = _mean([_free(mine[b], grid) - _free(theirs[b], grid) for b in both])
    least = _beyond_chance(risen)
    found: list[FixedTone] = []
    for place in np.argsort(-np.nan_to_num(risen, nan=-99.0)):
        if not risen[place] >= least or len(found) == MOST_NEW:
            break
        hz = float(grid[place])
        if all(abs(hz / other.hz - 1.0) > APART for other in found):
            found.append(
                FixedTone(
                    hz=hz,
                    spread=STEADY,
                    share=1.0,
                    takes=tuple(range(len(both))),
                    over_floor=0.0,
                    above_mesh_db=0.0,
                )
            )
    return found


def _beyond_chance(risen: Numbers) -> float:
    """How far a place must have risen to have risen more than thousands of places do by chance."""
    known = risen[np.isfinite(risen)]
    if not known.size:
        return float("inf")
    middle = float(np.median(known))
    spread = NORMAL * float(np.median(np.abs(known - middle)))
    return max(NEW_DB, middle + SPREADS * spread)


def _free(take: Heard, grid: Numbers) -> Numbers:
    """Decibels over the floor along a grid of hertz; nan where the machine has lines of its own."""
    levels = hertz_levels(take.ready)
    places = np.arange(levels.over.size) * levels.step
    even = 10.0 * np.log10(np.maximum(np.interp(grid, places, levels.over), 1e-3))
    wide = _widest(even, grid)
    lines = np.concatenate(
        [
            train_lines(take, take.ready.top_hz),
            *(TURNS * ratio * take.base_hz for ratio in take.turning_ratios().values()),
        ]
    )
    near = np.searchsorted(np.sort(lines), grid)
    ordered = np.concatenate([[-np.inf], np.sort(lines), [np.inf]])
    apart = np.minimum(np.abs(grid - ordered[near]), np.abs(grid - ordered[near + 1]))
    wide[apart < TRAIN_HZ] = np.nan
    return wide


def _widest(values: Numbers, grid: Numbers) -> Numbers:
    """The highest within what a tone may wander, which is more where it is higher."""
    out = values.copy()
    reach = np.maximum(WANDERS * grid, AT_LEAST_HZ) / STEP_HZ
    for size in np.unique(np.rint(reach).astype(int)):
        inside = np.rint(reach).astype(int) == size
        out[inside] = maximum_filter1d(values, 1 + 2 * int(size))[inside]
    return out


def _mean(rows: Sequence[Numbers]) -> Numbers:
    """Mean over the takes in which a place is free; nan where it is in fewer than half of them."""
    stacked = np.array(rows)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        mean = np.nanmean(stacked, axis=0)
    mean[np.isfinite(stacked).mean(axis=0) < 0.5] = np.nan
    return np.asarray(mean)
