"""Tones that stay at the same hertz whatever the levers do: mains, structure, room, chatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.ready import Ready
from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import averaged_spectrum

Numbers = NDArray[np.float64]

PROMINENT = 20.0
"""Power over the local floor (13 dB) at which a tone is looked at."""
MOST_PEAKS, MOST_TONES = 40, 16
SAME_STEADY, SAME_LOOSE = 0.004, 0.015
"""How far a tone may wander from take to take: mains and fans little, chatter more."""
SHARE, FEWEST = 0.75, 3
APART_HZ = 2.0
"""A line this near a train line is the train's."""
FINEST = 1e-5
"""Relative spread that no reading of a peak goes below."""
NORMAL = 1.4826
"""Standard deviation over median distance from the middle."""
HANN_LEAK = 1.5
"""Sum of a spectrum's bins over the power in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedTone:
    """One tone at the same hertz in most takes.

    Attributes
    ----------
    hz : float
    spread : float
        Scatter of its place from take to take, relative.
    tied : float
        The least scatter of its place over the speed of any one rotor: far above ``spread`` when
        it follows none of them; nan when speeds of too few takes are known.
    share : float
        Part of the takes that have it, of those where no line of the train covers its place.
    takes : tuple of int
    over_floor : float
        Median power over the floor.
    above_mesh_db, upper_db : float
        Its level over the strongest line of the train in the same take: the median, and what one
        take in three exceeds.
    of_all_db : float
        Its power and that of its double over all other power; one take in four falls below.
    """

    hz: float
    spread: float
    share: float
    takes: tuple[int, ...]
    over_floor: float
    above_mesh_db: float
    upper_db: float = float("nan")
    of_all_db: float = float("nan")
    tied: float = float("nan")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Peaks:
    """Prominent peaks of one take: hertz, power over floor, level in dB over the strongest train
    line, power over all other power, and whether each is free of the train's lines."""

    hz: Numbers
    over: Numbers
    level_db: Numbers
    of_all: Numbers
    free: NDArray[np.bool_]
    train: Numbers


def fixed_tones(takes: Sequence[Ready], heard: Sequence[Heard | None]) -> list[FixedTone]:
    """Tones found at one frequency in at least three quarters of the takes, strongest first."""
    if len(takes) < FEWEST:
        return []
    peaks = [_peaks(take, at) for take, at in zip(takes, heard, strict=True)]
    found: list[FixedTone] = []
    tried: list[float] = []
    for hz in _candidates(peaks):
        if any(abs(hz / each - 1) < SAME_LOOSE for each in (t.hz for t in found)):
            continue
        if any(abs(hz / each - 1) < 0.5 * SAME_STEADY for each in tried):
            continue
        tried.append(hz)
        tone = _gathered(hz, peaks, heard)
        if tone is not None:
            found.append(tone)
        if len(found) >= MOST_TONES:
            break
    return sorted(found, key=lambda tone: -tone.above_mesh_db)


def _candidates(peaks: Sequence[_Peaks]) -> list[float]:
    """Places of all free peaks, the loudest first."""
    places = np.concatenate([p.hz[p.free] for p in peaks])
    levels = np.concatenate([p.level_db[p.free] for p in peaks])
    return [float(places[k]) for k in np.argsort(-levels)]


