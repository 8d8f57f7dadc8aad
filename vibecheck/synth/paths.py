"""From a part to the sensor: castings ring, each part through its own mix of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vibecheck.synth.individual import Individual

Response = NDArray[np.complex64]
Kind = Literal["gear", "bearing", "shaft", "structure", "room"]

_STEP_HZ = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modes:
    """Resonances: hertz, sharpness (Q) and weight of each."""

    hz: NDArray[np.float64]
    sharpness: NDArray[np.float64]
    weight: NDArray[np.float64]

    def response(self, frequency_hz: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Acceleration over force of all modes together."""
        r = frequency_hz[np.newaxis, :] / self.hz[:, np.newaxis]
        ringing = r**2 / (1 - r**2 + 1j * r / self.sharpness[:, np.newaxis])
        out: NDArray[np.complex128] = (self.weight[:, np.newaxis] * ringing).sum(axis=0)
        return out


def casing(individual: Individual) -> Modes:
    """Modes every part of one machine shares: head, gearbox walls, cover, bed."""
    rng = individual.draw("casing", "modes")
    count = int(rng.integers(9, 16))
    return Modes(
        hz=np.exp(rng.uniform(np.log(110), np.log(4500), count)),
        sharpness=rng.uniform(8, 45, count),
        weight=np.ones(count),
    )


def modes(individual: Individual, part: str, kind: Kind) -> Modes:
    """Shared modes as this part drives them, and a few of its own."""
    shared = casing(individual)
    rng = individual.draw(part, f"path {kind}")
    low, high = {"bearing": (900, 7000), "gear": (300, 4500)}.get(kind, (60, 2500))
    own = int(rng.integers(2, 5))
    mix = rng.standard_normal(shared.hz.size) * 0.5
    return Modes(
        hz=np.concatenate([shared.hz, np.exp(rng.uniform(np.log(low), np.log(high), own))]),
        sharpness=np.concatenate([shared.sharpness, rng.uniform(8, 40, own)]),
        weight=np.concatenate([mix, rng.standard_normal(own) * 0.7]),
    )


def response(
    individual: Individual, part: str, kind: Kind, frames: int, rate_hz: float
) -> Response:
    """Response on the grid of a real transform of ``frames`` samples, unit mean power."""
    return _response(individual, part, kind, frames, float(rate_hz))


@lru_cache(maxsize=96)
def _response(
    individual: Individual, part: str, kind: Kind, frames: int, rate_hz: float
) -> Response:
    coarse = np.arange(0.0, rate_hz / 2 + 2 * _STEP_HZ, _STEP_HZ)
    rough = modes(individual, part, kind).response(coarse)
    rng = individual.draw(part, f"tilt {kind}")
    rough = rough + 0.15
    above = np.maximum(coarse / 2500.0, 1.0)
    rough = rough / above ** float(rng.uniform(0.5, 1.6))
    band = (coarse > 150) & (coarse < 4000)
    rough /= np.sqrt(np.mean(np.abs(rough[band]) ** 2)) / 10 ** rng.normal(0, 0.15)
    fine = np.arange(frames // 2 + 1) * (rate_hz / frames)
    out = np.empty(fine.size, dtype=np.complex64)
    out.real = np.interp(fine, coarse, rough.real)
    out.imag = np.interp(fine, coarse, rough.imag)
    out.flags.writeable = False
    return out


def room(
    rng: np.random.Generator, reverb_s: float, frames: int, rate_hz: float
) -> NDArray[np.float32]:
    """Impulse response of a room: the direct sound, a few walls, then a dying hiss."""
    length = min(frames, int(reverb_s * 0.8 * rate_hz) + 2)
    time = np.arange(length) / rate_hz
    tail = rng.standard_normal(length) * np.exp(-6.9 * time / reverb_s)
    tail *= float(rng.uniform(0.3, 0.9)) / np.sqrt(max(float((tail**2).sum()), 1e-12))
    tail[0] += 1.0
    walls = rng.integers(1, max(2, int(0.03 * rate_hz)), 5).clip(0, length - 1)
    np.add.at(tail, walls, rng.uniform(-0.4, 0.4, 5))
    return tail.astype(np.float32)
