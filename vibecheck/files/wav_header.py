"""What a WAV's header promises, and what a recorder that never finished left of it."""

from __future__ import annotations

import io
import os
from pathlib import Path

MOST_UNFINISHED_BYTES = 400_000_000


def missing_s(path: Path) -> float:
    """Seconds a WAV header promises beyond the end of the file; 0 for other files.

    A length of 0 or all ones is what a recorder leaves that streams or was killed: nothing was
    promised, so nothing is missing.
    """
    with path.open("rb") as raw:
        if raw.read(4) != b"RIFF":
            return 0.0
        raw.seek(12)
        while len(head := raw.read(8)) == 8:
            size = int.from_bytes(head[4:], "little")
            if head[:4] == b"data":
                absent = raw.tell() + size - path.stat().st_size
                whole = size not in (0, 0xFFFFFFFF) and absent > 1
                return absent / _bytes_a_second(path) if whole else 0.0
            raw.seek(size + size % 2, os.SEEK_CUR)
    return 0.0


def never_finished(path: Path) -> bool:
    """Whether a WAV's header still says that nothing was recorded, with samples behind it."""
    with path.open("rb") as raw:
        head = raw.read(4096)
    at = head.find(b"data", 12)
    if head[:4] != b"RIFF" or at < 0 or path.stat().st_size > MOST_UNFINISHED_BYTES:
        return False
    return head[at + 4 : at + 8] == bytes(4) and len(head) > at + 8


def with_length(path: Path) -> io.BytesIO:
    """Such a file in memory, its header told to go on to the end."""
    data = bytearray(path.read_bytes())
    at = data.find(b"data", 12) + 4
    data[at : at + 4] = data[4:8] = b"\xff\xff\xff\xff"
    return io.BytesIO(data)


def _bytes_a_second(path: Path) -> float:
    with path.open("rb") as raw:
        head = raw.read(4096)
    at = head.find(b"fmt ")
    return float(max(int.from_bytes(head[at + 16 : at + 20], "little"), 1))
