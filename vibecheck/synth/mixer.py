"""Where every force of a machine meets: summed by frequency, each through its own path."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.synth import paths
from vibecheck.synth.individual import Individual
from vibecheck.synth.waves import Signal


@dataclass(slots=True, kw_only=True, eq=False)
class Mixer:
    """Sums sources in the frequency domain, each through its own path.

    What rings on past the end of the take comes round to its start, as if the machine had been
    running already.
    """

    individual: Individual
    frames: int
    rate_hz: float
    spectrum: NDArray[np.complex64]

    @classmethod
    def of(cls, individual: Individual, frames: int, rate_hz: float) -> Mixer:
        """An empty one for takes of so many samples."""
        spectrum = np.zeros(frames // 2 + 1, dtype=np.complex64)
        return cls(individual=individual, frames=frames, rate_hz=rate_hz, spectrum=spectrum)

    @property
    def frequency_hz(self) -> NDArray[np.float64]:
        """Of each bin."""
        step = self.rate_hz / self.frames
        return np.arange(self.spectrum.size, dtype=np.float64) * step

    def add(self, signal: Signal | None, part: str, kind: paths.Kind) -> None:
        """A force at a part."""
        if signal is not None:
            route = paths.response(self.individual, part, kind, self.frames, self.rate_hz)
            self.spectrum += scipy.fft.rfft(signal, self.frames) * route

    def add_low(self, signal: Signal, part: str) -> None:
        """A force of the low multiples, which move the whole head on its feet as well."""
        rng = self.individual.draw(part, "low path")
        direct = np.float32(rng.lognormal(0, 0.4))
        route = paths.response(self.individual, part, "shaft", self.frames, self.rate_hz)
        self.spectrum += scipy.fft.rfft(signal, self.frames) * (route + direct)

    def add_plain(self, signal: Signal) -> None:
        """A sound that reaches the sensor as it is."""
        self.spectrum += scipy.fft.rfft(signal, self.frames)

    def colour(self, response: NDArray[np.complex64]) -> None:
        """Everything so far goes through one more filter."""
        self.spectrum *= response
