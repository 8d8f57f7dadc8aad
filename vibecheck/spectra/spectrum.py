"""One value for every kind of spectrum, and the two ways of making one from samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.fft
import scipy.signal
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import ArrayLike, NDArray

from vibecheck.errors import RecordingError

Axis = Literal["Hz", "order"]
Scaling = Literal["peak", "rms", "power", "density", "significance"]
Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectrum:
    """Values on an evenly spaced axis of frequency or of order.

    Attributes
    ----------
    values : ndarray of float32, shape (bins,)
        Read-only.
    step : float
        Distance between bins, in ``axis`` units.
    start : float
        Place of the first bin.
    axis : str
        "Hz", or "order" for multiples of one shaft's speed.
    scaling : str
        "peak" and "rms": a steady tone reads its peak or r.m.s. value. "power": its mean square.
        "density": mean square for each hertz (or order). "significance": power over the local
        floor, so that noise alone averages 1 and exceeds x with probability exp(-x).
    unit : str
        Of the samples, before scaling.
    resolution : float
        Effective noise bandwidth, window included; two tones closer than about twice this are one.
    averages : float
        Equivalent number of independent averages; twice this is the chi-square degrees of freedom.
    """

    values: Floats
    step: float
    start: float = 0.0
    axis: Axis = "Hz"
    scaling: Scaling = "power"
    unit: str = "FS"
    resolution: float = 0.0
    averages: float = 1.0

    def __post_init__(self) -> None:
        values = np.ascontiguousarray(self.values, dtype=np.float32)
        if values.ndim != 1 or values.size == 0 or not self.step > 0:
            raise RecordingError("an empty spectrum was asked for", "Record for longer.")
        values = values.view()
        values.flags.writeable = False
        object.__setattr__(self, "values", values)
        if self.resolution <= 0:
            object.__setattr__(self, "resolution", self.step)

    def __len__(self) -> int:
        return int(self.values.size)

    @property
    def frequencies(self) -> NDArray[np.float64]:
        """Place of every bin on the axis, shape (bins,)."""
        places = self.start + self.step * np.arange(self.values.size)
        return np.asarray(places, dtype=np.float64)

    @property
    def end(self) -> float:
        """Place of the last bin."""
        return self.start + self.step * (self.values.size - 1)

    def index(self, place: ArrayLike) -> NDArray[np.intp]:
        """Nearest bins, kept inside the axis."""
        nearest = np.rint((np.asarray(place, dtype=float) - self.start) / self.step)
        return np.clip(nearest, 0, self.values.size - 1).astype(np.intp)

    def at(self, place: float, *, within: float = 0.0) -> float:
        """Value at ``place``, or the largest within ``within`` either side of it."""
        low, high = (int(self.index(place + way * within)) for way in (-1, 1))
        return float(self.values[low : high + 1].max())

    def slice(self, low: float, high: float) -> Spectrum:
        """The part from ``low`` to ``high``, both ends included."""
        first, last = int(self.index(low)), int(self.index(high))
        return self.with_values(self.values[first : last + 1], start=self.start + first * self.step)

    def with_values(
        self,
        values: NDArray[np.floating],
        *,
        start: float | None = None,
        scaling: Scaling | None = None,
    ) -> Spectrum:
        """The same axis with other values."""
        return Spectrum(
            values=np.asarray(values, dtype=np.float32),
            step=self.step,
            start=self.start if start is None else start,
            axis=self.axis,
            scaling=scaling or self.scaling,
            unit=self.unit,
            resolution=self.resolution,
            averages=self.averages,
        )


def averaged_spectrum(
    samples: Floats,
    rate_hz: float,
    *,
    resolution_hz: float,
    scaling: Scaling = "rms",
    window: str = "hann",
    unit: str = "FS",
    axis: Axis = "Hz",
) -> Spectrum:
    """Mean of the power spectra of half-overlapping stretches (Welch 1967, IEEE Trans. AU-15:70).

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,)
    rate_hz : float
        Samples a second (or a revolution, with ``axis="order"``).
    resolution_hz : float
        Wanted noise bandwidth; the recording's length limits it, see ``Spectrum.resolution``.
    scaling : {"peak", "rms", "power", "density"}
    window : str
        Name as in ``scipy.signal.get_window``.

    Returns
    -------
    Spectrum
        A steady tone of amplitude A on a bin reads A, A/sqrt(2), A^2/2 or A^2/2 over the noise
        bandwidth.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * 100 * np.arange(8000) / 1000).astype(np.float32)
    >>> round(averaged_spectrum(tone, 1000.0, resolution_hz=2.0, scaling="peak").at(100.0), 3)
    1.0
    """
    samples = np.asarray(samples, dtype=np.float32)
    noise_width = _noise_width(window)
    length = int(min(max(noise_width * rate_hz / resolution_hz, 16), samples.size))
    length = scipy.fft.next_fast_len(length, real=True)
    length = min(length, samples.size)
    taper = scipy.signal.get_window(window, length).astype(np.float32)
    power, count = _mean_power(samples, taper)
    step = rate_hz / length
    spectrum = Spectrum(
        values=power * (2.0 / float(taper.sum(dtype=np.float64)) ** 2),
        step=step,
        axis=axis,
        scaling="power",
        unit=unit,
        resolution=noise_width * step,
        averages=_equivalent_averages(count),
    )
    return rescaled(spectrum, scaling)


def long_spectrum(
    samples: Floats,
    rate_hz: float,
    *,
    scaling: Scaling = "power",
    window: str = "hann",
    unit: str = "FS",
    axis: Axis = "Hz",
) -> Spectrum:
    """One spectrum of the whole recording: the finest resolution its length allows."""
    size = fast_length(samples.size)
    return averaged_spectrum(
        samples[:size],
        rate_hz,
        resolution_hz=_noise_width(window) * rate_hz / size * 0.5,
        scaling=scaling,
        window=window,
        unit=unit,
        axis=axis,
    )


def rescaled(spectrum: Spectrum, scaling: Scaling) -> Spectrum:
    """The same spectrum in another scaling; ``spectrum`` must be in "power"."""
    values = spectrum.values
    if scaling == "rms":
        values = np.sqrt(values)
    elif scaling == "peak":
        values = np.sqrt(2.0 * values)
    elif scaling == "density":
        values = values / np.float32(spectrum.resolution)
    elif scaling != "power":
        raise ValueError(f"no such scaling of power: {scaling}")
    return spectrum.with_values(values, scaling=scaling)


def fast_length(size: int) -> int:
    """Largest length not above ``size`` whose only prime factors are 2, 3 and 5.

    >>> fast_length(120801)
    120000
    """
    best = 1
    power5 = 1
    while power5 <= size:
        power3 = power5
        while power3 <= size:
            best = max(best, power3 << int(np.log2(size / power3)))
            power3 *= 3
        power5 *= 5
    return best


def _noise_width(window: str) -> float:
    taper = scipy.signal.get_window(window, 4096)
    return float(taper.size * np.sum(taper**2) / np.sum(taper) ** 2)


def _equivalent_averages(count: int) -> float:
    """Half the degrees of freedom of ``count`` half-overlapping Hann stretches.

    Percival & Walden 1993, Spectral Analysis for Physical Applications, eq. 292b.
    """
    return 18.0 * count**2 / (19.0 * count - 1.0)


def _mean_power(samples: Floats, taper: Floats) -> tuple[Floats, int]:
    length = taper.size
    stretches = sliding_window_view(samples, length)[:: max(length // 2, 1)]
    batch = max(1, (1 << 21) // length)
    total = np.zeros(length // 2 + 1, dtype=np.float64)
    for first in range(0, len(stretches), batch):
        part = stretches[first : first + batch]
        part = (part - part.mean(axis=1, keepdims=True)) * taper
        lines = scipy.fft.rfft(part, axis=1)
        total += np.einsum("ij,ij->j", lines.real, lines.real, dtype=np.float64)
        total += np.einsum("ij,ij->j", lines.imag, lines.imag, dtype=np.float64)
    return (total / len(stretches)).astype(np.float32), len(stretches)
