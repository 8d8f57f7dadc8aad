"""Reading the takes of a sweep when a file among them cannot be read."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from vibecheck.errors import DeviceError, RecordingError
from vibecheck.recording import Take

Reader = tuple[str, Callable[[], Take]]
"""A file's name, and what reads it."""


def readable(readers: Sequence[Reader]) -> tuple[list[Take], list[str]]:
    """The takes that can be read, and a warning for each file left out.

    Raises
    ------
    RecordingError, DeviceError
        What was wrong with the first file, when not one can be read.
    """
    takes: list[Take] = []
    warnings: list[str] = []
    first: RecordingError | DeviceError | None = None
    for name, reader in readers:
        try:
            takes.append(reader())
        except (RecordingError, DeviceError) as error:
            first = first or error
            warnings.append(f"{name} was left out: {error.found}")
    if first is not None and not takes:
        raise first
    return takes, warnings
