"""One recording: samples, their rate, and what they can and cannot support."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError

Samples = NDArray[np.float32]
Quantity = Literal["pressure", "acceleration", "velocity", "displacement", "unknown"]
TakeKind = Literal[
    "idle",
    "cutting",
    "background",
    "motor alone",
    "neutral",
    "chuck off",
    "reverse",
    "coast-down",
    "tap",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """What a recording can support, as found by whoever made or read the file.

    Attributes
    ----------
    low_hz, high_hz : float
        Band in which the sensor, its mount and the file can be believed; ``high_hz`` of 0 means
        up to half the sample rate.
    levels : bool
        Whether levels may be compared with another recording (no automatic gain, no lossy file).
    aliased : bool
        Whether tones above half the rate may have folded into the band (no filter before
        sampling).
    reasons : tuple of str
        Why anything above is limited, in words.
    """

    low_hz: float = 0.0
    high_hz: float = 0.0
    levels: bool = True
    aliased: bool = False
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """Samples of one or more sensors over one stretch of time.

    Attributes
    ----------
    samples : ndarray of float32, shape (channels, frames)
        Read-only. In ``unit``.
    rate_hz : float
        Samples a second.
    name : str
        What a person would call it; usually the file's stem.
    quantity, unit : str
        What was sensed; ``unit`` is "FS" (fraction of full scale) when there is no calibration.
    support : Support
        What may be concluded from it.
    """

    samples: Samples
    rate_hz: float
    name: str = ""
    quantity: Quantity = "unknown"
    unit: str = "FS"
    support: Support = field(default_factory=Support)

    def __post_init__(self) -> None:
        array = np.asarray(self.samples, dtype=np.float32)
        if array.ndim == 1:
            array = array[np.newaxis, :]
        if array is self.samples and array.flags.writeable:
            array = array.view()
        array.flags.writeable = False
        object.__setattr__(self, "samples", array)
        self._check()

    def _check(self) -> None:
        if self.samples.ndim != 2 or self.samples.shape[1] == 0:
            raise RecordingError("no samples", "Record again.", self.name)
        if not (np.isfinite(self.rate_hz) and self.rate_hz > 0):
            raise RecordingError(f"sample rate {self.rate_hz!r}", "Give a rate above 0.", self.name)

    @property
    def channels(self) -> int:
        """How many sensors."""
        return int(self.samples.shape[0])

    @property
    def frames(self) -> int:
        """Samples per sensor."""
        return int(self.samples.shape[1])

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate_hz

    @property
    def top_hz(self) -> float:
        """Highest frequency that may be believed."""
        half = self.rate_hz / 2
        return min(half, self.support.high_hz) if self.support.high_hz > 0 else half

    def channel(self, index: int = 0) -> Samples:
        """Samples of one sensor, shape (frames,)."""
        if not 0 <= index < self.channels:
            raise RecordingError(
                f"channel {index + 1} of {self.channels} asked for",
                f"Ask for a channel from 1 to {self.channels}.",
                self.name,
            )
        chosen: Samples = self.samples[index]
        return chosen

    def only(self, index: int) -> Recording:
        """The same recording with one of its channels."""
        return replace(self, samples=self.channel(index)[np.newaxis, :])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Take:
    """A recording and how the machine stood while it was made.

    Attributes
    ----------
    position : str or None
        Lever position label as the machine's table writes it ("A3 B2 CL"), None when not told.
    kind : str
        What was going on; "idle" is the ordinary take with the spindle turning in air.
    tach_rpm : float or None
        Spindle speed measured independently, if anyone did.
    conditions : mapping of str to str
        Sensor, place, mount, gain, chuck, load, direction, temperature, supply ... as recorded.
    """

    recording: Recording
    position: str | None = None
    kind: TakeKind = "idle"
    tach_rpm: float | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The recording's name."""
        return self.recording.name
