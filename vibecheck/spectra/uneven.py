"""Samples with uneven time stamps, as phones' motion sensors deliver them.

Often only the stamps are uneven: a clock of 16.8 ms stamps samples that were taken evenly. Then
the count is the better clock.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.spectra.spectrum import Floats

Numbers = NDArray[np.float64]


def even_rate(times_s: Numbers) -> tuple[float, bool]:
    """Samples a second, and whether counting samples explains the stamps.

    True when no stamp strays from a straight line by more than the clock's own coarsest tick.

    Examples
    --------
    >>> stamps = np.floor(np.arange(400) / 99.4 / 0.0168) * 0.0168
    >>> rate, even = even_rate(stamps)
    >>> round(rate, 1), even
    (99.4, True)
    """
    if times_s.size < 8 or np.any(np.diff(times_s) < 0) or times_s[-1] <= times_s[0]:
        raise RecordingError("time stamps do not rise", "Export the samples with their times.")
    count = np.arange(times_s.size)
    slope, start = np.polyfit(count, times_s, 1)
    steps = np.diff(times_s)
    tick = float(np.quantile(steps[steps > 0], 0.95))
    astray = float(np.quantile(np.abs(times_s - start - slope * count), 0.99))
    return float(1.0 / slope), bool(astray <= 1.5 * tick)


def evened(times_s: Numbers, values: NDArray[np.floating]) -> tuple[Floats, float]:
    """Even samples and their rate: by count where the stamps allow it, else interpolated.

    Parameters
    ----------
    times_s : ndarray of float64, shape (frames,)
    values : ndarray, shape (frames,) or (channels, frames)

    Returns
    -------
    samples : ndarray of float32, of the same shape (about as many frames)
    rate_hz : float
    """
    rate_hz, counted = even_rate(times_s)
    rows = np.atleast_2d(values)
    if not counted:
        apart = np.r_[True, np.diff(times_s) > 0]
        grid = np.arange(times_s[0], times_s[-1], 1.0 / rate_hz)
        rows = np.array([np.interp(grid, times_s[apart], row[apart]) for row in rows])
    even = rows.astype(np.float32)
    return (even if np.ndim(values) == 2 else even[0]), rate_hz


def line_amplitude(times_s: Numbers, values: Numbers, hz: float) -> float:
    """Peak value of a steady line by least squares on the stamps as they are."""
    turn = 2 * np.pi * hz * np.asarray(times_s)
    basis = np.stack([np.cos(turn), np.sin(turn), np.ones_like(turn)], axis=1)
    fit, *_ = np.linalg.lstsq(basis, np.asarray(values, dtype=float), rcond=None)
    return float(np.hypot(fit[0], fit[1]))
