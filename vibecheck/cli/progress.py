"""One line of progress on the error stream, only where a person is watching."""

from __future__ import annotations

import sys
from typing import TextIO

WIDTH = 79


class Progress:
    """Call it with how much of how much is done, and what; ``clear`` wipes the line."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self.stream = stream or sys.stderr
        self.watched = self.stream.isatty()
        self.shown = False

    def __call__(self, done: int, total: int, what: str = "") -> None:
        if not self.watched or total <= 0:
            return
        filled = round(20 * min(done, total) / total)
        line = f"[{'#' * filled}{'.' * (20 - filled)}] {done}/{total} {what}"
        self.stream.write(f"\r{line[:WIDTH]:<{WIDTH}}")
        self.stream.flush()
        self.shown = True

    def clear(self) -> None:
        """Wipe the line, if there is one."""
        if self.shown:
            self.stream.write(f"\r{'':<{WIDTH}}\r")
            self.stream.flush()
            self.shown = False
