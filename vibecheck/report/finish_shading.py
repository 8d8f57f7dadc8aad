"""A turned surface as a person sees it: light where it stands high, grooves run together.

At arm's length the eye cannot part one feed groove from the next; it sees their average. Under a
glass it sees the grooves too. Contrast is stretched in both, as a person does by turning the work
in the light; how deep the marks are is written beside the picture instead.
"""

from __future__ import annotations

from math import ceil

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float64]


def by_eye(heights: NDArray[np.float32], rows_a_feed: float) -> Picture:
    """Heights averaged over one feed, in mm; same shape as given, (along, round).

    A moving average over exactly one feed takes the grooves away and leaves the marks.
    """
    reach = min(ceil(rows_a_feed), heights.shape[0])
    inside = heights.astype(np.float64)
    # Beyond either edge the grooves go on as they were one feed before.
    padded = np.concatenate((inside[:reach], inside, inside[-reach:]))
    total = np.concatenate((np.zeros((1, heights.shape[1])), np.cumsum(padded, axis=0)))
    middle = np.arange(heights.shape[0]) + reach + 0.5
    half = np.full(heights.shape[0], rows_a_feed / 2)
    above, below = _row(total, middle + half), _row(total, middle - half)
    return np.asarray((above - below) / rows_a_feed)


def _row(total: Picture, place: NDArray[np.float64]) -> Picture:
    """Rows of ``total`` at fractional places."""
    whole = np.floor(place).astype(int)
    part = (place - whole)[:, np.newaxis]
    return np.asarray(
        total[whole] * (1 - part) + total[np.minimum(whole + 1, len(total) - 1)] * part
    )


def depth_mm(picture: Picture) -> float:
    """From the darkest to the lightest, leaving out the extreme hundredth at either end."""
    low, high = np.percentile(picture, (1, 99))
    return float(high - low)


def stretched(picture: Picture, least_mm: float = 0.0) -> Picture:
    """Light and dark from 0 to 1; what varies less than ``least_mm`` stays even."""
    low, high = np.percentile(picture, (1, 99))
    if high - low <= max(least_mm, 1e-12):
        return np.full_like(picture, 0.6)
    return np.asarray(np.clip((picture - low) / (high - low), 0, 1))
