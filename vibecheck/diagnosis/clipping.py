"""Crests cut off flat: a recording whose gain was too high."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecheck.recording import Recording

MUCH, BADLY = 0.003, 0.01
"""Share of samples on flat crests from which slow tones may be made of loud ones; and from which
nothing that a recording holds is to be trusted."""


def much_clipped(recording: Recording) -> bool:
    """Whether slow tones of a recording may be made of loud ones."""
    return clipped_share(recording.channel()) > MUCH


def badly_clipped(recording: Recording) -> bool:
    """Whether a recording is better made again."""
    return clipped_share(recording.channel()) > BADLY


def clipped_share(samples: NDArray[np.float32]) -> float:
    """Share of samples on crests cut off flat, 0 when fewer than four crests are."""
    share = 0.0
    for side in (samples, -samples):
        top = float(side.max())
        at_top = side >= top - 1e-4 * abs(top)
        edges = np.flatnonzero(np.diff(np.r_[0, at_top.view(np.int8), 0]))
        starts, ends = edges[::2], edges[1::2]
        before = side[np.maximum(starts - 1, 0)]
        flat = (ends - starts >= 3) & (top - before > 0.01 * abs(top))
        if np.count_nonzero(flat) >= 4:
            share += float(np.sum((ends - starts)[flat])) / samples.size
    return share
