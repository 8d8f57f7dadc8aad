"""Refusals and cautions that every kind of recording file shares."""

from __future__ import annotations

from pathlib import Path

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.levels import Levels

LEAST_FRAMES = 64
LEAST_S = 0.05
SHORT_S = 5.0


def must_exist(path: Path) -> None:
    """Raise unless there is a file at ``path``."""
    if path.is_dir():
        raise RecordingError("this is a folder, not a recording", "Name a file.", str(path))
    if not path.exists():
        raise RecordingError("there is no such file", "Check the name and the folder.", str(path))


def stretch(
    frames: int, rate_hz: float, start_s: float | None, length_s: float | None, name: str
) -> tuple[int, int]:
    """First frame and number of frames of the stretch asked for."""
    first = round((start_s or 0.0) * rate_hz)
    count = frames - first if length_s is None else round(length_s * rate_hz)
    if first < 0 or count < 0 or (frames and first >= frames):
        raise UsageError(
            f"the stretch from {start_s} s is outside the {frames / rate_hz:.2f} s recorded",
            "Ask for a stretch inside the recording.",
            name,
        )
    return first, min(count, frames - first)


def refuse(levels: Levels, rate_hz: float, name: str) -> None:
    """Raise if a file with these levels is no recording of anything."""
    if not levels.frames:
        raise RecordingError("the file holds no samples", "Record again.", name)
    if levels.broken:
        raise RecordingError(
            f"{levels.broken} samples are not numbers, the first at "
            f"{levels.first_broken / rate_hz:.2f} s",
            "Export the recording again, or record again.",
            name,
        )
    if levels.frames < LEAST_FRAMES or levels.frames / rate_hz < LEAST_S:
        raise RecordingError(
            f"{levels.frames} samples ({levels.frames / rate_hz:.3f} s) are too short to hear "
            "anything in",
            "Record at least 20 s and 20 turns of the spindle.",
            name,
        )
    if levels.rms <= 0.0:
        raise RecordingError(
            "nothing but silence: every sample is the same",
            "Check that the sensor is plugged in, chosen and not muted, and record again.",
            name,
        )


def cut_words(whole_s: float, kept: int, offset: int, rate_hz: float) -> str:
    """What is said when only a part of a long recording is used."""
    return (
        f"only the steadiest {kept / rate_hz:.0f} s of {whole_s:.0f} s were used, from "
        f"{offset / rate_hz:.0f} s on"
    )


def clip_words(levels: Levels) -> str:
    """What is said of a clipped recording."""
    share = 100 * levels.clipped_samples / max(levels.frames, 1)
    return (
        f"clipped: {levels.clipped_samples} samples ({share:.2g} %) are cut off at the top, so "
        "harmonics may be false and levels may not be compared; turn the gain down"
    )


def short_words(seconds: float) -> list[str]:
    """What is said of a recording that is too short to part close tones."""
    if seconds >= SHORT_S:
        return []
    return [f"only {seconds:.2g} s long: nothing closer than {2 / seconds:.2g} Hz can be parted"]
