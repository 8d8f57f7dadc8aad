"""A level meter and a progress bar in plain characters, at most 78 columns wide."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from vibecheck.capture.level import Level

FLOOR_DB = -60.0
BAR = 30
EVERY_S = 0.2
LINE_EVERY_S = 5.0


def bar(share: float, width: int = BAR) -> str:
    """A bar filled to a share.

    >>> bar(0.5, 8)
    '####----'
    """
    filled = round(max(0.0, min(share, 1.0)) * width)
    return "#" * filled + "-" * (width - filled)


def level_words(peak_db: float) -> str:
    """What a peak level means for the gain."""
    if peak_db >= -0.5:
        return "TOO LOUD"
    if peak_db > -6:
        return "loud"
    if peak_db >= -30:
        return "good"
    return "quiet" if peak_db >= -45 else "VERY QUIET"


class Meter:
    """Redraws one line on a terminal; on a pipe, a line now and then."""

    def __init__(self, wanted_s: float = 0.0) -> None:
        self._wanted_s = wanted_s
        self._drawn = 0.0
        self._peak_db = FLOOR_DB
        self._live = sys.stdout.isatty()

    def show(self, level: Level) -> None:
        """Take in one block's level; draws a few times a second."""
        self._peak_db = max(self._peak_db, level.peak_db)
        now = time.monotonic()
        if now - self._drawn < (EVERY_S if self._live else LINE_EVERY_S):
            return
        self._drawn = now
        click.echo("\r" * self._live + self.line(level.seconds), nl=not self._live)
        self._peak_db = FLOOR_DB

    def line(self, seconds: float) -> str:
        """The line to show."""
        share = 1 - self._peak_db / FLOOR_DB
        time_words = f"{seconds:4.0f} of {self._wanted_s:.0f} s" if self._wanted_s else ""
        words = f"{level_words(self._peak_db):<10}"
        return f"  |{bar(share)}| peak {self._peak_db:4.0f} dB {words} {time_words:<14}"

    def done(self) -> None:
        """Leave the line."""
        if self._live:
            click.echo()
