"""One take from a sound card to a file, and everything that can go wrong on the way.

The callback only copies its block into a queue; all else happens in the caller's thread. Lost
samples are found by the wall clock, since a card that stalls often says nothing.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from vibecheck.capture.lateness import Lateness
from vibecheck.capture.level import Level, block_level
from vibecheck.capture.wave_stream import SampleFormat, WaveStream, started
from vibecheck.errors import DeviceError

Ending = Literal["complete", "stopped", "device gone", "stalled", "disk full"]
FIRST_BLOCK_S = 6.0
STALL_S = 2.0
Deliver = Callable[[bytes, bool], None]


class Source(Protocol):
    """Whatever delivers blocks of raw interleaved samples."""

    def start(self, deliver: Deliver) -> None:
        """Begin; each block goes to ``deliver(raw, overflowed)`` in another thread."""

    def alive(self) -> bool:
        """Whether it still delivers."""

    def close(self) -> None:
        """End."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """How a take came to its end.

    Attributes
    ----------
    lost_s : float
        Seconds by the wall clock for which there are no samples; 0 within the clock's slack.
    flagged : int
        Blocks the card itself marked as overflowed.
    """

    path: Path
    ending: Ending
    frames: int
    rate_hz: int
    channels: int
    lost_s: float = 0.0
    flagged: int = 0

    @property
    def seconds(self) -> float:
        """Length on disk."""
        return self.frames / self.rate_hz


def capture(
    source: Source,
    path: Path,
    *,
    rate_hz: int,
    channels: int,
    sample_format: SampleFormat,
    seconds: float,
    on_level: Callable[[Level], bool] = lambda level: True,
    first_block_s: float = FIRST_BLOCK_S,
    stall_s: float = STALL_S,
) -> Captured:
    """Record to a new file until the time is up, the user says stop, or something breaks.

    Parameters
    ----------
    source : Source
        Normally a `CardSource`.
    path : Path
        File to make; must be free.
    seconds : float
        Length wanted.
    on_level : callable
        Called for every block with the level; False stops the take.

    Returns
    -------
    Captured
        Also when the device vanished, stalled or the disk filled: what came before is in the file.

    Raises
    ------
    DeviceError
        Nothing came from the device at all.
    """
    stream = started(path, rate_hz, channels, sample_format)
    run = _Run(stream, round(seconds * rate_hz), on_level)
    try:
        source.start(run.deliver)
        ending = run.until_done(source, first_block_s, stall_s)
    except BaseException:
        source.close()
        stream.close()
        if stream.frames == 0:
            path.unlink(missing_ok=True)
        raise
    source.close()
    ending = _closed(stream, ending)
    return Captured(
        path=path,
        ending=ending,
        frames=stream.frames,
        rate_hz=rate_hz,
        channels=channels,
        lost_s=run.lost_s(),
        flagged=run.flagged,
    )


class _Run:
    """The blocks of one take on their way from the queue to the file."""

    def __init__(self, stream: WaveStream, wanted: int, on_level: Callable[[Level], bool]) -> None:
        self._queue: queue.SimpleQueue[tuple[float, bytes, bool]] = queue.SimpleQueue()
        self._stream, self._wanted, self._on_level = stream, wanted, on_level
        self.flagged = 0
        self._clock = Lateness(stream.rate_hz)

    def deliver(self, raw: bytes, overflowed: bool) -> None:
        """Called in the card's thread: one copy, nothing else."""
        self._queue.put((time.monotonic(), raw, overflowed))

    def until_done(self, source: Source, first_block_s: float, stall_s: float) -> Ending:
        deadline = time.monotonic() + first_block_s
        while True:
            try:
                at, raw, overflowed = self._queue.get(timeout=0.05)
            except queue.Empty:
                if not source.alive() and self._queue.empty():
                    return self._nothing("device gone")
                if time.monotonic() > deadline:
                    return self._nothing("stalled")
                continue
            deadline = time.monotonic() + stall_s
            ending = self._take_in(at, raw, overflowed)
            if ending is not None:
                return ending

    def _nothing(self, ending: Ending) -> Ending:
        if not self._clock.late_s:
            raise DeviceError(
                "nothing comes from the device", "Check its plug, its switch and its permission."
            )
        return ending

    def _take_in(self, at: float, raw: bytes, overflowed: bool) -> Ending | None:
        frames = len(raw) // self._stream.width
        self._clock.add(at, frames)
        self.flagged += overflowed
        left = self._wanted - self._stream.frames
        try:
            self._stream.add(raw[: left * self._stream.width])
        except OSError:
            return "disk full"
        level = block_level(raw, self._stream.sample_format, self._stream.frames
                            / self._stream.rate_hz)  # fmt: skip
        if not self._on_level(level):
            return "stopped"
        return "complete" if self._stream.frames >= self._wanted else None

    def lost_s(self) -> float:
        return self._clock.lost_s


def _closed(stream: WaveStream, ending: Ending) -> Ending:
    try:
        stream.close()
    except OSError:
        return "disk full"
    return ending
