"""What listened: its kind, mount, axis and calibration, and what it can and cannot support."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from vibecheck.errors import JobError
from vibecheck.recording import Quantity, Recording, Support

SensorKind = Literal[
    "microphone", "phone microphone", "phone motion", "accelerometer", "contact pickup", "other"
]
Mount = Literal["hand held", "magnet", "adhesive", "stud", "stand", "laid on", "unknown"]
KINDS: tuple[SensorKind, ...] = get_args(SensorKind)
MOUNTS: tuple[Mount, ...] = get_args(Mount)
MOUNT_TOP_HZ: dict[Mount, float] = {
    "hand held": 2000.0,
    "magnet": 5000.0,
    "adhesive": 6000.0,
    "stud": 7000.0,
}
"""Highest frequency a mount carries, after figures common on training pages; rough figures:
paint, oil or scale under a magnet halves its own."""
PHONE_MICROPHONE_LOW_HZ = 90.0
"""Below this many phones roll their microphone off (measured phones: 8 dB an octave)."""
CONTACT = ("accelerometer", "contact pickup", "phone motion")
QUANTITIES: dict[str, Quantity] = {
    "m/s^2": "acceleration",
    "g": "acceleration",
    "mm/s": "velocity",
    "Pa": "pressure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """A sensor as it was used.

    Attributes
    ----------
    kind, mount, axis, place : str
        ``axis`` in words ("radial, in line with the belt").
    per_full_scale : float
        Value in ``unit`` that full scale of the recording stands for; 0 without a calibration.
    unit : str
        "m/s^2", "g", "mm/s" or "Pa"; "FS" without a calibration.
    calibrated : str
        How the sensitivity is known ("maker's sheet", "calibrator 159.2 Hz 10 m/s^2, 2031-04-05").
    processing : str
        "off", or what was on ("automatic gain"); "unknown" bars levels for phones.
    low_hz, high_hz : float
        The sensor's own band if told, 0 if not.
    """

    kind: SensorKind = "other"
    name: str = ""
    mount: Mount = "unknown"
    axis: str = ""
    place: str = ""
    per_full_scale: float = 0.0
    unit: str = "FS"
    calibrated: str = ""
    processing: str = "unknown"
    low_hz: float = 0.0
    high_hz: float = 0.0

    def __post_init__(self) -> None:
        for what, value, allowed in (("kind", self.kind, KINDS), ("mount", self.mount, MOUNTS)):
            if value not in allowed:
                raise JobError(f"no {what} of sensor {value!r}", f"Use {', '.join(allowed)}.")
        if self.per_full_scale and self.unit not in QUANTITIES:
            raise JobError(f"no unit {self.unit!r}", f"Use {', '.join(QUANTITIES)}.", "sensor")

    @property
    def top_hz(self) -> float:
        """Highest believable frequency by sensor and mount, 0 when nothing limits it."""
        limits = [self.high_hz, MOUNT_TOP_HZ.get(self.mount, 0.0) if self._touches else 0.0]
        return min((limit for limit in limits if limit > 0), default=0.0)

    @property
    def bottom_hz(self) -> float:
        """Lowest believable frequency."""
        phone = PHONE_MICROPHONE_LOW_HZ if self.kind == "phone microphone" else 0.0
        return max(self.low_hz, phone)

    @property
    def _touches(self) -> bool:
        return self.kind in CONTACT or self.kind == "other"

    @property
    def reasons(self) -> tuple[str, ...]:
        """What limits this sensor, in words."""
        found = []
        if self.kind == "phone microphone":
            found.append(
                f"a phone's microphone is deaf below about {PHONE_MICROPHONE_LOW_HZ:.0f} Hz"
            )
        if self._touches and self.mount in MOUNT_TOP_HZ:
            found.append(f"mount ({self.mount}) carries up to {MOUNT_TOP_HZ[self.mount]:.0f} Hz")
        if self._touches and self.mount == "hand held":
            found.append("held by hand: levels may not be compared")
        if self.phone_processed:
            on = "unknown" if self.processing == "unknown" else f"on ({self.processing})"
            found.append(f"the phone's sound processing is {on}: levels may not be compared")
        return tuple(found)

    @property
    def phone_processed(self) -> bool:
        """Whether a phone or browser may have changed the sound."""
        phone = self.kind == "phone microphone"
        return self.processing not in ("off", "unknown") or (phone and self.processing != "off")

    @property
    def levels(self) -> bool:
        """Whether levels may be compared."""
        return not self.phone_processed and self.mount != "hand held"

    def applied(self, recording: Recording) -> Recording:
        """The recording in the sensor's unit, with what sensor and mount can support."""
        had = recording.support
        tops = [top for top in (had.high_hz, self.top_hz) if top > 0]
        support = Support(
            low_hz=max(had.low_hz, self.bottom_hz),
            high_hz=min(tops, default=0.0),
            levels=had.levels and self.levels,
            aliased=had.aliased,
            reasons=(*had.reasons, *self.reasons),
        )
        if self.per_full_scale > 0 and recording.unit == "FS":
            return replace(
                recording,
                samples=recording.samples * recording.samples.dtype.type(self.per_full_scale),
                unit=self.unit,
                quantity=QUANTITIES[self.unit],
                support=support,
            )
        heard: Quantity = "pressure" if "microphone" in self.kind else recording.quantity
        return replace(recording, quantity=heard, support=support)

    def table(self) -> dict[str, Any]:
        """As written in TOML; nothing that was not told."""
        every = {name: getattr(self, name) for name in SENSOR_KEYS}
        return {name: value for name, value in every.items() if value not in ("", 0.0)}


SENSOR_KEYS = (
    "kind", "name", "mount", "axis", "place", "per_full_scale", "unit", "calibrated",
    "processing", "low_hz", "high_hz",
)  # fmt: skip


def sensor_from(table: Mapping[str, Any], where: str) -> Sensor:
    """A sensor from a TOML table."""
    unknown = sorted(set(table) - set(SENSOR_KEYS))
    if unknown:
        raise JobError(
            f"unknown key(s) {', '.join(unknown)}", f"Use {', '.join(SENSOR_KEYS)}.", where
        )
    try:
        return Sensor(**table)
    except TypeError as error:
        raise JobError(f"faulty sensor ({error})", "Check the kinds of values.", where) from None
