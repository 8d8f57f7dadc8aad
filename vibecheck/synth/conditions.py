"""How a recording was made: sensor, shop, load, and how steadily the machine ran."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

Channel = Literal["phone", "microphone", "accelerometer", "slow accelerometer"]
_CHANNELS: tuple[Channel, ...] = ("phone", "microphone", "accelerometer")


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Sensor, shop and running of one take; levels are factors on an ordinary machine's sound.

    Attributes
    ----------
    channel : str
        What listens; a "slow accelerometer" samples at ``slow_rate_hz``.
    high_pass_hz : float
        Corner of the phone's or the preamplifier's roll-off, 0 for none.
    mount_hz : float
        Resonance of the accelerometer on its mount, 0 for none.
    reverb_s : float
        Reverberation time of the room (microphones only).
    sensor_noise, room_noise, oil_noise : float
        Spread of the sensor's own noise, of the room's, and of the machine's broadband noise.
    knocks_per_s, knock_level, voice_level, neighbour_level, compressor_level, hum_level : float
        Disturbances of the shop.
    fan_hz, fan_level : float
        A fan somewhere, always at the same hertz.
    automatic_gain, lossy, clipped, aliased : bool
        What the recording chain does to the samples.
    bits : int
        Depth of the samples.
    slow_rate_hz : float
        True rate of a slow accelerometer.
    load : float
        Torque over that of idling.
    drift, hunting, belt_wander : float
        Relative speed change over the take, of the motor's slip, and of the belt.
    supply_offset_hz : float
        Mains frequency less its nominal.
    gain : float
        Of the recording chain; the same for every take of one session.
    """

    channel: Channel = "phone"
    high_pass_hz: float = 90.0
    mount_hz: float = 0.0
    reverb_s: float = 0.3
    sensor_noise: float = 0.01
    room_noise: float = 0.1
    oil_noise: float = 0.8
    knocks_per_s: float = 0.1
    knock_level: float = 1.0
    voice_level: float = 0.0
    neighbour_level: float = 0.0
    compressor_level: float = 0.0
    hum_level: float = 0.1
    fan_hz: float = 0.0
    fan_level: float = 0.0
    automatic_gain: bool = False
    lossy: bool = False
    clipped: bool = False
    aliased: bool = False
    bits: int = 16
    slow_rate_hz: float = 400.0
    load: float = 1.0
    drift: float = 0.002
    hunting: float = 0.0005
    belt_wander: float = 0.0005
    supply_offset_hz: float = 0.0
    gain: float = 1.0

    @property
    def airborne(self) -> bool:
        """Whether it listens through the air."""
        return self.channel in ("phone", "microphone")


def _chance(rng: np.random.Generator, chance: float) -> bool:
    return bool(rng.random() < chance)


def _spread(rng: np.random.Generator, middle: float, decades: float = 0.25) -> float:
    return float(middle * 10 ** rng.normal(0.0, decades))


def random_conditions(
    rng: np.random.Generator, harshness: float = 0.5, *, channel: Channel | None = None
) -> Conditions:
    """Conditions of one session.

    Parameters
    ----------
    rng : Generator
    harshness : float
        0 for a quiet shop and a steady machine, 1 for about as bad as anyone would still record.
    channel : str, optional
        What listens; drawn when not given (never the slow accelerometer).
    """
    kind: Channel = channel or _CHANNELS[int(rng.choice(3, p=[0.5, 0.15, 0.35]))]
    airborne = kind in ("phone", "microphone")
    h = harshness
    room = h if airborne else 0.3 * h
    return Conditions(
        channel=kind,
        high_pass_hz=_high_pass(rng, kind),
        mount_hz=0.0 if airborne else float(np.exp(rng.uniform(np.log(2500), np.log(9000)))),
        reverb_s=float(rng.uniform(0.15, 0.7)),
        sensor_noise=_spread(rng, 0.008 + 0.03 * h),
        room_noise=_spread(rng, 0.03 + 0.25 * room),
        oil_noise=_spread(rng, 0.5 + 1.0 * h, 0.15),
        knocks_per_s=float(rng.exponential(0.5 * h)) if _chance(rng, 0.6) else 0.0,
        knock_level=_spread(rng, 1.0, 0.3),
        voice_level=_spread(rng, 0.4) if airborne and _chance(rng, 0.3 * h) else 0.0,
        neighbour_level=_spread(rng, 0.3 * room) if _chance(rng, 0.4 * h) else 0.0,
        compressor_level=_spread(rng, 0.3 * room) if _chance(rng, 0.3 * h) else 0.0,
        hum_level=_spread(rng, 0.08, 0.35),
        fan_hz=float(rng.uniform(60, 700)),
        fan_level=_spread(rng, 0.15 * room) if _chance(rng, 0.5) else 0.0,
        automatic_gain=kind == "phone" and _chance(rng, 0.25 * h),
        lossy=kind == "phone" and _chance(rng, 0.25 * h),
        clipped=_chance(rng, 0.06 * h),
        aliased=kind == "slow accelerometer" and _chance(rng, 0.7),
        bits=int(rng.choice([12, 16, 16, 24])) if airborne else int(rng.choice([13, 16, 24])),
        slow_rate_hz=float(rng.choice([60.0, 99.4, 200.0, 400.0, 800.0, 1600.0])),
        drift=float(10 ** rng.uniform(-3.3, -2.6 + 0.6 * h)),
        hunting=float(10 ** rng.uniform(-4.2, -3.5 + 0.5 * h)),
        belt_wander=float(10 ** rng.uniform(-4.0, -3.4 + 0.5 * h)),
        supply_offset_hz=float(np.clip(rng.normal(0, 0.02), -0.05, 0.05)),
        gain=_spread(rng, 1.0, 0.2),
    )


def _high_pass(rng: np.random.Generator, kind: Channel) -> float:
    if kind == "phone":
        return float(rng.uniform(60, 200))
    return float(rng.uniform(15, 40)) if kind == "microphone" else float(rng.uniform(0.5, 3))


def another_take(conditions: Conditions, rng: np.random.Generator) -> Conditions:
    """The same session a few minutes later: the shop has moved on, the sensor has not."""
    return replace(
        conditions,
        room_noise=_spread(rng, conditions.room_noise, 0.1),
        oil_noise=_spread(rng, conditions.oil_noise, 0.05),
        knocks_per_s=conditions.knocks_per_s * float(rng.exponential(1.0)),
        voice_level=conditions.voice_level if _chance(rng, 0.4) else 0.0,
        neighbour_level=conditions.neighbour_level if _chance(rng, 0.6) else 0.0,
        hum_level=_spread(rng, conditions.hum_level, 0.05),
        drift=_spread(rng, conditions.drift, 0.15),
        supply_offset_hz=float(
            np.clip(conditions.supply_offset_hz + rng.normal(0, 0.015), -0.06, 0.06)
        ),
        clipped=conditions.clipped and _chance(rng, 0.3),
    )


def seated_again(conditions: Conditions, rng: np.random.Generator) -> Conditions:
    """The same sensor put back by hand: another level, another resonance of its mount."""
    return replace(
        conditions,
        gain=_spread(rng, conditions.gain, 0.12),
        mount_hz=_spread(rng, conditions.mount_hz, 0.08) if conditions.mount_hz else 0.0,
    )
