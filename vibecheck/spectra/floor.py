"""The local noise floor of a spectrum, and how far each bin stands above it by chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv
from scipy.stats import gamma

from vibecheck.spectra.spectrum import Floats, Spectrum

FEWEST_BINS = 24


def noise_floor(spectrum: Spectrum, *, width: float = 0.0, quantile: float = 0.5) -> Spectrum:
    """Mean level of the noise under the lines, bin for bin.

    A quantile of each neighbourhood, divided by what that quantile of pure noise with the same
    number of averages would be over its mean, so that lines (a minority of the bins) do not
    raise it. Neighbourhoods grow with frequency, because floors are steepest at the low end.

    Parameters
    ----------
    spectrum : Spectrum
        In "power" or "density".
    width : float
        Widest neighbourhood, in axis units; default a twentieth of the axis.
    quantile : float
        Which quantile; the median stands up to half the bins being lines.
    """
    edges = _edges(len(spectrum), width / spectrum.step if width else len(spectrum) / 20.0)
    values = spectrum.values
    level = np.array([_quantile(values[low:high], quantile) for low, high in edges])
    level /= gammaincinv(spectrum.averages, quantile) / spectrum.averages
    middle = np.array([(low + high - 1) / 2 for low, high in edges])
    level = np.maximum(level, max(float(values.max()), 1e-30) * 1e-12)
    smooth = np.exp(np.interp(np.arange(values.size), middle, np.log(level)))
    return spectrum.with_values(smooth)


def over_floor(
    spectrum: Spectrum, floor: Spectrum | None = None, *, width: float = 0.0
) -> Spectrum:
    """The spectrum divided by its noise floor, in scaling "significance"."""
    floor = floor or noise_floor(spectrum, width=width)
    return spectrum.with_values(spectrum.values / floor.values, scaling="significance")


def line_significance(spectrum: Spectrum) -> NDArray[np.float64]:
    """Surprise of each bin, -ln(probability that noise alone reaches it), shape (bins,).

    ``spectrum`` must be in scaling "significance". With one average this is the value itself.
    """
    if spectrum.averages <= 1.0:
        return spectrum.values.astype(np.float64)
    shape = spectrum.averages
    surprise = -gamma.logsf(spectrum.values.astype(np.float64) * shape, shape)
    return np.asarray(np.minimum(surprise, 700.0))


def _quantile(values: Floats, share: float) -> float:
    """The value ``share`` of the way up, without sorting and without interpolating."""
    rank = round(share * (values.size - 1))
    return float(np.partition(values, rank)[rank])


def _edges(bins: int, widest: float) -> list[tuple[int, int]]:
    """Half-overlapping neighbourhoods, a fifth of their own place wide, within limits."""
    edges: list[tuple[int, int]] = []
    low = 1 if bins > 4 * FEWEST_BINS else 0
    while True:
        size = int(max(FEWEST_BINS, min(0.4 * low, widest)))
        high = low + size
        if high + size // 2 >= bins:
            edges.append((max(0, min(low, bins - FEWEST_BINS)), bins))
            return edges
        edges.append((low, high))
        low += max(size // 2, 1)
