"""From time to shaft angle: a drifting speed smears every line, an angle axis draws it sharp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import SpeedError
from vibecheck.spectra.spectrum import Floats

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeedTrack:
    """A shaft's speed against time, straight between the points, level beyond them.

    Attributes
    ----------
    times_s, hz : ndarray of float64, shape (points,)
        Times rising; turns a second above 0.
    """

    times_s: Numbers
    hz: Numbers

    def __post_init__(self) -> None:
        rising = np.all(np.diff(self.times_s) > 0)
        if self.times_s.shape != self.hz.shape or not rising or not np.all(self.hz > 0):
            raise SpeedError("a speed track must rise in time and stay above 0", "Check the track.")

    @property
    def drift_hz(self) -> float:
        """Fastest less slowest."""
        return float(np.ptp(self.hz))

    def speed_at(self, times_s: Numbers) -> Numbers:
        """Turns a second at the given times."""
        return np.interp(times_s, self.times_s, self.hz)

    def turns_at(self, times_s: Numbers) -> Numbers:
        """Turns made since time 0, exact for straight pieces.

        >>> track = SpeedTrack(times_s=np.array([0.0, 2.0]), hz=np.array([10.0, 20.0]))
        >>> track.turns_at(np.array([0.0, 1.0, 2.0, 3.0])).tolist()
        [0.0, 12.5, 30.0, 50.0]
        """
        knots = np.union1d(self.times_s, times_s)
        knots = np.union1d(knots, [0.0])
        speed = self.speed_at(knots)
        turns = np.r_[0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(knots))]
        turns -= np.interp(0.0, knots, turns)
        return np.interp(times_s, knots, turns)


def resampled_to_angle(
    samples: Floats, rate_hz: float, track: SpeedTrack, *, per_turn: int
) -> Floats:
    """Samples at equal steps of shaft angle, cubic between the recorded ones.

    ``per_turn`` must be above twice the highest order wanted. What lies above half of ``per_turn``
    orders folds down, so choose it from the recording's rate: rate over speed, or more.

    Returns
    -------
    ndarray of float32, shape (whole turns * per_turn,)
    """
    count = samples.size
    seconds = count / rate_hz
    coarse = np.linspace(0.0, seconds, max(64, 20 * track.times_s.size))
    turns = track.turns_at(coarse)
    whole = int(turns[-1])
    if whole < 1:
        raise SpeedError("less than one turn in this recording", "Record for longer.")
    angle = np.arange(whole * per_turn) / per_turn
    places = np.interp(angle, turns, coarse) * rate_hz
    return cubic_at(samples, places)


def cubic_at(samples: Floats, places: Numbers) -> Floats:
    """Catmull-Rom cubic through the samples, at fractional places."""
    index = np.clip(places.astype(np.intp), 1, samples.size - 3)
    part = (places - index).astype(np.float32)
    before, here, after, beyond = (samples[index + way] for way in (-1, 0, 1, 2))
    bend = 2.0 * before - 5.0 * here + 4.0 * after - beyond
    twist = 3.0 * (here - after) + beyond - before
    between = here + 0.5 * part * (after - before + part * (bend + part * twist))
    return np.asarray(between, dtype=np.float32)


def levelled(values: Floats, rate_hz: float, track: SpeedTrack, mean_hz: float) -> Floats:
    """Slow values stretched and squeezed in time until the speed is ``mean_hz`` throughout.

    The axis stays in seconds, so that spectra stay in hertz at the mean speed.
    """
    seconds = values.size / rate_hz
    coarse = np.linspace(0.0, seconds, max(64, 20 * track.times_s.size))
    turns = track.turns_at(coarse)
    wanted = np.arange(int(turns[-1] / mean_hz * rate_hz)) * (mean_hz / rate_hz)
    places = np.interp(wanted, turns, coarse) * rate_hz
    even = np.interp(places, np.arange(values.size), values)
    return np.asarray(even, dtype=np.float32)
