"""A recording from a file, whatever the file is."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np

from vibecheck.files.levels import look
from vibecheck.files.refusals import (
    LEAST_FRAMES,
    clip_words,
    cut_words,
    must_exist,
    refuse,
    short_words,
    stretch,
)
from vibecheck.files.sound import BLOCK_S, KEEP_S, read_sound
from vibecheck.recording import Recording

SOUND_SUFFIXES = frozenset(
    {".wav", ".wave", ".w64", ".rf64", ".flac", ".aif", ".aiff", ".aifc", ".caf", ".ogg", ".oga"}
    | {".opus", ".mp3", ".au", ".part"}
)
LOG_SUFFIXES = frozenset({".csv", ".tsv", ".txt", ".dat", ".asc"})
EXCHANGE_SUFFIXES = frozenset({".uff", ".unv", ".uf", ".mat"})
VIDEO_SUFFIXES = frozenset(
    {".m4a", ".m4b", ".mp4", ".mov", ".3gp", ".3g2", ".amr", ".webm", ".mkv", ".mka", ".aac"}
)


def read_recording(
    path: str | os.PathLike[str],
    *,
    channel: int | None = None,
    start_s: float | None = None,
    length_s: float | None = None,
    variable: str | None = None,
    column: str | None = None,
    unit: str | None = None,
    rate_hz: float | None = None,
    keep_s: float = KEEP_S,
    partial: bool = False,
) -> Recording:
    """Read one recording from any file this package knows, chosen by its suffix.

    Parameters
    ----------
    path : path
        WAV, FLAC, AIFF, CAF, OGG, Opus, MP3; CSV logs; UFF type 58; MATLAB v5; with the video
        extra also M4A, MP4, MOV, 3GP, AMR, WebM.
    channel : int, optional
        Keep only this channel, counted from 0 as in ``Recording.channel``; all without it.
    start_s, length_s : float, optional
        Stretch wanted, in seconds.
    variable : str, optional
        Name of the array in a MATLAB file, or of the record in a UFF file.
    column : str, optional
        Heading or number (from 1) of the wanted column of a log.
    unit : str, optional
        Unit of a log's or array's numbers ("g", "m/s2", "mm/s", "V").
    rate_hz : float, optional
        Sample rate of a log or array that does not give its own.
    keep_s : float
        A longer recording is scanned whole, block by block, and its steadiest stretch of this
        many seconds is kept; that is said in ``Support.reasons``.
    partial : bool
        Accept a file that ends before its header says, instead of raising.

    Returns
    -------
    Recording
        Samples of shape (channels, frames); clipping, losses, shortness and cuts are in
        ``support.reasons``.

    Raises
    ------
    RecordingError
        No such file, not a recording, empty, truncated, not numbers, silent or too short.
    """
    path = Path(path)
    must_exist(path)
    suffix = path.suffix.lower()
    if suffix in LOG_SUFFIXES:
        from vibecheck.files.logger import read_log

        recording = read_log(path, column=column, unit=unit, rate_hz=rate_hz)
    elif suffix in EXCHANGE_SUFFIXES:
        from vibecheck.files.exchange import read_exchange

        recording = read_exchange(path, variable=variable, unit=unit, rate_hz=rate_hz)
    elif suffix in VIDEO_SUFFIXES:
        from vibecheck.files.video import read_video

        recording = read_video(path)
    else:
        return read_sound(
            path,
            channel=channel,
            start_s=start_s,
            length_s=length_s,
            keep_s=keep_s,
            partial=partial,
        )
    return finished(recording, channel=channel, start_s=start_s, length_s=length_s, keep_s=keep_s)


def finished(
    recording: Recording,
    *,
    channel: int | None = None,
    start_s: float | None = None,
    length_s: float | None = None,
    keep_s: float = KEEP_S,
) -> Recording:
    """The same checks and cuts for a recording that is already in memory."""
    name = recording.name
    first, count = stretch(recording.frames, recording.rate_hz, start_s, length_s, name)
    samples = recording.samples if channel is None else recording.channel(channel)[np.newaxis]
    samples = samples[:, first : first + count]
    block_frames = max(int(recording.rate_hz * BLOCK_S), LEAST_FRAMES)
    levels = look(
        (samples[:, at : at + block_frames].T for at in range(0, count, block_frames)),
        block_frames,
    )
    refuse(levels, recording.rate_hz, name)
    kept = min(count, max(int(keep_s), 1) * block_frames)
    offset = levels.steadiest(kept // block_frames) * block_frames if kept < count else 0
    support = recording.support
    notes = list(support.reasons)
    if kept < count:
        notes.append(cut_words(count / recording.rate_hz, kept, offset, recording.rate_hz))
    if levels.clipped_samples:
        notes.append(clip_words(levels))
    notes += short_words(count / recording.rate_hz)
    return replace(
        recording,
        samples=samples[:, offset : offset + kept],
        support=replace(
            support,
            levels=support.levels and not levels.clipped_samples,
            reasons=tuple(notes),
        ),
    )
