"""Lines of a spectrum: where, how strong, and how unlikely by chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.spectrum import Spectrum


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """One line.

    Attributes
    ----------
    place : float
        Interpolated, in the spectrum's axis.
    value : float
        Height, in the spectrum's scaling.
    significance : float
        -ln of the chance that noise alone reaches this height in one bin.
    """

    place: float
    value: float
    significance: float


def peak_bins(values: NDArray[np.floating], *, reach: int = 2) -> NDArray[np.intp]:
    """Bins that are the largest within ``reach`` bins either side."""
    if values.size <= 2 * reach:
        return np.array([], dtype=np.intp)
    inner = values[reach:-reach]
    best = np.ones(inner.size, dtype=bool)
    for offset in range(1, reach + 1):
        best &= inner > values[reach - offset : values.size - reach - offset]
        best &= inner >= values[reach + offset : values.size - reach + offset]
    return np.flatnonzero(best) + reach


def interpolated(values: NDArray[np.floating], bins: NDArray[np.intp]) -> NDArray[np.float64]:
    """Fractional bins of peaks: parabola through the logarithms of three bins."""
    below, here, above = (
        np.log(np.maximum(values[bins + way], 1e-30)).astype(np.float64) for way in (-1, 0, 1)
    )
    bend = below - 2 * here + above
    shift = np.where(bend < 0, 0.5 * (below - above) / np.where(bend < 0, bend, -1.0), 0.0)
    return np.asarray(bins + np.clip(shift, -0.5, 0.5), dtype=np.float64)


def peaks(
    spectrum: Spectrum, *, chance: float = 1e-3, most: int = 200, floor_width: float = 0.0
) -> list[Peak]:
    """Lines that noise alone would show anywhere in this spectrum with probability ``chance``.

    Parameters
    ----------
    spectrum : Spectrum
        In "power" or "significance", one average.
    chance : float
        For the whole spectrum, not for one bin.
    most : int
        The strongest this many, in order of place.

    Examples
    --------
    >>> from vibecheck.spectra.spectrum import long_spectrum
    >>> noise = np.random.default_rng(1).normal(size=8000)
    >>> tone = noise + 0.5 * np.sin(2 * np.pi * 100.03 * np.arange(8000) / 1000)
    >>> [round(peak.place, 2) for peak in peaks(long_spectrum(tone.astype(np.float32), 1000.0))]
    [100.03]
    """
    level = (
        spectrum if spectrum.scaling == "significance" else over_floor(spectrum, width=floor_width)
    )
    found = peak_bins(level.values)
    found = found[level.values[found] > np.log(len(spectrum) / chance)]
    found = np.sort(found[np.argsort(-level.values[found])][:most])
    places = spectrum.start + spectrum.step * interpolated(level.values, found)
    return [
        Peak(
            place=float(place),
            value=float(spectrum.values[index]),
            significance=float(level.values[index]),
        )
        for place, index in zip(places, found, strict=True)
    ]
