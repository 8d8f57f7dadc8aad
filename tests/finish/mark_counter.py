"""Counting marks on a height map the way a patient person would, knowing no formula of marks.

Only the map and its grid are used: the strongest wave in it that is coarser than the feed marks.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft


@dataclass(frozen=True)
class Counted:
    crests_round: int
    spacing_mm: float
    rises_right: bool
    strength: float


def count(heights: np.ndarray, along_step_mm: float, feed_mm: float) -> Counted:
    """Crests round, spacing along, and which way the crests rise (up = rows, right = columns)."""
    rows = heights.shape[0]
    shaped = (heights - heights.mean()) * np.hanning(rows)[:, None]
    padded = 4 * rows
    power = np.abs(fft.fft(fft.rfft(shaped, axis=1), padded, axis=0)) ** 2
    along = fft.fftfreq(padded, along_step_mm)
    coarse = np.abs(along) <= 0.5 / feed_mm
    power[~coarse] = 0
    power[np.abs(along) < 1.0 / (rows * along_step_mm), 0] = 0
    row, crests = np.unravel_index(np.argmax(power), power.shape)
    ordered = np.argsort(along)
    place = int(np.flatnonzero(ordered == row)[0])
    left, mid, right = (power[ordered[(place + d) % padded], crests] for d in (-1, 0, 1))
    shift = 0.5 * (left - right) / (left - 2 * mid + right)
    frequency = along[row] + shift / (padded * along_step_mm)
    return Counted(
        crests_round=int(crests),
        spacing_mm=float(1 / abs(frequency)) if frequency else float("inf"),
        rises_right=bool(frequency < 0),  # phase round + phase along constant: up when they oppose
        strength=float(np.sqrt(power[row, crests]) / heights.size),
    )
