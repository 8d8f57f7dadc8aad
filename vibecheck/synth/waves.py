"""Periodic tables read by angle, and pulses placed in time: the two brushes of this room."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Signal = NDArray[np.float32]
Turns = NDArray[np.float64]
Course = NDArray[np.float64]

_SIZE = 1 << 14


def fraction(turns: Turns) -> Signal:
    """Where in its turn something stands, 0..1."""
    out: Signal = (turns - np.floor(turns)).astype(np.float32)
    return out


def table(amplitudes: NDArray[np.float64], phases: NDArray[np.float64]) -> Signal:
    """One turn of a wave whose k-th entry is the amplitude and phase (rad) of multiple k + 1."""
    spectrum = np.zeros(_SIZE // 2 + 1, dtype=np.complex128)
    count = min(amplitudes.size, _SIZE // 2 - 1)
    spectrum[1 : count + 1] = amplitudes[:count] * np.exp(1j * phases[:count]) * _SIZE / 2
    out: Signal = np.fft.irfft(spectrum, _SIZE).astype(np.float32)
    return out


def read(wave: Signal, where: Signal) -> Signal:
    """Values of a table at fractions of a turn (any float is folded into one turn)."""
    index = (where * np.float32(wave.size)).astype(np.int32)
    index &= wave.size - 1
    out: Signal = wave.take(index)
    return out


def crossings(turns: Turns, marks: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Sample positions (fractional) at which an angle passes each of the marks, in turns."""
    inside = marks[(marks > turns[0]) & (marks < turns[-1])]
    out: NDArray[np.float64] = np.interp(inside, turns, np.arange(turns.size, dtype=np.float64))
    return out


def pulses(
    frames: int,
    at: NDArray[np.float64],
    strength: NDArray[np.float64],
    width: float,
) -> Signal:
    """Raised-cosine pulses of unit area times ``strength``, centred at fractional samples.

    ``width`` is the whole width in samples; less than three is widened to three, so that a pulse
    between two samples keeps its area.
    """
    width = max(width, 3.0)
    reach = int(np.ceil(width / 2)) + 1
    steps = np.arange(-reach, reach + 1)
    whole = np.floor(at).astype(np.int64)
    offset = steps[np.newaxis, :] - (at - whole)[:, np.newaxis]
    shape = np.where(np.abs(offset) < width / 2, 1 + np.cos(2 * np.pi * offset / width), 0) / width
    index = whole[:, np.newaxis] + steps[np.newaxis, :]
    keep = (index >= 0) & (index < frames)
    weight = (shape * strength[:, np.newaxis])[keep]
    return np.bincount(index[keep], weights=weight, minlength=frames).astype(np.float32)


def wander(
    rng: np.random.Generator, seconds: float, corner_hz: float, frames: int
) -> NDArray[np.float64]:
    """A slow random course of unit spread with little above ``corner_hz``, length ``frames``."""
    knots = max(8, int(np.ceil(seconds * corner_hz * 4)) + 4)
    course = rng.standard_normal(knots)
    course = np.convolve(course, [0.25, 0.5, 0.25], mode="same") / 0.61
    position = np.linspace(0, knots - 1, frames)
    out: NDArray[np.float64] = np.interp(position, np.arange(knots), course)
    return out


def noise(rng: np.random.Generator, frames: int) -> Signal:
    """White noise of unit spread."""
    return rng.standard_normal(frames, dtype=np.float32)
