"""What the level meter shows of a block of raw samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.capture.wave_stream import SAMPLE_BYTES, SampleFormat


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What the meter shows: of the last blocks, in dB of full scale."""

    peak_db: float
    rms_db: float
    seconds: float


def decoded(raw: bytes, sample_format: SampleFormat) -> NDArray[np.float32]:
    """Raw samples as fractions of full scale, interleaved as they were."""
    whole = raw[: len(raw) // SAMPLE_BYTES[sample_format] * SAMPLE_BYTES[sample_format]]
    if sample_format == "float32":
        return np.frombuffer(whole, dtype="<f4").astype(np.float32)
    if sample_format == "int16":
        return np.frombuffer(whole, dtype="<i2").astype(np.float32) / np.float32(32768)
    bytes3 = np.frombuffer(whole, dtype=np.uint8).reshape(-1, 3)
    padded = np.zeros((bytes3.shape[0], 4), dtype=np.uint8)
    padded[:, 1:] = bytes3
    return padded.view("<i4")[:, 0].astype(np.float32) / np.float32(2**31)


def block_level(raw: bytes, sample_format: SampleFormat, seconds: float) -> Level:
    """Peak and r.m.s. of one block, in dB of full scale."""
    samples = decoded(raw, sample_format)
    if samples.size == 0:
        return Level(peak_db=-120.0, rms_db=-120.0, seconds=seconds)
    peak = float(np.abs(samples).max())
    rms = float(np.sqrt(np.mean(np.square(samples - samples.mean()))))
    return Level(peak_db=_db(peak), rms_db=_db(rms), seconds=seconds)


def _db(value: float) -> float:
    return float(20 * np.log10(max(value, 1e-6)))
