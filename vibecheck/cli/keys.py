"""One key at a time from a bare terminal, or a line at a time from a pipe."""

from __future__ import annotations

import contextlib
import os
import select
import sys
from collections.abc import Iterator

ENTER = "\r"


@contextlib.contextmanager
def quiet_terminal() -> Iterator[None]:
    """Keys come at once and are not shown, until the block ends; Ctrl-C still works."""
    if not sys.stdin.isatty() or sys.platform == "win32":
        yield
        return
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle)
        yield
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def pressed() -> str:
    """The key pressed since last asked, "" when none; never waits."""
    if not sys.stdin.isatty():
        return ""
    if sys.platform == "win32":
        import msvcrt

        return _plain(msvcrt.getwch()) if msvcrt.kbhit() else ""
    ready, _, _ = select.select([sys.stdin], [], [], 0)
    return _one_byte() if ready else ""


def wait_for(keys: str, usual: str) -> str:
    """Wait for one of ``keys``; Enter means ``usual``, and so does nothing more to read means q."""
    while True:
        key = _next_key()
        if key == ENTER:
            return usual
        if key == "":
            return "q"
        if key in keys:
            return key


def _next_key() -> str:
    if not sys.stdin.isatty():
        line = sys.stdin.readline()
        return "" if line == "" else _plain((line.strip() or "\n")[0])
    if sys.platform == "win32":
        import msvcrt

        return _plain(msvcrt.getwch())
    return _one_byte()


def _one_byte() -> str:
    """Straight from the terminal: Python's own buffer would hide a key from ``select``."""
    return _plain(os.read(sys.stdin.fileno(), 1).decode("ascii", "ignore") or " ")


def _plain(key: str) -> str:
    return ENTER if key in "\r\n" and key else key.lower()
