"""Where, in an envelope's spectrum, something that turns has lines of its own.

What knocks once a turn, meshes or slips on a belt fills the spectrum with combs; a bearing is
sought only in what they leave free.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.spectra.envelope import EnvelopeSpectrum

LOUD_LINE = 8.0
"""Power over floor at which the skirts of a turning line are masked with it."""
VERY_LOUD, WIDE_SKIRT = 300.0, 6
"""Beyond that power its skirts reach this many bins: what knocks is never quite even."""
ALWAYS, MANY, COMB_LINE = 8, 40, 4.0
"""A rotor's multiples up to this one are always taken for its own; higher ones only where half of
them stand this far over the floor (noise alone: 1.8)."""
HALVES = 8
"""Half multiples (0.5, 1.5 ...) of a rotor looked at; its own where they stand out."""
FEWEST = 4
"""Lines of a comb that must be within the spectrum for its height to be told."""
SLIPS = 2e-3
"""How far lines behind a belt may stand beside their place on the track."""


def turning_lines(take: Heard, level: EnvelopeSpectrum, *, belts: bool = True) -> NDArray[np.bool_]:
    """Bins where something that turns has lines: never a bearing's; ``belts`` among it or not.

    Where such a line stands out, higher than what lies beside it, its skirts are taken as well.
    """
    step, bins = level.significance.step, len(level.significance)
    mask = np.zeros(bins, dtype=bool)
    mask[: max(3, int(0.3 / (take.base_hz * step)))] = True
    orders: list[float] = []
    known = take.turning_ratios()
    for ratio in known.values():
        many = MANY if _comb_stands_out(level, ratio, MANY) else ALWAYS
        orders += [k * ratio for k in range(1, many + 1)]
        if _halves_stand_out(level, ratio):
            orders += [(k + 0.5) * ratio for k in range(HALVES)]
    for mesh in take.turning.meshes:
        if mesh.group == take.group and mesh.order is not None:
            pair = [known[n] for n in (mesh.driver, mesh.driven) if n in known]
            for k in (1, 2, 3):
                sides = (-2, -1, 0, 1, 2) if mesh.loaded else (-1, 0, 1)
                orders += [k * mesh.order + j * r for r in pair for j in sides]
    loose = [ratio for name, ratio in known.items() if _slips(take, name)]
    if belts:
        loose += _belt_rates(take, known)
    for ratio in loose:
        multiples = np.arange(1.0, ALWAYS + 1)
        if _halves_stand_out(level, ratio):
            multiples = np.r_[multiples, multiples - 0.5]
        for k in multiples.tolist():
            low, high = (round(k * ratio * way / step) for way in (1 - SLIPS, 1 + SLIPS))
            mask[max(0, low) : high + 1] = True
    places = np.rint(np.array(orders) / step).astype(int)
    places = places[(places >= 1) & (places < bins - 1)]
    values = level.significance.values
    about = np.stack([values[np.clip(places + k, 0, bins - 1)] for k in range(-3, 4)])
    top = about[2:5].max(axis=0)
    loud = (top > LOUD_LINE) & (top >= about.max(axis=0))
    for offset in range(-WIDE_SKIRT, WIDE_SKIRT + 1):
        skirt = loud & (top > VERY_LOUD) if abs(offset) > 3 else loud
        here = places[skirt] + offset if abs(offset) > 1 else places + offset
        mask[here[(here >= 0) & (here < bins)]] = True
    for hum in np.arange(1, 8) * 2 * take.turning.machine.supply.mains_hz:
        near = np.abs(level.significance.frequencies * take.base_hz - hum) < 0.4
        mask |= near
    return mask


def _belt_rates(take: Heard, known: Mapping[str, float]) -> Iterator[float]:
    """Rates at which belts go round, over the track's speed: as heard, else by the table."""
    for work in take.turning.belts:
        if work.belt.name in take.belts:
            yield take.belts[work.belt.name]
        elif work.order is not None and work.driver in known:
            yield work.order * known[work.driver]


def _comb_stands_out(level: EnvelopeSpectrum, ratio: float, many: int) -> bool:
    """Whether a rotor's higher multiples are there at all: as a comb, not one by accident."""
    multiples = np.arange(ALWAYS + 1, many + 1, dtype=np.float64)
    height = comb_height(level, multiples * ratio)
    return height == 0.0 or height > COMB_LINE


def _slips(take: Heard, name: str) -> bool:
    """Whether a rotor hangs on the track by a belt: its lines stand a little beside."""
    return take.turning.rotors[name].group != take.group


def _halves_stand_out(level: EnvelopeSpectrum, ratio: float) -> bool:
    """Whether a rotor's half multiples stand as a comb over what lies between: something loose."""
    half, quarters = (
        comb_height(level, (np.arange(HALVES)[:, None] + np.array(at)).ravel() * ratio)
        for at in ((0.5,), (0.25, 0.75))
    )
    return half > max(COMB_LINE, 2.0 * quarters)


def comb_height(level: EnvelopeSpectrum, orders: NDArray[np.float64]) -> float:
    """Median over the floor of the highest of three bins at each order; 0 of too few."""
    places = np.rint(orders / level.significance.step).astype(int)
    places = places[(places > 0) & (places < len(level.significance) - 1)]
    if places.size < FEWEST:
        return 0.0
    near = [level.significance.values[places + offset] for offset in (-1, 0, 1)]
    return float(np.median(np.max(near, axis=0)))
