"""How surprising a family of lines is among decoys: at one order of one take, and over many.

In each take every trial order gets the decimal logarithm of its surprise among decoys of that
take. The sum over takes is again judged against decoys: orders at which nothing turns would have
to be lucky in every take at once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.matching import Field

Numbers = NDArray[np.float64]

MOST_PER_TAKE = 5.0
TIE = 1e-3
"""Weight of what lies beyond that: it says where in a plateau the family sits, never whether."""
FLANK, FEWEST_DECOYS = 0.015, 200
"""Window about a sideband, relative, that holds no decoys; and how many must be left."""
SLOWEST_PACE = 0.7
"""Least fall-off of a sum of surprises, in their own unit: a single one falls off by 0.43."""


def surprise(
    field: Field,
    family: Family,
    trial: Numbers,
    free: NDArray[np.bool_],
    yardstick: Field | None = None,
) -> tuple[Numbers, Numbers]:
    """Decimal surprise of every trial order among the decoys of one take.

    Returns
    -------
    own, decoys : ndarray, shape (trials,)
        Of the trial orders in ``field``, and of the same orders in ``yardstick`` (default: the same
        field), where the decoys are scored.
    """
    own = field.scores(family, trial)
    other = own if yardstick is None or yardstick is field else yardstick.scores(family, trial)
    middle = np.median(other[:, free], axis=1)
    spread = np.median(np.abs(other[:, free] - middle[:, None]), axis=1) + 0.5
    height, decoys = (
        ((rows - middle[:, None]) / spread[:, None]).max(axis=0) for rows in (own, other)
    )
    threshold = float(np.quantile(decoys[free], 0.9))
    beyond = decoys[free & (decoys > threshold)] - threshold
    tail = float(beyond.mean()) + 1e-9 if beyond.size else 1.0
    scale = tail * np.log(10.0)
    return (
        np.maximum(0.0, 1.0 + (height - threshold) / scale),
        np.maximum(0.0, 1.0 + (decoys - threshold) / scale),
    )


def free_places(
    trial: Numbers,
    others: Sequence[float],
    *,
    flanks: Sequence[float] = (),
    reach: float = 0.0,
) -> NDArray[np.bool_]:
    """Trial orders at which no known element, nor a simple ratio or a sideband of one, is due.

    Sidebands (``flanks``) of a flaw that is there are themselves a family with sidebands: decoys
    among them would measure the flaw by itself. ``reach`` is how far all orders may lie from where
    they are due, and so may windows that hold one.
    """
    broken = np.abs(trial - np.rint(trial)) > 0.015
    free = broken.copy()
    for centre in others:
        for ratio in (0.5, 1.0, 2.0):
            free &= np.abs(trial / (centre * ratio) - 1.0) > 0.033 + 2.0 * reach
    clear = free.copy()
    for flank in flanks:
        clear &= np.abs(trial / flank - 1.0) > FLANK + reach
    for kept in (clear, free):
        if kept.sum() > FEWEST_DECOYS:
            return kept
    return broken


def tail_chance(reached: float, decoys: Numbers, *, places: float) -> float:
    """Decimal logarithm of the chance that decoys reach ``reached``, places counted.

    The tail falls off exponentially, at the faster of the paces seen from the median to the upper
    fifth of the decoys and on to its topmost twentieth: a loud true family raises some decoys too,
    at simple ratios of itself, and must not raise its own yardstick.
    """
    middle, upper, top = (float(q) for q in np.quantile(decoys, (0.5, 0.8, 0.95)))
    paces = (upper - middle) / np.log(2.5), (top - upper) / np.log(4.0)
    pace = max(min(paces), SLOWEST_PACE)
    log10_point = np.log10(0.2) - max(0.0, reached - upper) / (pace * np.log(10.0))
    return float(max(min(0.0, log10_point + np.log10(places)), -60.0))
