"""One take laid on shaft angle: its band envelopes and its line spectrum, ready to be searched."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import TakeSpeed
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.machine.train import Rotor, Turning
from vibecheck.spectra.envelope import band_envelope, guarded, transformed
from vibecheck.spectra.whitening import floor_whitened

Floats = NDArray[np.float32]

LOWEST_BAND_HZ = 180.0
EVEN_OUT_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandEnvelope:
    """Squared envelope of one band against time, its own loudness evened out (mean about 1)."""

    low_hz: float
    high_hz: float
    squared: Floats
    rate_hz: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """A take whose speed is known.

    ``group`` is the rigid group whose track is known; ``envelopes`` come in half-overlapping
    octaves, the whole band last. ``floating`` maps further rigid groups (the motor, behind its
    belt) to their speed over the track's, where it was found; ``guessed`` the others to what the
    table lets one expect, and how far that may be off, relative. ``belts`` maps belts that were
    heard to the rate at which they go round, over the track's speed.
    """

    ready: Ready
    speed: TakeSpeed
    turning: Turning
    group: str
    track: SpeedTrack
    envelopes: tuple[BandEnvelope, ...]
    floating: Mapping[str, float] = field(default_factory=dict)
    guessed: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    belts: Mapping[str, float] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """Lever position it was heard at."""
        return self.turning.label

    @property
    def turns(self) -> float:
        """Turns of the group's first rotor in the take."""
        return float(self.track.turns_at(np.array([0.0, self.ready.seconds]))[-1])

    @property
    def base_hz(self) -> float:
        """Mean speed of the group's first rotor."""
        return self.track.mean_hz

    def rotors(self) -> Iterator[Rotor]:
        """Rotors tied to the track by teeth."""
        return (r for r in self.turning.rotors.values() if r.group == self.group)

    def ratio(self, name: str) -> float | None:
        """Speed of a rotor over the track's, when its group's speed is known."""
        rotor = self.turning.rotors.get(name)
        if rotor is None:
            return None
        if rotor.group == self.group:
            return rotor.ratio
        group = self.floating.get(rotor.group)
        return None if group is None else group * rotor.ratio

    def rotor_hz(self, name: str) -> float | None:
        """Mean speed of a rotor, when its group's speed is known."""
        ratio = self.ratio(name)
        return None if ratio is None else self.base_hz * ratio

    def expected_ratio(self, name: str) -> tuple[float, float] | None:
        """Speed of a rotor over the track's as far as it can be told, and how far off it may be."""
        known, rotor = self.ratio(name), self.turning.rotors.get(name)
        if known is not None:
            return known, 0.0
        if rotor is None or rotor.group not in self.guessed:
            return None
        middle, reach = self.guessed[rotor.group]
        return middle * rotor.ratio, reach

    def expected_ratios(self) -> dict[str, float]:
        """Every rotor's speed over the track's, known or expected."""
        found = {name: self.expected_ratio(name) for name in self.turning.rotors}
        return {name: ratio[0] for name, ratio in found.items() if ratio is not None}

    def turning_ratios(self) -> dict[str, float]:
        """Every rotor of known speed, with its speed over the track's."""
        found = {name: self.ratio(name) for name in self.turning.rotors}
        return {name: ratio for name, ratio in found.items() if ratio is not None}


def heard(ready: Ready, speed: TakeSpeed) -> Heard | None:
    """Lay a take on angle; None when its speed was not found."""
    if not speed.found or speed.turning is None:
        return None
    group, track = next(iter(speed.tracks.items()))
    return Heard(
        ready=ready,
        speed=speed,
        turning=speed.turning,
        group=group,
        track=track,
        envelopes=tuple(_envelopes(ready)),
        floating={
            name: other.mean_hz / track.mean_hz
            for name, other in speed.tracks.items()
            if name != group
        },
    )


def _envelopes(ready: Ready) -> Iterator[BandEnvelope]:
    whole = floor_whitened(transformed(ready.samples, ready.rate_hz))
    top_hz = 0.96 * ready.take.recording.top_hz
    for low_hz, high_hz in octaves(min(LOWEST_BAND_HZ, top_hz / 4), top_hz):
        made = guarded(band_envelope(whole, low_hz, high_hz), stretch=EVEN_OUT_S)
        yield BandEnvelope(
            low_hz=low_hz, high_hz=high_hz, squared=made.squared, rate_hz=made.rate_hz
        )


def octaves(low_hz: float, high_hz: float) -> list[tuple[float, float]]:
    """Half-overlapping octaves from ``low_hz`` up to ``high_hz``, then the whole.

    >>> [(round(a), round(b)) for a, b in octaves(200, 800)]
    [(200, 400), (283, 566), (400, 800), (200, 800)]
    """
    bands = []
    edge = low_hz
    while edge * 2 <= high_hz * 1.02:
        bands.append((edge, min(2 * edge, high_hz)))
        edge *= 2**0.5
    return [*bands, (low_hz, high_hz)]


def turn_profiles(envelope: BandEnvelope, track: SpeedTrack, ratio: float, bins: int) -> Floats:
    """Mean squared envelope in each of ``bins`` parts of every turn of a rotor.

    Returns
    -------
    ndarray of float32, shape (turns, bins)
        Whole turns only.
    """
    times = np.arange(envelope.squared.size + 1) / envelope.rate_hz
    angle = track.turns_at(times) * ratio
    running = np.concatenate([[0.0], np.cumsum(envelope.squared, dtype=np.float64)])
    turns = int(angle[-1])
    if turns < 1:
        return np.zeros((0, bins), dtype=np.float32)
    edges = np.arange(turns * bins + 1) / bins
    sums = np.diff(np.interp(edges, angle, running))
    spent = np.diff(np.interp(edges, angle, times)) * envelope.rate_hz
    made: Floats = (sums / np.maximum(spent, 1e-9)).reshape(turns, bins).astype(np.float32)
    return made
