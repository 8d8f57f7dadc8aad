"""A take with the speeds found in it: what is compared, line by line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.recording import Take

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeAtSpeed:
    """A take and the speeds found in it.

    Attributes
    ----------
    take : Take
    speeds_hz : mapping of str to float
        Rigid group -> mean speed of its first rotor.
    tracks : mapping of str to SpeedTrack
        The same through the take, where it was followed; the tightest is used to undo drift.
    channel : int
    doubt : str
        Why its speed or lever position is not to be relied on, "" when it is.
    """

    take: Take
    speeds_hz: Mapping[str, float]
    tracks: Mapping[str, SpeedTrack] = field(default_factory=dict)
    channel: int = 0
    doubt: str = ""

    @property
    def samples(self) -> Samples:
        """The channel compared, mean removed."""
        recording = self.take.recording
        raw = recording.channel(min(self.channel, recording.channels - 1))
        return np.asarray(raw - raw.mean(dtype=np.float64).astype(np.float32))

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.take.recording.rate_hz
