"""One look at every sample of a file, block by block: how loud, how steady, clipped or broken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

PLATEAU_RUN = 3
"""Equal samples in a row at the very top before a crest counts as cut off."""
PLATEAU_EVENTS = 4
"""Cut-off crests in a file before it is called clipped."""
STEADY_WITHIN_DB = 6.0
"""A stretch quieter than the loudest by more than this is not taken for the running machine."""
ABSURD = 1e12
"""No sensor gives this in any unit; a float file with such numbers is no recording."""


@dataclass(slots=True)
class Crests:
    """Cut-off crests on one side (top or bottom) of one channel, gathered over blocks."""

    top: float = -np.inf
    events: int = 0
    samples: int = 0

    def add(self, side: NDArray[np.float32], step: float) -> None:
        """Take in one block; ``step`` is the least jump that no quantised sine crest shows."""
        top = float(side.max())
        if top < self.top * (1 - 1e-4) or top <= 0:
            return
        if top > self.top * (1 + 1e-4):
            self.top, self.events, self.samples = top, 0, 0
        events, samples = plateaus(side, top, max(step, 2e-4 * top))
        self.events += events
        self.samples += samples


def plateaus(side: NDArray[np.float32], top: float, step: float) -> tuple[int, int]:
    """How many crests are cut off flat at ``top``, and how many samples lie on them.

    A crest counts when at least three samples in a row sit at the top and the wave arrives or
    leaves there by more than ``step``: the rounded crest of a slow sine, flat only by its
    quantising, does not count.

    >>> plateaus(np.array([0, .5, 1, 1, 1, .5, 0], dtype=np.float32), 1.0, 0.01)
    (1, 3)
    """
    at_top = side >= np.float32(top * (1 - 1e-6))
    if np.count_nonzero(at_top) < PLATEAU_RUN:
        return 0, 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], at_top.view(np.int8), [0]))))
    starts, ends = edges[::2], edges[1::2]
    before = side[np.maximum(starts - 1, 0)]
    after = side[np.minimum(ends, side.size - 1)]
    cut = (ends - starts >= PLATEAU_RUN) & (top - np.minimum(before, after) > step)
    return int(np.count_nonzero(cut)), int(np.sum((ends - starts)[cut]))


@dataclass(slots=True)
class Levels:
    """What a whole file showed, kept small however long the file is.

    Attributes
    ----------
    frames : int
        Frames seen.
    broken : int
        Samples that are not numbers, or larger than any sensor gives.
    power : list of float
        Mean square of each block over all channels, the block's own mean removed.
    peaks : list of float
        Largest absolute sample of each block.
    """

    block_frames: int
    step: float = 0.0
    frames: int = 0
    broken: int = 0
    first_broken: int = -1
    power: list[float] = field(default_factory=list)
    peaks: list[float] = field(default_factory=list)
    crests: dict[tuple[int, int], Crests] = field(default_factory=dict)

    def add(self, block: NDArray[np.float32]) -> None:
        """Take in one block of shape (frames, channels)."""
        peak = float(np.abs(block).max())
        if not peak < ABSURD:
            block = self._mend(block)
            peak = float(np.abs(block).max())
        centred = block - block.mean(axis=0)
        self.power.append(float(np.mean(np.square(centred))))
        self.peaks.append(peak)
        for channel in range(block.shape[1]):
            for sign in (1, -1):
                crests = self.crests.setdefault((channel, sign), Crests())
                crests.add(np.float32(sign) * block[:, channel], self.step)
        self.frames += block.shape[0]

    def _mend(self, block: NDArray[np.float32]) -> NDArray[np.float32]:
        bad = ~(np.abs(block) < ABSURD)
        count = int(np.count_nonzero(bad))
        if count and self.first_broken < 0:
            self.first_broken = self.frames + int(np.flatnonzero(bad.any(axis=1))[0])
        self.broken += count
        return np.where(bad, np.float32(0), block)

    @property
    def peak(self) -> float:
        """Largest absolute sample."""
        return max(self.peaks, default=0.0)

    @property
    def rms(self) -> float:
        """Root mean square of the whole, means removed block by block."""
        return float(np.sqrt(np.mean(self.power))) if self.power else 0.0

    @property
    def clipped_samples(self) -> int:
        """Samples on cut-off crests, if there are enough such crests to call it clipping."""
        events = sum(crests.events for crests in self.crests.values())
        if events < PLATEAU_EVENTS:
            return 0
        return sum(crests.samples for crests in self.crests.values())

    def steadiest(self, blocks: int) -> int:
        """First block of the steadiest stretch of so many blocks while the machine runs.

        Steady means the least spread of the blocks' levels in dB; stretches more than 6 dB below
        the loudest one are left out, for the quietest steadiness of all is a machine at rest.
        """
        count = len(self.power)
        if blocks >= count:
            return 0
        level_db = 10 * np.log10(np.maximum(self.power, 1e-20))
        windows = np.lib.stride_tricks.sliding_window_view(level_db, blocks)
        middle = np.median(windows, axis=1)
        spread = np.std(windows, axis=1)
        spread[middle < middle.max() - STEADY_WITHIN_DB] = np.inf
        return int(np.argmin(spread))


def look(blocks: Iterable[NDArray[np.float32]], block_frames: int, step: float = 0.0) -> Levels:
    """Levels of all blocks, each of shape (frames, channels)."""
    levels = Levels(block_frames=block_frames, step=step)
    for block in blocks:
        if block.size:
            levels.add(block)
    return levels
