"""A take made ready for listening: one channel, at a rate that suits the gear lines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.recording import Take

Samples = NDArray[np.float32]

GEAR_TOP_HZ = 3200.0
GEAR_RATE_HZ = 12800.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ready:
    """One channel of a take, and the same thinned out for lines below ``top_hz``.

    ``slow`` runs at ``slow_hz``, at least four times ``top_hz`` (interpolation needs it).
    """

    take: Take
    samples: Samples
    rate_hz: float
    slow: Samples
    slow_hz: float
    top_hz: float

    @property
    def seconds(self) -> float:
        """Length."""
        return self.samples.size / self.rate_hz


def made_ready(take: Take, channel: int = 0) -> Ready:
    """Prepare one channel of a take; mean removed."""
    recording = take.recording
    samples = recording.channel(min(channel, recording.channels - 1))
    samples = samples - samples.mean(dtype=np.float64).astype(np.float32)
    top_hz = min(GEAR_TOP_HZ, 0.95 * recording.top_hz)
    slow, slow_hz = resampled(samples, recording.rate_hz, max(4.0 * top_hz, 64.0))
    return Ready(
        take=take,
        samples=samples,
        rate_hz=recording.rate_hz,
        slow=slow,
        slow_hz=slow_hz,
        top_hz=top_hz,
    )


def resampled(samples: Samples, rate_hz: float, wanted_hz: float) -> tuple[Samples, float]:
    """The same sound at close to another rate, by cutting or padding its Fourier transform."""
    frames = scipy.fft.next_fast_len(samples.size, real=True)
    out = scipy.fft.next_fast_len(max(16, int(frames * wanted_hz / rate_hz)), real=True)
    lines = scipy.fft.rfft(samples, n=frames)
    wanted = np.zeros(out // 2 + 1, dtype=np.complex64)
    both = min(wanted.size, lines.size)
    wanted[:both] = lines[:both]
    made = scipy.fft.irfft(wanted, n=out).astype(np.float32) * np.float32(out / frames)
    slow_hz = rate_hz * out / frames
    return made[: int(samples.size * slow_hz / rate_hz)], slow_hz
