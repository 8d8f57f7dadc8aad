"""What is heard beside the machine's own forces: hum, fixed tones, taps, the shop, the room."""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.synth import paths, shop
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import Faults
from vibecheck.synth.individual import Individual
from vibecheck.synth.mixer import Mixer
from vibecheck.synth.motion import Motion
from vibecheck.synth.waves import Signal, fraction, noise, pulses, wander


def add_fixed(
    mixer: Mixer,
    faults: Faults,
    mains: NDArray[np.float64],
    ran: Motion | None,
    rng: np.random.Generator,
    frames: int,
    rate_hz: float,
) -> None:
    """Planted hum, and a tone of structure or room that stays at its hertz."""
    on = ran.motor_on if ran else np.zeros(frames, dtype=np.float32)
    for fault in faults.named("mains hum"):
        hum = np.sin(2 * np.pi * fraction(2 * mains)) + 0.3 * np.sin(
            2 * np.pi * fraction(4 * mains) + 1
        )
        mixer.add_plain((0.45 * fault.strength * hum).astype(np.float32) * on)
    running = 1.0 if ran else 0.0
    for fault in faults.named("fixed tone of structure or room"):
        seconds = frames / rate_hz
        level = 1 + 0.35 * wander(rng, seconds, 1.5, frames)
        phase = fault.hz * np.arange(frames) / rate_hz + 0.04 * wander(rng, seconds, 1.0, frames)
        level = level * (0.12 * fault.strength * running * rng.lognormal(0, 0.3))
        mixer.add_plain((level * np.sin(2 * np.pi * phase)).astype(np.float32))


def taps(rng: np.random.Generator, frames: int, rate_hz: float) -> Signal:
    """A few taps with a soft hammer."""
    count = int(rng.integers(2, 6))
    at = np.sort(rng.uniform(0.05, 0.9, count)) * frames
    strength = rng.lognormal(1.0, 0.4, count) * 4e-3 * rate_hz
    return pulses(frames, at, strength, 4e-4 * rate_hz)


def add_room(
    mixer: Mixer,
    conditions: Conditions,
    individual: Individual,
    rng: np.random.Generator,
    mains: NDArray[np.float64],
) -> None:
    """The shop and the room's own hiss, and the walls' answer to all of it."""
    frames, rate_hz = mains.size, mixer.rate_hz
    mixer.add(shop.knocks(conditions, rng, frames, rate_hz), "floor", "structure")
    mixer.add_plain(shop.room_sound(conditions, rng, mains, rate_hz))
    hiss = scipy.fft.rfft(noise(rng, frames), mixer.frames)
    tilt = conditions.room_noise / np.sqrt(0.05 + mixer.frequency_hz / 200.0)
    mixer.spectrum += hiss * tilt.astype(np.float32)
    if conditions.airborne:
        tail = paths.room(
            individual.draw("room", "walls"), conditions.reverb_s, mixer.frames, rate_hz
        )
        mixer.colour(scipy.fft.rfft(tail, mixer.frames))
