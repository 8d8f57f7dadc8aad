"""Envelopes of bands by zooming in one Fourier transform, and their spectra.

The recording is transformed once. A band's envelope is the inverse transform of just that band's
lines, at just the rate the band needs: far cheaper than filtering at the full rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.orders import SpeedTrack, levelled
from vibecheck.spectra.spectrum import Axis, Floats, Spectrum, fast_length

Complex = NDArray[np.complex64]
Form = Literal["squared", "logarithm"]
FEWEST_FRAMES = 256
THINNED = 1000
USUAL_SHARE = 0.995
KNOCK = 3.0
EDGE = 0.05
"""Share of a band over which it fades in, and out."""
LOUDEST = 12.0
"""A squared envelope is held to this many times its local mean; noise alone exceeds it once in
160,000 independent values."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Transform:
    """The one Fourier transform of a recording, from which every band is cut.

    Attributes
    ----------
    lines : ndarray of complex64, shape (frames // 2 + 1,)
    frames : int
        Samples transformed.
    rate_hz : float
        Samples a second, or samples a revolution when ``axis`` is "order".
    """

    lines: Complex
    frames: int
    rate_hz: float
    axis: Axis = "Hz"

    @property
    def step(self) -> float:
        """Distance between lines."""
        return self.rate_hz / self.frames

    @property
    def seconds(self) -> float:
        """Length (in revolutions when the axis is orders)."""
        return self.frames / self.rate_hz


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Envelope:
    """Squared envelope of one band against time (or angle)."""

    squared: Floats
    rate_hz: float
    axis: Axis = "Hz"


def transformed(samples: Floats, rate_hz: float, *, axis: Axis = "Hz") -> Transform:
    """Transform a recording once, mean removed, cut to a length that transforms fast."""
    if samples.size < FEWEST_FRAMES:
        raise RecordingError(f"only {samples.size} samples", "Record for longer.")
    frames = fast_length(samples.size)
    part = np.asarray(samples[:frames], dtype=np.float32)
    mean = part.mean(dtype=np.float64)
    if not np.isfinite(mean):
        raise RecordingError("a sample that is not a number", "Record or export it again.")
    lines = scipy.fft.rfft(part - mean.astype(np.float32))
    return Transform(lines=lines.astype(np.complex64), frames=frames, rate_hz=rate_hz, axis=axis)


def back_to_samples(transform: Transform) -> Floats:
    """The samples a transform stands for, shape (frames,)."""
    samples = scipy.fft.irfft(transform.lines, n=transform.frames)
    return np.asarray(samples, dtype=np.float32)


def band_envelope(transform: Transform, low: float, high: float, *, top: float = 0.0) -> Envelope:
    """Squared envelope of the band from ``low`` to ``high``.

    Sampled at twice the band's width; at less where only rates up to ``top`` are wanted, so that
    what folds stays above ``top``.

    Returns
    -------
    Envelope
        ``squared`` averages the band's mean square twice over (the analytic signal's power).

    Examples
    --------
    >>> time = np.arange(8192) / 8192
    >>> tone = ((1 + 0.5 * np.cos(2 * np.pi * 10 * time)) * np.cos(2 * np.pi * 1000 * time))
    >>> heard = band_envelope(transformed(tone.astype(np.float32), 8192.0), 900, 1100)
    >>> round(float(heard.squared.max()), 2)
    2.25
    """
    first = max(1, int(np.ceil(low / transform.step)))
    last = min(transform.lines.size - 1, int(np.floor(high / transform.step)))
    cut = transform.lines[first : max(last, first) + 1]
    above = int(1.1 * top / transform.step) + 1 if top > 0 else cut.size
    size = scipy.fft.next_fast_len(cut.size + min(above, cut.size))
    lines = np.zeros(size, dtype=np.complex64)
    lines[: cut.size] = cut
    ramp = _ramp(int(EDGE * cut.size))
    lines[: ramp.size] *= ramp
    lines[cut.size - ramp.size : cut.size] *= ramp[::-1]
    analytic = scipy.fft.ifft(lines, overwrite_x=True)
    analytic *= np.float32(2.0 * size / transform.frames)
    squared = np.square(analytic.real) + np.square(analytic.imag)
    return Envelope(squared=squared, rate_hz=size / transform.seconds, axis=transform.axis)


