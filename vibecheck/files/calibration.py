"""Sensitivity from a calibrator's tone, or from turning a sensor over in standing gravity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.recording import Recording

FREQUENCY_WITHIN = 0.02
"""How far the calibrator's tone may lie from what is written on it."""
STEADY_WITHIN_DB = 0.5
"""How much the tone's level may wander over the recording."""
CLEAR_DB = 20.0
"""How far the tone must stand above all the rest together."""
STILL_STEPS = 0.05
"""How much of one g may shake while a sensor lies still."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Sensitivity found by a check.

    Attributes
    ----------
    per_full_scale : float
        Value in the check's unit for one unit of the recording (full scale, if it was "FS").
    found_hz : float
        The tone's frequency, 0 for a turn-over check.
    spread_db : float
        How much its level wandered.
    offset : float
        Reading without any acceleration, of a turn-over check.
    """

    per_full_scale: float
    found_hz: float = 0.0
    spread_db: float = 0.0
    offset: float = 0.0


def by_tone(recording: Recording, level_rms: float, hz: float, channel: int = 0) -> Calibration:
    """Sensitivity from a recording of a calibrator of known level and frequency.

    Parameters
    ----------
    level_rms : float
        Its r.m.s. level, in the unit wanted (10 m/s^2, or 1 Pa for 94 dB).
    hz : float
        The frequency written on it.

    Raises
    ------
    RecordingError
        Clipped, no clear steady tone, or a tone at another frequency.
    """
    name = recording.name
    if any("clipped" in reason for reason in recording.support.reasons):
        raise RecordingError("the calibration is clipped", "Turn the gain down.", name)
    samples = recording.channel(channel).astype(np.float64)
    samples = samples - samples.mean()
    found_hz = _tone_hz(samples, recording.rate_hz)
    if abs(found_hz / hz - 1) > FREQUENCY_WITHIN:
        raise RecordingError(
            f"the loudest tone is at {found_hz:.2f} Hz, not at {hz:g} Hz",
            "Record the calibrator alone, well seated.",
            name,
        )
    pieces = np.array_split(samples, 8)
    levels = [20 * np.log10(_tone_rms(piece, found_hz, recording.rate_hz)) for piece in pieces]
    spread_db = float(np.ptp(levels))
    if spread_db > STEADY_WITHIN_DB:
        raise RecordingError(
            f"the tone's level wanders by {spread_db:.1f} dB",
            "Seat it well; turn automatic gain off.",
            name,
        )
    rms = _tone_rms(samples, found_hz, recording.rate_hz)
    rest = np.sqrt(max(float(np.mean(samples**2)) - rms**2, 1e-30))
    if 20 * np.log10(rms / rest) < CLEAR_DB:
        raise RecordingError(
            "the tone does not stand clear of the noise", "Seat it well, away from noise.", name
        )
    return Calibration(per_full_scale=level_rms / rms, found_hz=found_hz, spread_db=spread_db)


def by_turn_over(up: Recording, down: Recording, one_g: float, channel: int = 0) -> Calibration:
    """Sensitivity of a sensor that reads steady acceleration: one axis up, then the same down.

    The two steady readings lie two g apart whatever the sensor's offset.
    """
    means, shakes = [], []
    for recording in (up, down):
        samples = recording.channel(channel).astype(np.float64)
        means.append(float(samples.mean()))
        shakes.append(float(samples.std()))
    half = (means[0] - means[1]) / 2
    if abs(half) <= max(shakes) / np.sqrt(min(up.frames, down.frames)) * 10:
        raise RecordingError(
            "turning it over changes nothing: it does not read steady acceleration",
            "Use a calibrator instead.",
            up.name,
        )
    if max(shakes) > STILL_STEPS * abs(half):
        raise RecordingError("it did not lie still", "Lay it on a firm table.", up.name)
    return Calibration(per_full_scale=one_g / half, offset=(means[0] + means[1]) / 2)


def _tone_hz(samples: NDArray[np.float64], rate_hz: float) -> float:
    """Loudest tone, to a small part of a bin, by the phase step between two halves."""
    from scipy import fft

    window = np.hanning(samples.size)
    lines = np.abs(fft.rfft(samples * window))
    lines[: max(2, int(lines.size * 1e-4))] = 0
    at = int(np.argmax(lines[1:-1])) + 1
    left, middle, right = np.log(lines[at - 1 : at + 2] + 1e-30)
    shift = (left - right) / (2 * (left - 2 * middle + right))
    return float((at + shift) * rate_hz / samples.size)


def _tone_rms(samples: NDArray[np.float64], hz: float, rate_hz: float) -> float:
    window = np.hanning(samples.size)
    turn = np.exp(-2j * np.pi * hz * np.arange(samples.size) / rate_hz)
    return float(np.sqrt(2) * abs(np.sum(samples * window * turn)) / window.sum())