def _peaks(take: Ready, heard: Heard | None) -> _Peaks:
    spectrum = averaged_spectrum(take.slow, take.slow_hz, resolution_hz=1.0, scaling="power")
    inside = max(8, min(len(spectrum), int(take.top_hz / spectrum.step)))
    values = spectrum.values[:inside].astype(float)
    floor = noise_floor(spectrum)
    over = values / np.maximum(np.asarray(getattr(floor, "values", floor))[:inside], 1e-30)
    top = np.r_[False, (values[1:-1] >= values[:-2]) & (values[1:-1] > values[2:]), False]
    places = np.flatnonzero(top & (over > PROMINENT))
    places = places[np.argsort(-values[places])][:MOST_PEAKS]
    hz = _between_bins(values, places) * spectrum.step
    train = train_lines(heard, take.top_hz) if heard else np.zeros(0)
    strongest, free = float(values.max()), np.ones(places.size, dtype=bool)
    if train.size:
        bins = np.clip(np.rint(train / spectrum.step).astype(int), 1, inside - 2)
        strongest = float(max(values[bins + k].max() for k in (-1, 0, 1)))
        free = np.min(np.abs(hz[:, None] - train[None, :]), axis=1, initial=np.inf) > APART_HZ
    double = np.clip(2 * places, 1, inside - 2)
    second = np.maximum.reduce([values[double + k] for k in (-1, 0, 1)])
    own = values[places] + np.where(2 * places < inside - 1, second, 0.0)
    rest = values.sum() / HANN_LEAK - own
    return _Peaks(
        hz=hz,
        over=over[places],
        level_db=10 * np.log10(values[places] / max(strongest, 1e-30)),
        of_all=own / np.maximum(rest, 1e-3 * own),
        free=free,
        train=train,
    )


def _between_bins(values: Numbers, places: NDArray[np.intp]) -> Numbers:
    """Where peaks stand between bins: the top of a parabola through three logarithms."""
    low, middle, high = (np.log(np.maximum(values[places + k], 1e-30)) for k in (-1, 0, 1))
    bend = np.minimum(low - 2 * middle + high, -1e-9)
    return np.asarray(places + np.clip(0.5 * (low - high) / bend, -0.5, 0.5))


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


def _gathered(
    hz: float, peaks: Sequence[_Peaks], heard: Sequence[Heard | None]
) -> FixedTone | None:
    open_takes = [n for n, p in enumerate(peaks) if not _covered(hz, p)]
    if len(open_takes) < max(FEWEST, 0.4 * len(peaks)):
        return None
    for width in (SAME_STEADY, SAME_LOOSE):
        found: dict[int, int] = {}
        for number in open_takes:
            near = np.flatnonzero(np.abs(peaks[number].hz / hz - 1) < width)
            if near.size:
                found[number] = int(near[int(np.argmax(peaks[number].level_db[near]))])
        if len(found) >= max(FEWEST, SHARE * len(open_takes)):
            return _tone(found, len(open_takes), peaks, heard)
    return None


def _covered(hz: float, peaks: _Peaks) -> bool:
    return bool(peaks.train.size and np.min(np.abs(peaks.train - hz)) < APART_HZ)


def _tone(
    found: dict[int, int], of: int, peaks: Sequence[_Peaks], heard: Sequence[Heard | None]
) -> FixedTone:
    hz = np.array([peaks[n].hz[k] for n, k in found.items()])
    levels = np.array([peaks[n].level_db[k] for n, k in found.items()])
    of_all = np.array([peaks[n].of_all[k] for n, k in found.items()])
    return FixedTone(
        hz=float(np.median(hz)),
        spread=scatter(hz),
        share=len(found) / of,
        takes=tuple(found),
        over_floor=float(np.median([peaks[n].over[k] for n, k in found.items()])),
        above_mesh_db=float(np.median(levels)),
        upper_db=float(np.quantile(levels, 2 / 3)),
        of_all_db=float(10 * np.log10(np.quantile(of_all, 0.25) + 1e-30)),
        tied=_tied(hz, [heard[n] for n in found]),
    )


def scatter(values: Numbers) -> float:
    """Robust relative standard deviation about the median, never finer than a peak is read."""
    middle = float(np.median(values))
    return max(FINEST, NORMAL * float(np.median(np.abs(values / middle - 1.0))))


def _tied(hz: Numbers, heard: Sequence[Heard | None]) -> float:
    """Least scatter of the tone's place over the speed of one rotor."""
    names = {name for take in heard if take for name in take.turning.rotors}
    least = float("nan")
    for name in sorted(names):
        pairs = [
            (place, speed)
            for place, take in zip(hz, heard, strict=True)
            if take and (speed := take.rotor_hz(name))
        ]
        if len(pairs) >= FEWEST:
            least = float(np.fmin(least, scatter(np.array([a / b for a, b in pairs]))))
    return least
