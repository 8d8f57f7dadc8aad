"""A WAV file written as the samples come, whole to within a second at any moment.

The header is brought up to date with every flush, so a file whose writer was killed, unplugged or
stopped by a full disk opens as an ordinary WAV; `recovered` adds what came after the last flush.
Space is kept in the header for RF64 (EBU Tech 3306), taken when a file outgrows 4 GiB.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

from vibecheck.errors import RecordingError

SampleFormat = Literal["int16", "int24", "float32"]
SAMPLE_BYTES: dict[SampleFormat, int] = {"int16": 2, "int24": 3, "float32": 4}
SPACE_BYTES = 28
HEADER_BYTES = 12 + 8 + SPACE_BYTES + 8 + 16 + 8
RIFF_MOST = 0xFFFF_FFFF - HEADER_BYTES


def header(data_bytes: int, rate_hz: int, channels: int, sample_format: SampleFormat) -> bytes:
    """The first 80 bytes of a WAV of so many data bytes; RF64 above 4 GiB."""
    width = SAMPLE_BYTES[sample_format] * channels
    code = 3 if sample_format == "float32" else 1
    form = struct.pack(
        "<HHIIHH", code, channels, rate_hz, rate_hz * width, width, 8 * SAMPLE_BYTES[sample_format]
    )
    long = data_bytes > RIFF_MOST
    riff = data_bytes + HEADER_BYTES - 8
    sizes = struct.pack("<QQQI", riff, data_bytes, data_bytes // width, 0) if long else bytes(28)
    return b"".join(
        (
            b"RF64" if long else b"RIFF",
            struct.pack("<I", 0xFFFF_FFFF if long else riff),
            b"WAVE",
            b"ds64" if long else b"JUNK",
            struct.pack("<I", SPACE_BYTES),
            sizes,
            b"fmt ",
            struct.pack("<I", 16),
            form,
            b"data",
            struct.pack("<I", 0xFFFF_FFFF if long else data_bytes),
        )
    )


@dataclass(slots=True)
class WaveStream:
    """An open WAV file to which blocks of raw samples are added."""

    path: Path
    rate_hz: int
    channels: int
    sample_format: SampleFormat
    file: BinaryIO
    data_bytes: int = 0
    flushed: int = 0

    @property
    def width(self) -> int:
        """Bytes a frame."""
        return SAMPLE_BYTES[self.sample_format] * self.channels

    @property
    def frames(self) -> int:
        """Frames written."""
        return self.data_bytes // self.width

    def add(self, block: bytes) -> None:
        """Write one block; brings the header up to date about once a second."""
        self.file.write(block)
        self.data_bytes += len(block)
        if self.data_bytes - self.flushed >= self.rate_hz * self.width:
            self.flush()

    def flush(self) -> None:
        """Make what was written safe: header first in place, then the whole file to the disk."""
        self.file.seek(0)
        self.file.write(header(self.data_bytes, self.rate_hz, self.channels, self.sample_format))
        self.file.seek(0, os.SEEK_END)
        os.fsync(self.file.fileno())
        self.flushed = self.data_bytes

    def close(self) -> None:
        """Close the file, cut to whole frames; what fits on a full disk stays."""
        try:
            size = os.fstat(self.file.fileno()).st_size
            self.data_bytes = max(size - HEADER_BYTES, 0) // self.width * self.width
            self.file.truncate(HEADER_BYTES + self.data_bytes)
            self.flush()
        finally:
            self.file.close()


def started(path: Path, rate_hz: int, channels: int, sample_format: SampleFormat) -> WaveStream:
    """Begin a WAV file under a name that must be free."""
    try:
        file = path.open("xb", buffering=0)
    except FileExistsError:
        raise RecordingError("it is already there", "Nothing is overwritten.", str(path)) from None
    except OSError as error:
        raise RecordingError(
            f"cannot be written ({error.strerror})", "Check the disk.", str(path)
        ) from None
    stream = WaveStream(path, rate_hz, channels, sample_format, file)
    try:
        file.write(header(0, rate_hz, channels, sample_format))
    except OSError as error:
        file.close()
        path.unlink(missing_ok=True)
        raise RecordingError(
            f"cannot be written ({error.strerror})", "Make room on the disk.", str(path)
        ) from None
    return stream


def recovered(path: Path) -> float:
    """Make a cut-off take whole to its last complete frame; gives its seconds.

    Only the header is rewritten, and the few bytes of a half-written frame cut.
    """
    size = path.stat().st_size
    with path.open("r+b") as file:
        head = file.read(HEADER_BYTES)
        if len(head) < HEADER_BYTES or head[:4] not in (b"RIFF", b"RF64") or head[48:52] != b"fmt ":
            raise RecordingError("nothing of this take was saved", "Record it again.", path.name)
        code, channels, rate_hz, _, width, bits = struct.unpack("<HHIIHH", head[56:72])
        sample_format: SampleFormat = "float32" if code == 3 else "int24" if bits == 24 else "int16"
        frames = (size - HEADER_BYTES) // width
        file.seek(0)
        file.write(header(frames * width, rate_hz, channels, sample_format))
        file.truncate(HEADER_BYTES + frames * width)
    return float(frames / rate_hz)
