"""Level of a take over its time: overall, slice by slice, and sudden knocks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecheck.recording import Recording

SLICE_S = 0.05
KNOCK_DB = 15.0


def band_rms(recording: Recording) -> float:
    """Level without the steady offset and rumble below 20 Hz, over all channels."""
    from scipy import fft

    power = 0.0
    for channel in range(recording.channels):
        lines = fft.rfft(recording.channel(channel))
        lines[: int(20 * recording.seconds) + 1] = 0
        power += float(np.sum(np.square(np.abs(lines)))) * 2 / recording.frames**2
    return float(np.sqrt(power / recording.channels))


def slice_levels(recording: Recording) -> NDArray[np.float64]:
    """Level in dB of each twentieth of a second, all channels together."""
    width = max(int(SLICE_S * recording.rate_hz), 1)
    count = recording.frames // width
    if count == 0:
        return np.empty(0)
    cut = recording.samples[:, : count * width].reshape(recording.channels, count, width)
    spread = np.var(cut.astype(np.float64), axis=2).mean(axis=0)
    levels: NDArray[np.float64] = 10 * np.log10(np.maximum(spread, 1e-14))
    return levels


def knocks(levels: NDArray[np.float64]) -> list[int]:
    """Slices where something far louder than the machine's own rhythm begins.

    The machine's own range is taken from its loudest ordinary slices, so that a knock once per
    turn is not called one of the shop's.
    """
    usual = float(np.percentile(levels, 95))
    spread = max(usual - float(np.median(levels)), 1.0)
    loud = levels > max(usual + KNOCK_DB / 2, float(np.median(levels)) + KNOCK_DB + spread)
    starts = np.flatnonzero(loud & ~np.concatenate(([False], loud[:-1])))
    return [int(start) for start in starts]
