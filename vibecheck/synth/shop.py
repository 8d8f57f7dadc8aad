"""The rest of the shop: knocks, voices, a passing machine, a compressor, a fan, lamps that hum."""

from __future__ import annotations

import numpy as np

from vibecheck.synth.conditions import Conditions
from vibecheck.synth.waves import Signal, Turns, fraction, noise, pulses, read, table, wander


def knocks(conditions: Conditions, rng: np.random.Generator, frames: int, rate_hz: float) -> Signal:
    """Irregular knocks, some of them hard: dropped spanners, doors, steps."""
    count = int(rng.poisson(conditions.knocks_per_s * frames / rate_hz))
    at = rng.uniform(0, frames, count)
    strength = conditions.knock_level * (rng.pareto(1.6, count) + 0.3).clip(0, 25)
    strength = strength * rng.choice([-1.0, 1.0], count)
    return pulses(frames, at, strength * 1.5e-3 * rate_hz, float(rng.uniform(2e-4, 2e-3)) * rate_hz)


def room_sound(
    conditions: Conditions,
    rng: np.random.Generator,
    mains_turns: Turns,
    rate_hz: float,
) -> Signal:
    """Everything else that is heard whether the machine runs or not."""
    frames = mains_turns.size
    total = np.zeros(frames, dtype=np.float32)
    if conditions.hum_level > 0:
        total += _hum(conditions.hum_level, rng, mains_turns)
    time = np.arange(frames) / rate_hz
    if conditions.fan_level > 0 and conditions.fan_hz < 0.45 * rate_hz:
        unsteady = 1 + 0.2 * wander(rng, frames / rate_hz, 0.5, frames)
        phase = conditions.fan_hz * time + 0.05 * wander(rng, frames / rate_hz, 0.3, frames)
        total += (conditions.fan_level * unsteady * np.sin(2 * np.pi * phase)).astype(np.float32)
    if conditions.neighbour_level > 0:
        total += _neighbour(conditions.neighbour_level, rng, frames, rate_hz)
    if conditions.compressor_level > 0:
        total += _compressor(conditions.compressor_level, rng, frames, rate_hz)
    if conditions.voice_level > 0:
        total += _voices(conditions.voice_level, rng, frames, rate_hz)
    return total


def _hum(level: float, rng: np.random.Generator, mains_turns: Turns) -> Signal:
    """Lamps and transformers: even multiples of the mains, a little of the odd ones."""
    amplitudes = np.zeros(14)
    amplitudes[1::2] = level * rng.lognormal(0, 0.5, 7) / np.arange(1, 8)
    amplitudes[0::2] = 0.15 * level * rng.lognormal(0, 0.7, 7) / np.arange(1, 8)
    return read(table(amplitudes, rng.uniform(0, 2 * np.pi, 14)), fraction(mains_turns))


def _running(
    rng: np.random.Generator, speed_hz: float, frames: int, rate_hz: float, multiples: int
) -> Signal:
    """Some machine's comb of shaft lines and a whine with sidebands."""
    seconds = frames / rate_hz
    turns = np.cumsum(speed_hz * (1 + 0.002 * wander(rng, seconds, 0.3, frames))) / rate_hz
    amplitudes = rng.rayleigh(1.0, multiples) / np.arange(1, multiples + 1) ** 0.8
    whine = min(int(rng.integers(12, 45)), int(0.4 * rate_hz / speed_hz))
    out = read(table(amplitudes, rng.uniform(0, 6, multiples)), fraction(turns))
    tone = table(np.array([1.0, 0.4]), np.zeros(2))
    sway = 1 + 0.3 * np.cos(2 * np.pi * turns).astype(np.float32)
    return out + read(tone, fraction(turns * whine)) * sway


def _neighbour(level: float, rng: np.random.Generator, frames: int, rate_hz: float) -> Signal:
    """Another machine, or a truck passing: lines of its own that swell and fade."""
    other = _running(rng, float(rng.uniform(5, 45)), frames, rate_hz, 12)
    middle, width = rng.uniform(0, frames), rng.uniform(0.15, 1.5) * frames
    swell = np.exp(-(((np.arange(frames) - middle) / width) ** 2)).astype(np.float32)
    out: Signal = np.float32(level) * swell * (other + 0.5 * noise(rng, frames))
    return out


def _compressor(level: float, rng: np.random.Generator, frames: int, rate_hz: float) -> Signal:
    """A piston compressor that may start or stop in the middle of the take."""
    sound = _running(rng, float(rng.uniform(9, 26)), frames, rate_hz, 20)
    start, stop = np.sort(rng.uniform(-0.5, 1.5, 2)) * frames
    inside = np.arange(frames)
    gate = 1 / (1 + np.exp(-(inside - start) / (0.2 * rate_hz)).clip(0, 1e9))
    gate *= 1 / (1 + np.exp((inside - stop) / (0.4 * rate_hz)).clip(0, 1e9))
    out: Signal = np.float32(level) * gate.astype(np.float32) * sound
    return out


def _voices(level: float, rng: np.random.Generator, frames: int, rate_hz: float) -> Signal:
    """Talk: pitched bursts of a few tenths of a second with gliding pitch and formant noise."""
    total = np.zeros(frames, dtype=np.float32)
    for _ in range(int(rng.integers(2, 9))):
        length = min(int(rng.uniform(0.15, 0.7) * rate_hz), frames - 1)
        start = int(rng.integers(0, frames - length))
        time = np.arange(length) / rate_hz
        pitch = rng.uniform(95, 230) * (1 + rng.uniform(-0.2, 0.2) * time)
        many = max(2, min(16, int(0.4 * rate_hz / 280)))
        formant = np.exp(-(((np.arange(1, many + 1) - rng.uniform(3, 8)) / 3) ** 2)) + 0.15
        burst = read(table(formant, rng.uniform(0, 6, many)), fraction(np.cumsum(pitch) / rate_hz))
        burst += 0.2 * noise(rng, length)
        total[start : start + length] += level * burst * np.hanning(length).astype(np.float32)
    return total