def guarded(envelope: Envelope, *, stretch: float) -> Envelope:
    """The envelope with loud stretches weighed down and single knocks held.

    Divided by its own level in stretches of about ``stretch`` (seconds or revolutions), so that a
    loud second counts no more than a quiet one; then held to ``LOUDEST`` times that level. What is
    far louder than the loudest two hundredth of the time is a lone knock, not a part that strikes
    many times a second, and is cut out.
    """
    block = int(max(8, min(round(stretch * envelope.rate_hz), envelope.squared.size)))
    level = _local_level(envelope.squared, block)
    even = envelope.squared / level
    some = even[:: max(1, even.size // 10_000)]
    rank = int(USUAL_SHARE * (some.size - 1))
    usual = float(np.partition(some, rank)[rank])
    lone = even > KNOCK * max(LOUDEST, usual)
    np.minimum(even, np.float32(LOUDEST), out=even)
    even[lone] = 1.0
    return Envelope(squared=even, rate_hz=envelope.rate_hz, axis=envelope.axis)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EnvelopeSpectrum:
    """What repeats in the envelope of one band.

    Attributes
    ----------
    significance : Spectrum
        Power over the local floor: in noise alone close to exponential with mean 1, so the chance
        of a value above x is exp(-x).
    depth : Spectrum
        Scaling "peak", of the squared envelope over its mean: for x = (1 + m cos Wt) cos wt the
        line at W reads 2m / (1 + m^2/2) and the one at 2W (m^2/2) / (1 + m^2/2).
    low, high : float
        The band.
    form : str
        "squared" or "logarithm".
    """

    significance: Spectrum
    depth: Spectrum
    low: float = 0.0
    high: float = 0.0
    form: Form = "squared"


def envelope_spectrum(
    envelope: Envelope,
    *,
    top: float,
    form: Form = "squared",
    low: float = 0.0,
    high: float = 0.0,
    floor_width: float = 0.0,
    track: SpeedTrack | None = None,
    mean_hz: float = 0.0,
) -> EnvelopeSpectrum:
    """Spectrum of a squared envelope, as significance and as depth.

    Parameters
    ----------
    envelope : Envelope
    top : float
        Highest modulation rate wanted, Hz or orders.
    form : {"squared", "logarithm"}
        "logarithm" takes the logarithm first: it gives up some strength in plain noise, and keeps
        working when the noise itself comes in blows (Borghesani & Antoni 2018, Mech. Syst. Signal
        Process. 98:21).
    low, high : float
        The band the envelope came from, carried along.
    floor_width : float
        Widest neighbourhood of the local floor.
    track, mean_hz : SpeedTrack, float
        A drifting speed to be levelled out, and the speed to level it to.
    """
    values, rate_hz = decimated(envelope.squared, envelope.rate_hz, top)
    if track is not None:
        values = levelled(values, rate_hz, track, mean_hz)
        values = values[: fast_length(values.size)]
    values = values / max(float(values.mean(dtype=np.float64)), 1e-30)
    if form == "logarithm":
        values = np.log(values + np.float32(1e-3))
    values = values - np.float32(values.mean(dtype=np.float64))
    size = values.size
    lines = scipy.fft.rfft(values * _hann(size))
    step = rate_hz / size
    keep = min(lines.size, int(np.ceil(top / step)) + 2)
    lines = lines[:keep] * np.float32(4.0 / size)
    power = np.square(lines.real) + np.square(lines.imag)
    depth = Spectrum(
        values=np.sqrt(power),
        step=step,
        axis=envelope.axis,
        scaling="peak",
        unit="1",
        resolution=1.5 * step,
    )
    raw = depth.with_values(power, scaling="power")
    return EnvelopeSpectrum(
        significance=over_floor(raw, width=floor_width),
        depth=depth,
        low=low,
        high=high,
        form=form,
    )


def _local_level(squared: Floats, block: int) -> Floats:
    """Smooth local level: what the median of each block would be the mean of, in Gaussian noise.

    The median does not know how hard a knock was, only that there was one.
    """
    count = max(1, squared.size // block)
    thinned = squared[: count * block].reshape(count, -1)[:, :: max(1, block // THINNED)]
    half = thinned.shape[1] // 2
    level = np.partition(thinned, half, axis=1)[:, half].astype(np.float64) / np.log(2.0)
    level = np.maximum(level, 1e-3 * max(float(level.mean()), 1e-30))
    if count == 1:
        return np.full(squared.size, level[0], dtype=np.float32)
    middle = (np.arange(count) + 0.5) * block
    smooth = np.interp(np.arange(squared.size), middle, level)
    return np.asarray(smooth, dtype=np.float32)


def _ramp(size: int) -> Floats:
    """Half a cosine up: sharp band edges would ring for long after every knock."""
    return (0.5 - 0.5 * np.cos(np.pi * (np.arange(size) + 0.5) / max(size, 1))).astype(np.float32)


def decimated(squared: Floats, rate_hz: float, top: float) -> tuple[Floats, float]:
    """Mean of neighbouring values, as many as leave four values a cycle at ``top``."""
    factor = min(int(rate_hz // (4.0 * top)), squared.size // 64)
    if factor < 2:
        return squared[: fast_length(squared.size)], rate_hz
    count = fast_length(squared.size // factor)
    return squared[: count * factor].reshape(count, factor).mean(axis=1), rate_hz / factor


def _hann(size: int) -> Floats:
    angle = np.arange(size, dtype=np.float32) * np.float32(2.0 * np.pi / size)
    return np.asarray(0.5 - 0.5 * np.cos(angle), dtype=np.float32)
