"""Sound out of phone videos and voice memos, through the optional PyAV library."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.files.facts import FileFacts
from vibecheck.recording import Recording, Support

LOSSLESS = ("pcm_", "flac", "alac", "wavpack", "tta")
MOST_SAMPLES = 200_000_000
WITHOUT_AV = "Install it with 'pip install vibecheck[video]', or save the sound as WAV or FLAC."


def read_video(path: Path) -> Recording:
    """The sound of the first audio stream of an M4A, MP4, MOV, 3GP, AMR or WebM file.

    Returns
    -------
    Recording
        As float32 at the stream's own rate; lossy coding bars levels and the highest band.
    """
    if path.stat().st_size == 0:
        raise RecordingError("the file is empty", "Record or copy it again.", path.name)
    with _opened(path) as container:
        stream = _audio_stream(container, path.name)
        samples, bytes_read = _decoded(container, stream, path.name)
        facts = _facts(container, stream, samples, bytes_read)
    return Recording(
        samples=samples,
        rate_hz=facts.rate_hz,
        name=path.stem,
        support=Support(
            high_hz=min(facts.lossy_top_hz, facts.rate_hz / 2),
            levels=not facts.lossy,
            reasons=facts.reasons,
        ),
    )


def video_facts(path: Path) -> FileFacts:
    """Coding, losses and bit rate of the sound of such a file."""
    with _opened(path) as container:
        stream = _audio_stream(container, path.name)
        samples, bytes_read = _decoded(container, stream, path.name)
        return _facts(container, stream, samples, bytes_read)


def _opened(path: Path) -> Any:
    try:
        import av
    except ImportError:
        raise RecordingError(
            f"{path.suffix} files need the library PyAV, which is not here", WITHOUT_AV, path.name
        ) from None
    try:
        return av.open(str(path))
    except (av.FFmpegError, ValueError, OSError) as error:
        raise RecordingError(
            f"no sound can be read from it ({error})", "Copy or record it again.", path.name
        ) from None


def _audio_stream(container: Any, name: str) -> Any:
    if not container.streams.audio:
        raise RecordingError("there is no sound in it", "Record with sound.", name)
    return container.streams.audio[0]


def _decoded(container: Any, stream: Any, name: str) -> tuple[NDArray[np.float32], int]:
    import av

    blocks: list[NDArray[np.float32]] = []
    frames = bytes_read = 0
    resampler = av.AudioResampler(format="fltp")
    try:
        for packet in container.demux(stream):
            bytes_read += packet.size
            for frame in packet.decode():
                for even in resampler.resample(frame):
                    blocks.append(np.array(even.to_ndarray(), dtype=np.float32))
                    frames += blocks[-1].shape[1]
            if frames * max(stream.channels, 1) > MOST_SAMPLES:
                raise RecordingError(
                    "the recording is too long to hold", "Cut it to minutes.", name
                )
    except av.FFmpegError as error:
        if not blocks:
            raise RecordingError(
                f"its sound is damaged ({error})", "Copy it again.", name
            ) from None
    if not blocks:
        raise RecordingError("there is no sound in it", "Record with sound.", name)
    return np.concatenate(blocks, axis=1), bytes_read


def _facts(container: Any, stream: Any, samples: NDArray[np.float32], bytes_read: int) -> FileFacts:
    codec = str(stream.codec_context.name)
    rate_hz = float(stream.rate)
    seconds = samples.shape[1] / rate_hz
    notes = []
    if codec.startswith("amr"):
        notes.append("a telephone coder: made for speech, tones may be missing")
    return FileFacts(
        container=str(container.format.long_name).split("/")[0].strip(),
        codec=codec,
        lossy=not codec.startswith(LOSSLESS),
        rate_hz=rate_hz,
        channels=samples.shape[0],
        seconds=seconds,
        bits_per_second=8 * bytes_read / seconds if seconds else 0.0,
        notes=tuple(notes),
    )
