"""Any file turned into WAV or FLAC, with what it was and what was lost kept beside it."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from vibecheck.errors import RecordingError
from vibecheck.files.audio import VIDEO_SUFFIXES, read_recording
from vibecheck.files.facts import FileFacts
from vibecheck.files.sound import opened, sound_facts
from vibecheck.files.told_facts import facts_table
from vibecheck.recording import Recording

VERBATIM = frozenset({".wav", ".flac"})
FLAC_CHANNELS = 8
WHOLE_S = 1e9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Brought:
    """One file brought in.

    Attributes
    ----------
    path : Path
        The new WAV or FLAC.
    words : tuple of str
        What the file is, then what limits it, for a person.
    facts : mapping
        What the new form cannot carry (true rate, unit, losses); see ``told_facts``.
    recording : Recording
        The samples themselves.
    """

    path: Path
    words: tuple[str, ...]
    facts: Mapping[str, Any]
    recording: Recording


def bring_in(source: Path, folder: Path, stem: str, **options: Any) -> Brought:
    """Write a file's recording as WAV or FLAC into a folder.

    WAV and FLAC taken whole are copied byte for byte; all else is decoded and stored without
    further loss (24-bit FLAC, or 32-bit float WAV where there is a unit or a peak above full
    scale).
    """
    recording = read_recording(source, keep_s=WHOLE_S, **options)
    whole = not any(value is not None and value is not False for value in options.values())
    if whole and source.suffix.lower() in VERBATIM:
        path = folder / f"{stem}{source.suffix.lower()}"
        shutil.copyfile(source, path)
    else:
        path = _written(recording, folder, stem)
    return Brought(
        path=path,
        words=_words(source, recording),
        facts=facts_table(recording),
        recording=recording,
    )


def _written(recording: Recording, folder: Path, stem: str) -> Path:
    import soundfile

    peak = float(np.abs(recording.samples).max())
    flac = recording.unit == "FS" and peak <= 1.0 and recording.channels <= FLAC_CHANNELS
    path = folder / f"{stem}.{'flac' if flac else 'wav'}"
    try:
        soundfile.write(
            path,
            recording.samples.T,
            max(round(recording.rate_hz), 1),
            subtype="PCM_24" if flac else "FLOAT",
        )
    except (soundfile.LibsndfileError, OSError) as error:
        raise RecordingError(f"cannot be stored ({error})", "Make room.", str(path)) from None
    return path


def _words(source: Path, recording: Recording) -> tuple[str, ...]:
    facts = file_facts(source)
    if facts is not None:
        return (facts.text, *recording.support.reasons)
    text = (
        f"{recording.channels} channel(s) in {recording.unit}, {recording.rate_hz:.6g} Hz, "
        f"{recording.seconds:.1f} s"
    )
    return (text, *recording.support.reasons)


def file_facts(path: Path) -> FileFacts | None:
    """Coding, losses and bit rate of a sound or video file; None for logs and arrays."""
    suffix = path.suffix.lower()
    if suffix in VIDEO_SUFFIXES:
        from vibecheck.files.video import video_facts

        return video_facts(path)
    try:
        with opened(path) as file:
            return sound_facts(path, file)
    except RecordingError:
        return None
