"""Tones that stay at the same hertz whatever the levers do: mains, structure, room, chatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.ready import Ready
from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import averaged_spectrum

PROMINENT = 40.0
"""Power over the local floor (16 dB) at which a tone is looked at."""
MOST_TONES = 24
SAME_STEADY, SAME_LOOSE = 0.004, 0.015
"""How far a tone may wander from take to take: mains and fans little, chatter more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedTone:
    """One tone at the same hertz in most takes.

    ``share`` is the part of the takes that have it; ``above_mesh_db`` its median level over the
    strongest line of the train in the same take; ``over_floor`` its median power over the floor.
    """

    hz: float
    spread_hz: float
    share: float
    takes: tuple[int, ...]
    over_floor: float
    above_mesh_db: float


def fixed_tones(takes: Sequence[Ready], heard: Sequence[Heard | None]) -> list[FixedTone]:
    """Tones found at one frequency in at least three quarters of the takes, strongest first."""
    if len(takes) < 3:
        return []
    peaks = [_peaks(take, at) for take, at in zip(takes, heard, strict=True)]
    found: list[FixedTone] = []
    for hz in sorted({round(float(f), 2) for p in peaks for f in p[0]}):
        if any(abs(hz / tone.hz - 1) < SAME_LOOSE for tone in found):
            continue
        tone = _gathered(hz, peaks)
        if tone is not None:
            found.append(tone)
    return sorted(found, key=lambda tone: -tone.above_mesh_db)


Peaks = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def _peaks(take: Ready, heard: Heard | None) -> Peaks:
    """(hz, power over floor, level over the strongest train line in dB) of prominent tones."""
    spectrum = averaged_spectrum(take.slow, take.slow_hz, resolution_hz=1.0, scaling="power")
    floor = noise_floor(spectrum)
    values = spectrum.values.astype(float)
    over = values / np.maximum(np.asarray(getattr(floor, "values", floor), dtype=float), 1e-30)
    inside = spectrum.frequencies < take.top_hz
    top = np.r_[False, (values[1:-1] >= values[:-2]) & (values[1:-1] > values[2:]), False]
    places = np.flatnonzero(top & (over > PROMINENT) & inside)
    places = places[np.argsort(-over[places])][:MOST_TONES]
    frequencies = spectrum.frequencies[places]
    train = train_lines(heard, take.top_hz) if heard else np.zeros(0)
    strongest = values[inside].max()
    if train.size:
        bins = np.clip(np.rint(train / spectrum.step).astype(int), 1, values.size - 2)
        strongest = np.maximum.reduce([values[bins - 1], values[bins], values[bins + 1]]).max()
        free = np.min(np.abs(frequencies[:, None] - train[None, :]), axis=1) > 2.0
        places, frequencies = places[free], frequencies[free]
    level = 10 * np.log10(values[places] / max(float(strongest), 1e-30))
    return frequencies, over[places], level


def train_lines(take: Heard, top_hz: float) -> NDArray[np.float64]:
    """Mesh lines of a take with two sidebands each way, hertz."""
    lines: list[float] = []
    for mesh in take.turning.meshes:
        if mesh.order is None or mesh.group != take.group:
            continue
        ratios = [take.turning.rotors[n].ratio for n in (mesh.driver, mesh.driven)]
        for harmonic in range(1, 9):
            middle = harmonic * mesh.order
            lines += [middle, *(middle + k * r for r in ratios for k in (-2, -1, 1, 2))]
    hz = np.array(lines) * take.base_hz
    return hz[(hz > 0) & (hz < top_hz)]


def _gathered(hz: float, peaks: Sequence[Peaks]) -> FixedTone | None:
    for width in (SAME_STEADY, SAME_LOOSE):
        where, places, over, level = [], [], [], []
        for number, (frequencies, strengths, levels) in enumerate(peaks):
            near = np.flatnonzero(np.abs(frequencies / hz - 1) < width)
            if near.size:
                best = near[int(np.argmax(strengths[near]))]
                where.append(number)
                places.append(float(frequencies[best]))
                over.append(float(strengths[best]))
                level.append(float(levels[best]))
        if len(where) >= max(3, 0.75 * len(peaks)):
            return FixedTone(
                hz=float(np.median(places)),
                spread_hz=float(np.std(places)),
                share=len(where) / len(peaks),
                takes=tuple(where),
                over_floor=float(np.median(over)),
                above_mesh_db=float(np.median(level)),
            )
    return None
