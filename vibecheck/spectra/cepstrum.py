"""Families of evenly spaced lines gathered into single peaks.

The power cepstrum turns "many sidebands 6.2 Hz apart" into one peak at 1/6.2 s (Randall 2017,
Mech. Syst. Signal Process. 97:3-19).
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import Spectrum


def spacing_strength(
    spectrum: Spectrum, spacings: NDArray[np.float64], *, low: float = 0.0, high: float = 0.0
) -> NDArray[np.float64]:
    """How strongly lines ``spacing`` apart run through a part of a spectrum.

    The real cepstrum of the log spectrum over its floor, read at 1/spacing, in units of its own
    scatter: values above about 4 are not chance in a few hundred tries.

    Parameters
    ----------
    spectrum : Spectrum
        In "power", fine enough to part the lines.
    spacings : ndarray of float64
        In the spectrum's axis units.
    low, high : float
        Which part; 0 and 0 for all.
    """
    part = spectrum.slice(low, high) if high > low else spectrum
    flat = np.log(part.values / noise_floor(part).values + 1e-3).astype(np.float64)
    flat -= flat.mean()
    size = scipy.fft.next_fast_len(4 * flat.size, real=True)
    ceps = np.abs(scipy.fft.rfft(flat * np.hanning(flat.size), n=size))
    per_bin = 1.0 / (size * part.step)
    middle = np.median(ceps[4:])
    scatter = 1.4826 * np.median(np.abs(ceps[4:] - middle)) + 1e-12
    places = 1.0 / np.asarray(spacings) / per_bin
    heights = np.interp(places, np.arange(ceps.size), ceps, right=middle)
    return np.asarray((heights - middle) / scatter)


def spacing_found(
    spectrum: Spectrum,
    low_spacing: float,
    high_spacing: float,
    *,
    low: float = 0.0,
    high: float = 0.0,
) -> tuple[float, float]:
    """The strongest spacing in a range, and its strength as in :func:`spacing_strength`.

    Examples
    --------
    >>> from vibecheck.spectra.spectrum import long_spectrum
    >>> time = np.arange(40000) / 4000
    >>> blows = (1 + np.cos(2 * np.pi * 7.3 * time)) ** 6 * np.cos(2 * np.pi * 900 * time)
    >>> noisy = blows + np.random.default_rng(3).normal(size=time.size)
    >>> heard = long_spectrum(noisy.astype(np.float32), 4000.0)
    >>> round(spacing_found(heard, 5.0, 12.0)[0], 1)
    7.3
    """
    count = int(np.ceil((1 / low_spacing - 1 / high_spacing) * (spectrum.end - spectrum.start) * 4))
    spacings = 1.0 / np.linspace(1 / high_spacing, 1 / low_spacing, max(count, 8))
    strength = spacing_strength(spectrum, spacings, low=low, high=high)
    best = int(np.argmax(strength))
    return float(spacings[best]), float(strength[best])
