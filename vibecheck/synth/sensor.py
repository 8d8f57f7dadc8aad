"""What the sensor, the phone and the file do to the sound."""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.recording import Quantity, Support
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.waves import Signal

_FULL_SCALE = 0.008
"""Full-scale fraction per unit of sound of a phone at ordinary gain."""
_PER_UNIT = 0.25
"""m/s^2 per unit of force."""


def sensor_response(
    conditions: Conditions, frequency_hz: NDArray[np.float64]
) -> NDArray[np.complex64]:
    """Roll-off below, resonance of the mount or cut-off above."""
    f = frequency_hz
    out = np.ones(f.size, dtype=np.complex128)
    if conditions.high_pass_hz > 0:
        r = f / conditions.high_pass_hz
        out *= r**2 / (1 - r**2 + 1.4j * r + 1e-12 * (r == 0))
    if conditions.mount_hz > 0:
        r = f / conditions.mount_hz
        out *= 1 / (1 - r**2 + 1j * r / 8)
    if conditions.channel == "phone":
        out *= 1 + 0.35 * np.cos(2 * np.pi * f / 3100 + 0.5)
        out /= np.sqrt(1 + (f / 14000) ** 8)
    if conditions.airborne:
        out *= (f / 150) / np.sqrt(1 + (f / 150) ** 2)
    return out.astype(np.complex64)


def scale(conditions: Conditions) -> float:
    """Output per unit of sound."""
    return _FULL_SCALE * conditions.gain if conditions.airborne else _PER_UNIT


def chain(samples: Signal, rate_hz: float, conditions: Conditions) -> Signal:
    """Automatic gain, clipping, depth and lossy coding, in the order a phone does them."""
    out = samples
    if conditions.automatic_gain:
        out = automatic_gain(out, rate_hz)
    limit = 1.0 if conditions.airborne else 160.0
    if conditions.clipped:
        limit = min(limit, float(2.2 * np.sqrt(np.mean(out**2)) + 1e-9))
    out = np.clip(out, -limit, limit)
    if conditions.lossy:
        out = lossy(out, rate_hz)
    step = np.float32((1.0 if conditions.airborne else 160.0) * 2.0 ** -(conditions.bits - 1))
    rounded: Signal = (np.rint(out / step) * step).astype(np.float32)
    return rounded


def automatic_gain(samples: Signal, rate_hz: float) -> Signal:
    """Gain that follows the level, fast down and slow up, towards a fixed loudness."""
    block = max(1, int(0.02 * rate_hz))
    count = samples.size // block + 1
    padded = np.zeros(count * block, dtype=np.float32)
    padded[: samples.size] = samples
    level = np.sqrt((padded.reshape(count, block) ** 2).mean(axis=1)) + 1e-6
    held, now = np.empty(count), float(level[: max(1, count // 10)].mean())
    for k, value in enumerate(level.tolist()):
        now += (value - now) * (0.3 if value > now else 0.02)
        held[k] = now
    gain = (0.08 / held) ** 0.8
    centres = np.arange(count) * block + block / 2
    return (samples * np.interp(np.arange(samples.size), centres, gain)).astype(np.float32)


def lossy(samples: Signal, rate_hz: float) -> Signal:
    """A codec's damage: no highs, and weak bins beside strong ones are dropped or coarsened."""
    size = 1024
    window = np.sin(np.pi * (np.arange(size) + 0.5) / size).astype(np.float32)
    count = samples.size // (size // 2) + 2
    padded = np.zeros((count + 1) * size // 2, dtype=np.float32)
    padded[size // 2 : size // 2 + samples.size] = samples
    frames = np.lib.stride_tricks.sliding_window_view(padded, size)[:: size // 2] * window
    spectrum = scipy.fft.rfft(frames, axis=1)
    power = np.abs(spectrum)
    near = np.sqrt(
        scipy.fft.irfft(
            scipy.fft.rfft(power**2, axis=1) * _smear(power.shape[1]), power.shape[1], axis=1
        ).clip(1e-20)
    )
    step = 0.35 * near + 1e-7
    spectrum = np.rint(spectrum / step) * step
    spectrum[:, int(min(0.45 * rate_hz, 11000) / rate_hz * size) :] = 0
    back = scipy.fft.irfft(spectrum, size, axis=1) * window
    out = np.zeros_like(padded)
    half = size // 2
    out[: count * half].reshape(count, half)[...] += back[:, :half]
    out[half:].reshape(count, half)[...] += back[:, half:]
    return out[half : half + samples.size].astype(np.float32)


def _smear(bins: int) -> NDArray[np.complex128]:
    kernel = np.exp(-np.minimum(np.arange(bins), bins - np.arange(bins)) / 3.0)
    out: NDArray[np.complex128] = scipy.fft.rfft(kernel / kernel.sum())
    return out


def support(conditions: Conditions, rate_hz: float) -> Support:
    """What the maker of the file would know about it."""
    reasons = []
    if conditions.lossy:
        reasons.append("a lossy file: tones may be missing and levels mean nothing")
    if conditions.aliased:
        reasons.append("no filter before sampling: tones may have folded down")
    return Support(
        low_hz=conditions.high_pass_hz if not conditions.airborne else 0.0,
        levels=not conditions.lossy,
        aliased=conditions.aliased,
        reasons=tuple(reasons),
    )


def quantity(conditions: Conditions) -> tuple[Quantity, str]:
    """What was sensed, and its unit."""
    return ("pressure", "FS") if conditions.airborne else ("acceleration", "m/s^2")
