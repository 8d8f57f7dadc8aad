"""Powers of lines block by block, so that their scatter tells how well each level is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

HANN_BINS = 1.5
"""Equivalent noise bandwidth of a Hann window, in bins."""
REACH_BINS = 2
"""A tone on a Hann window lies within two bins either side."""
FLOOR_BINS = 20
"""Bins either side from which the floor under a line is taken."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlockSpectra:
    """Power spectra of half-overlapping Hann blocks, shape (blocks, bins).

    A steady tone's mean square is the sum of the bins it spreads over, divided by 1.5.
    """

    power: NDArray[np.float32]
    step_hz: float

    @property
    def independent(self) -> float:
        """Blocks' worth in independent ones: half the degrees of freedom 36 K^2 / (19 K - 1).

        Percival & Walden 1993, Spectral Analysis for Physical Applications, eq. 292b.
        """
        count = len(self.power)
        return 18.0 * count**2 / (19.0 * count - 1.0)

    def mean(self) -> Array:
        """Mean over blocks, shape (bins,)."""
        return np.asarray(self.power.mean(axis=0, dtype=np.float64))


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """Mean square of a line above the floor under it.

    ``error`` is its standard uncertainty, ``floor`` the mean square of the noise in the same bins.
    """

    value: float
    error: float
    floor: float


def block_spectra(samples: Samples, rate_hz: float, block_s: float) -> BlockSpectra:
    """Cut a recording into half-overlapping blocks and transform each.

    >>> tone = np.sin(2 * np.pi * 100 * np.arange(8000) / 1000).astype(np.float32)
    >>> spectra = block_spectra(tone, 1000.0, 1.0)
    >>> round(float(spectra.mean()[98:103].sum() / HANN_BINS), 3)
    0.5
    """
    length = int(min(max(round(block_s * rate_hz), 16), samples.size))
    length = min(scipy.fft.next_fast_len(length, real=True), samples.size)
    taper = np.hanning(length + 1)[:-1].astype(np.float32)
    cuts = np.lib.stride_tricks.sliding_window_view(samples, length)[:: max(length // 2, 1)]
    rows = []
    for cut in cuts:
        lines = scipy.fft.rfft((cut - cut.mean(dtype=np.float64).astype(np.float32)) * taper)
        rows.append(np.square(lines.real) + np.square(lines.imag))
    scale = np.float32(2.0 / float(taper.sum(dtype=np.float64)) ** 2)
    return BlockSpectra(power=np.stack(rows) * scale, step_hz=rate_hz / length)


def line_power(
    spectra: BlockSpectra,
    places_hz: Sequence[float],
    widths_hz: Sequence[float],
    busy: NDArray[np.bool_],
) -> Power:
    """Mean square of a line with several components, the floor under them taken off.

    Parameters
    ----------
    spectra : BlockSpectra
    places_hz, widths_hz : sequence of float
        Each component's frequency and half-width.
    busy : ndarray of bool, shape (bins,)
        Bins where some line is expected; no floor is taken there.
    """
    mean = spectra.mean()
    blocks = np.zeros(len(spectra.power))
    floor_power = noise_square = 0.0
    for place, width in zip(places_hz, widths_hz, strict=True):
        low, high = bins_of(place, width, spectra)
        blocks += spectra.power[:, low : high + 1].sum(axis=1, dtype=np.float64) / HANN_BINS
        floor = _floor(mean, busy, low, high, spectra.independent)
        floor_power += floor * (high - low + 1) / HANN_BINS
        noise_square += floor**2 * (high - low + 1) / HANN_BINS
    value = float(blocks.mean()) - floor_power
    scatter = float(np.var(blocks, ddof=1)) if len(blocks) > 1 else 0.0
    per_bin = floor_power / max(sum(1 for _ in places_hz), 1)
    theory = noise_square + 2.0 * max(value, 0.0) * per_bin / max(REACH_BINS, 1)
    return Power(
        value=value,
        error=float(np.sqrt(max(scatter, theory) / spectra.independent)),
        floor=floor_power,
    )


def bins_of(place_hz: float, width_hz: float, spectra: BlockSpectra) -> tuple[int, int]:
    """First and last bin a component may lie in, kept inside the spectrum."""
    last = spectra.power.shape[1] - 1
    reach = REACH_BINS + width_hz / spectra.step_hz
    middle = place_hz / spectra.step_hz
    low = int(np.clip(np.rint(middle - reach), 0, last))
    return low, int(np.clip(np.rint(middle + reach), low, last))


def _floor(mean: Array, busy: NDArray[np.bool_], low: int, high: int, independent: float) -> float:
    """Mean noise per bin around a line: median of the free bins near it, brought to the mean."""
    for reach in (FLOOR_BINS, 3 * FLOOR_BINS):
        first, last = max(1, low - reach), min(mean.size, high + 1 + reach)
        free = mean[first:last][~busy[first:last]]
        if free.size >= 8:
            break
    if free.size == 0:
        return 0.0
    median_share = (1.0 - 1.0 / (9.0 * independent)) ** 3
    return float(np.median(free)) / median_share
