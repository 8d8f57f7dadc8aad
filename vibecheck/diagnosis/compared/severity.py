"""Calibrated numbers: mm/s and micrometres r.m.s. in the standard bands.

Numbers, not grades. General severity zones start at 15 kW and were not written for lathe heads;
a zone is named only when the user names the standard or contract that sets its limits.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.recording import Recording

BAND_HZ = (10.0, 1000.0)
SLOW_BAND_HZ = (2.0, 1000.0)
SLOW_RPM = 600.0
"""Velocity r.m.s. is taken from 10 to 1000 Hz, from 2 Hz for machines below 600 rpm (ISO 20816-1,
from memory)."""
_TO_METRES = {"m/s^2": 1.0, "m/s2": 1.0, "g": 9.80665, "mm/s^2": 1e-3, "m/s": 1.0, "mm/s": 1e-3}
_POWER = {"acceleration": 2, "velocity": 1, "displacement": 0}
_LENGTHS = {"m": 1.0, "mm": 1e-3, "um": 1e-6, "µm": 1e-6}

SCOPE = (
    "This is a number, not a grade: the general severity zones start at 15 kW and were not written "
    "for lathe heads. Compare it with this machine's own earlier number."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Severity:
    """How strongly a place shakes.

    Attributes
    ----------
    velocity_mm_s, displacement_um : float
        Root mean square in the band.
    band_hz : tuple of float
        As far as the recording goes.
    cut : bool
        Whether the recording did not reach the whole standard band.
    scope : str
        What the number may be used for.
    """

    velocity_mm_s: float
    displacement_um: float
    band_hz: tuple[float, float]
    cut: bool
    scope: str = SCOPE


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Zone limits someone named: ``source`` says which standard or contract, in mm/s rising."""

    source: str
    limits_mm_s: tuple[float, ...]

    def zone(self, velocity_mm_s: float) -> str:
        """The zone's letter by the named source.

        >>> Limits(source="contract of 3 May", limits_mm_s=(1.4, 2.8, 4.5)).zone(2.0)
        'B'
        """
        return "ABCDEFGH"[sum(velocity_mm_s > limit for limit in self.limits_mm_s)]


def severity(recording: Recording, rpm: float | None = None, channel: int = 0) -> Severity:
    """Velocity and displacement, r.m.s., of a calibrated recording.

    Raises
    ------
    RecordingError
        When the recording has no calibrated unit of motion.

    Examples
    --------
    >>> time = np.arange(20000) / 10000
    >>> shake = Recording(samples=(2 * np.pi * 100 * 0.001 * np.sqrt(2)
    ...     * np.sin(2 * np.pi * 100 * time)).astype(np.float32), rate_hz=10000.0,
    ...     quantity="acceleration", unit="m/s^2")
    >>> found = severity(shake, rpm=1500)
    >>> round(found.velocity_mm_s, 3), round(found.displacement_um, 2)
    (1.0, 1.59)
    """
    if recording.quantity not in _POWER or not recording.support.levels:
        raise RecordingError(
            "no calibrated motion in it",
            "Record with a calibrated accelerometer, or give its unit and sensitivity.",
            recording.name,
        )
    low, high = SLOW_BAND_HZ if rpm is not None and rpm < SLOW_RPM else BAND_HZ
    bottom, top = max(low, recording.support.low_hz), min(high, recording.top_hz)
    wave = recording.channel(channel).astype(np.float64) * _metres(recording)
    power = _POWER[recording.quantity]
    return Severity(
        velocity_mm_s=1e3 * _rms(wave, recording.rate_hz, bottom, top, power - 1),
        displacement_um=1e6 * _rms(wave, recording.rate_hz, bottom, top, power),
        band_hz=(bottom, top),
        cut=bottom > low or top < high,
    )


def _metres(recording: Recording) -> float:
    scale = {**_TO_METRES, **_LENGTHS}.get(recording.unit)
    if scale is None:
        raise RecordingError(
            f"unit {recording.unit!r} is no unit of motion",
            f"Give one of {', '.join((*_TO_METRES, *_LENGTHS))}.",
            recording.name,
        )
    return scale


def _rms(
    wave: NDArray[np.float64], rate_hz: float, low: float, high: float, integrals: int
) -> float:
    """Root mean square in a band after so many integrations, by the transform (Hann window)."""
    taper = np.hanning(wave.size)
    lines = scipy.fft.rfft((wave - wave.mean()) * taper)
    hertz = np.arange(lines.size) * rate_hz / wave.size
    inside = (hertz >= low) & (hertz <= high)
    power = np.abs(lines[inside]) ** 2 / (2 * pi * hertz[inside]) ** (2 * integrals)
    return float(np.sqrt(2.0 * power.sum() / wave.size / np.sum(taper**2)))
