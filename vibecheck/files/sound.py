"""Sound files: WAV, FLAC, AIFF, CAF, OGG, Opus, MP3; scanned whole, in memory only in part."""

from __future__ import annotations

import io
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
from vibecheck.files.wav_header import missing_s, never_finished, with_length
from vibecheck.recording import Recording, Support

if TYPE_CHECKING:
    import soundfile

KEEP_S = 180.0
UNTOLD_FRAMES = 1 << 48
"""A stream that does not say its length claims more frames than this."""
KEEP_SAMPLES = 40_000_000
BLOCK_S = 1.0
DAMAGED_BLOCK = 4096


def read_sound(
    path: Path,
    *,
    channel: int | None = None,
    start_s: float | None = None,
    length_s: float | None = None,
    keep_s: float = KEEP_S,
    partial: bool = False,
) -> Recording:
    """Read a sound file; see `read_recording` for what comes back and what is refused.

    A file that fits is read once; a longer one is scanned block by block, then its steadiest
    stretch is read.
    """
    with opened(path) as file:
        facts = sound_facts(path, file)
        short = _checked_length(path, file, partial)
        _check_channel(file, channel, path.name)
        first, count = stretch(file.frames, facts.rate_hz, start_s, length_s, path.name)
        block_frames = max(int(facts.rate_hz * BLOCK_S), LEAST_FRAMES)
        most = _most_frames(facts, keep_s, channel)
        whole = _read(file, first, count) if count <= most else None
        blocks = (
            _blocks(file, first, count, block_frames)
            if whole is None
            else _slices(whole, block_frames)
        )
        levels = look(blocks, block_frames, 2.5 * facts.step)
        if levels.frames < count and not partial:
            raise RecordingError(
                f"damaged after {levels.frames / facts.rate_hz:.2f} of "
                f"{count / facts.rate_hz:.2f} s",
                "Copy it again, or accept the part that is there (--partial).",
                path.name,
            )
        refuse(levels, facts.rate_hz, path.name)
        kept, offset = levels.frames, 0
        if whole is None and levels.frames > most:
            kept = max(most // block_frames, 1) * block_frames
            offset = levels.steadiest(kept // block_frames) * block_frames
        if whole is None:
            whole = _read(file, first + offset, kept)
    wanted = slice(None) if channel is None else slice(channel, channel + 1)
    return Recording(
        samples=np.ascontiguousarray(whole[:, wanted].T),
        rate_hz=facts.rate_hz,
        name=path.stem,
        support=_support(facts, levels, _notes(levels, facts, kept, offset, short)),
    )


def _checked_length(path: Path, file: Any, partial: bool) -> float:
    """Seconds missing at the end; raises unless a partial file is accepted."""
    short = missing_s(path)
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
    return short


def _check_channel(file: Any, channel: int | None, name: str) -> None:
    if channel is not None and not 0 <= channel < file.channels:
        raise RecordingError(
            f"channel {channel + 1} of {file.channels} asked for",
            f"Ask for a channel from 1 to {file.channels}.",
            name,
        )


def _slices(whole: NDArray[np.float32], block_frames: int) -> Iterator[NDArray[np.float32]]:
    for at in range(0, len(whole), block_frames):
        yield whole[at : at + block_frames]


def _read(file: Any, first: int, count: int) -> NDArray[np.float32]:
    """Frames of one stretch, shape (frames, channels), in one go.

    The library seeks after every call, and an MP3 decoder starts afresh at each seek: block by
    block, its first milliseconds would be wrong again and again.
    """
    import soundfile

    try:
        if file.tell() != first:
            file.seek(first)
        samples: NDArray[np.float32] = file.read(count, dtype="float32", always_2d=True)
        return samples
    except soundfile.LibsndfileError:
        blocks = list(_blocks(file, first, count, DAMAGED_BLOCK))
        return np.concatenate(blocks) if blocks else np.empty((0, file.channels), np.float32)


def opened(path: Path) -> soundfile.SoundFile:
    """The sound file, open for reading, or a plain error."""
    import soundfile

    must_exist(path)
    file: Path | io.BytesIO = path
    if path.stat().st_size == 0:
        raise RecordingError("the file is empty", "Record or copy it again.", path.name)
    if never_finished(path):
        file = with_length(path)
    try:
        return soundfile.SoundFile(file)
    except (soundfile.LibsndfileError, TypeError, RuntimeError) as error:
        raise RecordingError(
            f"this is no sound file that can be read ({_reason(error)})",
            "Give a WAV, FLAC, AIFF, CAF, OGG, Opus or MP3 file.",
            path.name,
        ) from None


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


def _most_frames(facts: FileFacts, keep_s: float, channel: int | None) -> int:
    channels = facts.channels if channel is None else 1
    return min(int(keep_s * facts.rate_hz), KEEP_SAMPLES // channels)


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
