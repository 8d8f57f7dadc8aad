"""Takes that arrive from a phone block by block, numbered, perhaps twice, perhaps never all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from vibecheck.capture.wave_stream import WaveStream, started
from vibecheck.errors import UsageError

PROCESSING = {
    "autoGainControl": "automatic gain",
    "echoCancellation": "echo cancelling",
    "noiseSuppression": "noise suppression",
}
MOST_BLOCK_BYTES = 4_000_000
RATES_HZ = (8_000, 192_000)


def processing_words(settings: Mapping[str, Any]) -> str:
    """ "off" when the phone says all its sound processing is off, else what is on or unknown.

    >>> processing_words({"autoGainControl": False, "echoCancellation": False,
    ...                   "noiseSuppression": True})
    'noise suppression'
    >>> processing_words({})
    'unknown'
    """
    on = [words for key, words in PROCESSING.items() if settings.get(key) not in (False, None)]
    if on:
        return ", ".join(on)
    return "off" if all(settings.get(key) is False for key in PROCESSING) else "unknown"


@dataclass(slots=True)
class PhoneTake:
    """One take on its way in."""

    stream: WaveStream
    settings: Mapping[str, Any]
    next_block: int = 0
    seconds_wanted: float = 0.0
    step: int = 0
    facts: dict[str, Any] = field(default_factory=dict)

    def add(self, number: int, block: bytes) -> int:
        """Take in block ``number``; gives the number wanted next.

        A block that came before is acknowledged again and not written twice; one that comes too
        early is not taken, so the phone sends from the number wanted.
        """
        if number == self.next_block:
            if len(block) % self.stream.width or len(block) > MOST_BLOCK_BYTES:
                raise UsageError(f"a block of {len(block)} bytes", "Reload the page.")
            self.stream.add(block)
            self.next_block += 1
        return self.next_block

    @property
    def seconds(self) -> float:
        """What has come so far."""
        return self.stream.frames / self.stream.rate_hz


def begun(path: Path, told: Mapping[str, Any], step: int) -> PhoneTake:
    """Begin a take from what the phone tells of itself: rate, channels, settings."""
    rate_hz, channels = told.get("rate_hz"), told.get("channels", 1)
    settings = told.get("settings", {})
    if not isinstance(rate_hz, int | float) or not RATES_HZ[0] <= rate_hz <= RATES_HZ[1]:
        raise UsageError(f"sample rate {rate_hz!r}", "Reload the page.")
    if channels not in (1, 2) or not isinstance(settings, dict):
        raise UsageError(f"{channels!r} channels", "Reload the page.")
    stream = started(path, round(rate_hz), int(channels), "float32")
    return PhoneTake(stream=stream, settings=settings, step=step)
