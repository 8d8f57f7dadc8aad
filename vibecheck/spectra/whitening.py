"""Making a spectrum level before looking for repeated blows in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.fft
import scipy.linalg
import scipy.signal
from numpy.typing import NDArray

from vibecheck.spectra.envelope import Transform, back_to_samples, transformed
from vibecheck.spectra.floor import FEWEST_BINS, noise_floor
from vibecheck.spectra.spectrum import Floats, Spectrum


def cepstral_whitened(transform: Transform) -> Transform:
    """Every line brought to one height, phases kept.

    Resonances and steady tones vanish together; repeated blows, which live in the phases, stay.
    Borghesani et al. 2013, Mech. Syst. Signal Process. 36:370-384.
    """
    size = np.abs(transform.lines)
    size[size == 0] = 1.0
    return replace(transform, lines=(transform.lines / size).astype(np.complex64))


def floor_whitened(transform: Transform, *, width: float = 0.0, highest: float = 3.0) -> Transform:
    """Divided by the local floor, and lines far above it held down.

    Parameters
    ----------
    width : float
        Neighbourhood of the floor in axis units; default one hundredth of the band.
    highest : float
        Lines are held to this many times the floor's r.m.s., so that a steady tone (a mesh line,
        mains) cannot rule the envelope. Noise alone exceeds 3 once in 8,000 lines.
    """
    power = np.square(transform.lines.real) + np.square(transform.lines.imag)
    step = transform.step
    width = width or max(transform.rate_hz / 200.0, FEWEST_BINS * step)
    floor = noise_floor(Spectrum(values=power, step=step), width=width).values
    ratio = np.sqrt(power / floor)
    gain = np.minimum(1.0, highest / np.maximum(ratio, 1e-12)) / np.sqrt(floor)
    return replace(transform, lines=transform.lines * gain.astype(np.float32))


def without_steady_tones(
    samples: Floats, rate_hz: float, *, delay_s: float, block_s: float
) -> Floats:
    """What cannot be foretold from ``delay_s`` earlier: the random part of a recording.

    Steady tones can be foretold, noise and the slipping blows of a bearing cannot. The foretelling
    filter comes from averaged cross and power spectra of stretches and their delayed copies
    (Antoni & Randall 2004, Mech. Syst. Signal Process. 18:103-117).

    Returns
    -------
    ndarray of float32, shape (frames,)
    """
    samples = np.asarray(samples, dtype=np.float32)
    delay = max(1, round(delay_s * rate_hz))
    size = scipy.fft.next_fast_len(max(64, round(block_s * rate_hz)), real=True)
    if samples.size < 2 * size + delay:
        return samples
    gain = _foretelling_gain(samples, size, delay)
    filter_ = np.fft.fftshift(scipy.fft.irfft(gain, n=2 * size))
    tonal = scipy.signal.oaconvolve(samples, filter_.astype(np.float32), mode="full")
    late = tonal[size : size + samples.size]
    out = samples.copy()
    out[delay:] -= late[: samples.size - delay]
    return out


def _foretelling_gain(samples: Floats, size: int, delay: int) -> NDArray[np.complex128]:
    hann = np.hanning(size).astype(np.float32)
    starts = range(delay, samples.size - size, size // 2)
    cross = np.zeros(size + 1, dtype=np.complex128)
    power = np.zeros(size + 1)
    for start in starts:
        now = scipy.fft.rfft(samples[start : start + size] * hann, n=2 * size)
        then = scipy.fft.rfft(samples[start - delay : start - delay + size] * hann, n=2 * size)
        cross += now * np.conj(then)
        power += np.abs(then) ** 2
    gain = cross / np.maximum(power, power.max() * 1e-12)
    return np.asarray(gain, dtype=np.complex128)


def ar_whitened(samples: Floats, *, order: int = 64) -> Floats:
    """What a linear prediction of ``order`` past samples leaves over (Yule-Walker), unit r.m.s."""
    part = np.asarray(samples, dtype=np.float32)
    power = np.abs(scipy.fft.rfft(part - part.mean(), n=2 * part.size)) ** 2
    lags = scipy.fft.irfft(power)[: order + 1].astype(np.float64)
    lags[0] *= 1.0 + 1e-9
    weights = scipy.linalg.solve_toeplitz(lags[:-1], lags[1:])
    left = scipy.signal.lfilter(np.r_[1.0, -weights].astype(np.float32), [np.float32(1.0)], part)
    return np.asarray(left / max(float(left.std()), 1e-30), dtype=np.float32)


def rewhitened_samples(samples: Floats, rate_hz: float) -> Floats:
    """Samples with their spectrum made level; for shape numbers and listening."""
    return back_to_samples(floor_whitened(transformed(samples, rate_hz)))
