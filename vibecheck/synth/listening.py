"""What somebody told the true angle would hear: order spectra of a take and of its envelopes.

For the oracle only; it shares nothing with the code that diagnoses.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.synth.waves import Turns

Course = NDArray[np.float64]

OCTAVES_HZ = (250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Orders:
    """Power against multiples of some rotor, ``step`` apart."""

    power: Course
    step: float

    def line(self, order: float, slack: float = 0.0) -> float:
        """Strongest power within two steps (or ``slack``, relative) of an order."""
        middle, reach = order / self.step, max(2.0, slack * order / self.step)
        low, high = floor(middle - reach), ceil(middle + reach)
        part = self.power[max(low, 0) : high + 1]
        return float(part.max()) if part.size else 0.0

    def floor(self, order: float) -> float:
        """Median power around an order."""
        middle = round(order / self.step)
        part = self.power[max(middle - 60, 1) : middle + 61]
        return float(np.median(part)) if part.size else float("inf")

    def above(self, orders: list[float], slack: float = 0.0) -> float:
        """Power of several lines over that of the floor between, in dB."""
        top = self.power.size * self.step
        inside = [order for order in orders if order < top * 0.98]
        if not inside:
            return 0.0
        ratios = [self.line(o, slack) / max(self.floor(o), 1e-30) for o in inside]
        return float(10 * np.log10(max(float(np.mean(ratios)), 1e-6)))


def order_spectrum(signal: Course, turns: Turns) -> Orders:
    """Spectrum against orders of a signal sampled evenly in time, by the true angle."""
    grid = np.linspace(turns[0], turns[-1], signal.size)
    even = np.interp(grid, turns, signal)
    window = np.hanning(even.size)
    power = np.abs(scipy.fft.rfft((even - even.mean()) * window)) ** 2
    step = (even.size - 1) / even.size / max(turns[-1] - turns[0], 1e-9)
    return Orders(power=power / (window**2).sum(), step=float(step))


def band(
    samples: NDArray[np.float32], rate_hz: float, low_hz: float, high_hz: float, turns: Turns
) -> tuple[NDArray[np.complex128], Turns]:
    """Complex envelope of one band at the band's own rate, and the angle at those moments."""
    spectrum = scipy.fft.rfft(samples)
    step = rate_hz / samples.size
    low, high = int(low_hz / step), min(int(high_hz / step), spectrum.size)
    part = spectrum[low:high].astype(np.complex128) * np.hanning(high - low)
    envelope = scipy.fft.ifft(part, 2 * part.size) * (2 * part.size / samples.size)
    moments = np.arange(envelope.size) * ((samples.size - 1) / envelope.size)
    return envelope, np.interp(moments, np.arange(turns.size), turns)


def low_part(
    samples: NDArray[np.float32], rate_hz: float, top_hz: float, turns: Turns
) -> tuple[Course, Turns]:
    """The signal below ``top_hz``, at a rate that just holds it."""
    spectrum = scipy.fft.rfft(samples)
    count = min(int(top_hz * samples.size / rate_hz), spectrum.size - 1)
    size = 4 * count
    low: Course = scipy.fft.irfft(spectrum[: count + 1].astype(np.complex128), size)
    moments = np.arange(size) * ((samples.size - 1) / size)
    return low * (size / samples.size), np.interp(moments, np.arange(turns.size), turns)
