"""Sound files: WAV, FLAC, AIFF, CAF, OGG, Opus, MP3; scanned whole, in memory only in part."""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.files.facts import BITS, LOSSY_WORDS, FileFacts
from vibecheck.files.levels import Levels, look
from vibecheck.files.refusals import (
    LEAST_FRAMES,
    clip_words,
    cut_words,
    must_exist,
    refuse,
    short_words,
    stretch,
)
from vibecheck.recording import Recording, Support

if TYPE_CHECKING:
    import soundfile

KEEP_S = 180.0
MOST_UNFINISHED_BYTES = 400_000_000
UNTOLD_FRAMES = 1 << 48
"""A stream that does not say its length claims more frames than this."""
KEEP_SAMPLES = 40_000_000
BLOCK_S = 1.0


def read_sound(
    path: Path,
    *,
    channel: int | None = None,
    start_s: float | None = None,
    length_s: float | None = None,
    keep_s: float = KEEP_S,
    partial: bool = False,
) -> Recording:
    """Read a sound file; see `read_recording` for what comes back and what is refused."""
    with opened(path) as file:
        facts = sound_facts(path, file)
        short = missing_s(path, file)
        if short and not partial:
            raise RecordingError(
                f"the file ends {short:.2f} s before its header says it should",
                "Copy it again, or accept the part that is there (--partial).",
                path.name,
            )
        if file.frames >= UNTOLD_FRAMES:
            raise RecordingError(
                "the file does not say how long it is, as when written to a pipe",
                "Open it in a sound editor and save it again.",
                path.name,
            )
        first, count = stretch(file.frames, facts.rate_hz, start_s, length_s, path.name)
        block_frames = max(int(facts.rate_hz * BLOCK_S), LEAST_FRAMES)
        levels = look(_blocks(file, first, count, block_frames), block_frames, 2.5 * facts.step)
        if levels.frames < count and not partial:
            whole_s = count / facts.rate_hz
            raise RecordingError(
                f"damaged after {levels.frames / facts.rate_hz:.2f} of {whole_s:.2f} s",
                "Copy it again, or accept the part that is there (--partial).",
                path.name,
            )
        refuse(levels, facts.rate_hz, path.name)
        kept = _kept_frames(levels.frames, facts, keep_s, channel)
        cut = kept < levels.frames
        offset = levels.steadiest(kept // block_frames) * block_frames if cut else 0
        samples = _load(file, first + offset, kept, channel, path.name)
    notes = _notes(levels, facts, kept, offset, short)
    return Recording(
        samples=samples,
        rate_hz=facts.rate_hz,
        name=path.stem,
        support=_support(facts, levels, notes),
    )


def opened(path: Path) -> soundfile.SoundFile:
    """The sound file, open for reading, or a plain error."""
    import soundfile

    must_exist(path)
    file: Path | io.BytesIO = path
    if path.stat().st_size == 0:
        raise RecordingError("the file is empty", "Record or copy it again.", path.name)
    if _never_finished(path):
        file = _with_length(path)
    try:
        return soundfile.SoundFile(file)
    except (soundfile.LibsndfileError, TypeError, RuntimeError) as error:
        raise RecordingError(
            f"this is no sound file that can be read ({_reason(error)})",
            "Give a WAV, FLAC, AIFF, CAF, OGG, Opus or MP3 file.",
            path.name,
        ) from None


def _never_finished(path: Path) -> bool:
    """Whether a WAV's header still says that nothing was recorded, with samples behind it."""
    with path.open("rb") as raw:
        head = raw.read(4096)
    at = head.find(b"data", 12)
    if head[:4] != b"RIFF" or at < 0 or path.stat().st_size > MOST_UNFINISHED_BYTES:
        return False
    return head[at + 4 : at + 8] == bytes(4) and len(head) > at + 8


def _with_length(path: Path) -> io.BytesIO:
    """Such a file in memory, its header told to go on to the end."""
    data = bytearray(path.read_bytes())
    at = data.find(b"data", 12) + 4
    data[at : at + 4] = data[4:8] = b"\xff\xff\xff\xff"
    return io.BytesIO(data)


def sound_facts(path: Path, file: Any) -> FileFacts:
    """Coding, losses and bit rate of an open sound file."""
    seconds = file.frames / file.samplerate
    return FileFacts(
        container=file.format_info.split("(")[0].strip(),
        codec=LOSSY_WORDS.get(file.subtype, file.subtype_info),
        lossy=file.subtype in LOSSY_WORDS,
        rate_hz=float(file.samplerate),
        channels=int(file.channels),
        seconds=seconds,
        bits=BITS.get(file.subtype, 0),
        bits_per_second=path.stat().st_size * 8 / seconds if seconds else 0.0,
    )


def missing_s(path: Path, file: Any) -> float:
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


def _bytes_a_second(path: Path) -> float:
    with path.open("rb") as raw:
        head = raw.read(4096)
    at = head.find(b"fmt ")
    return float(max(int.from_bytes(head[at + 16 : at + 20], "little"), 1))


def _reason(error: BaseException) -> str:
    words = str(error).rsplit(":", 1)[-1].strip().rstrip(".")
    return words[:1].lower() + words[1:] or type(error).__name__


def _blocks(file: Any, first: int, count: int, block_frames: int) -> Iterator[NDArray[np.float32]]:
    import soundfile

    left = count
    try:
        file.seek(first)
        while left > 0:
            block = file.read(min(block_frames, left), dtype="float32", always_2d=True)
            if not len(block):
                return
            left -= len(block)
            yield block
    except soundfile.LibsndfileError:
        return


def _kept_frames(frames: int, facts: FileFacts, keep_s: float, channel: int | None) -> int:
    channels = facts.channels if channel is None else 1
    block = max(int(facts.rate_hz * BLOCK_S), LEAST_FRAMES)
    most = min(int(keep_s * facts.rate_hz), KEEP_SAMPLES // channels)
    return frames if frames <= most else max(most // block, 1) * block


def _load(file: Any, first: int, count: int, channel: int | None, name: str) -> NDArray[np.float32]:
    if channel is not None and not 0 <= channel < file.channels:
        raise RecordingError(
            f"channel {channel + 1} of {file.channels} asked for",
            f"Ask for a channel from 1 to {file.channels}.",
            name,
        )
    wanted = file.channels if channel is None else 1
    samples = np.empty((wanted, count), dtype=np.float32)
    at = 0
    for block in _blocks(file, first, count, 1 << 18):
        part = block if channel is None else block[:, channel : channel + 1]
        samples[:, at : at + len(part)] = part.T
        at += len(part)
    return samples[:, :at]


def _notes(levels: Levels, facts: FileFacts, kept: int, offset: int, short_s: float) -> list[str]:
    notes = []
    if short_s:
        notes.append(f"the file was cut off: {short_s:.2f} s are missing at its end")
    if kept < levels.frames:
        notes.append(cut_words(levels.frames / facts.rate_hz, kept, offset, facts.rate_hz))
    if levels.clipped_samples:
        notes.append(clip_words(levels))
    return notes + short_words(levels.frames / facts.rate_hz)


def _support(facts: FileFacts, levels: Levels, notes: list[str]) -> Support:
    return Support(
        high_hz=min(facts.lossy_top_hz, facts.rate_hz / 2),
        levels=not (facts.lossy or facts.processing or levels.clipped_samples),
        reasons=(*facts.reasons, *notes),
    )
