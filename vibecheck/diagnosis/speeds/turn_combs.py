"""Once, twice, three times a turn: how well such a comb sits in a take, at every trial speed.

Where no known teeth mesh, the turning itself is all there is to hear: unbalance, a bend, fan
blades, a pump. A comb is judged by how rare lines as strong as its own are around them.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d
from scipy.special import gammaincc

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.track import SpeedTrack, by_angle
from vibecheck.spectra.combs import SlowSignals, slow_signals
from vibecheck.spectra.envelope import transformed

Floats = NDArray[np.float64]

TOP_HZ = 420.0
HIGHEST_SURPRISE = 5.0
FIRST_LINES = (1, 2, 3, 6, 12)
"""A comb may show its first lines only, or as many as a fan has blades."""
HUM_HZ = 0.25
"""Lines this close to a multiple of the mains belong to no shaft."""
NEIGHBOURS = 60
FLOOR_BINS = 90


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnLines:
    """Peaks of one slow spectrum.

    ``hz`` where they stand (multiplied by the track's mean when laid on its angle), ``over`` their
    power over the floor, ``surprise`` -ln of the share of the axis covered by peaks as strong, and
    ``step_hz`` the spacing of the bins.
    """

    hz: Floats
    over: Floats
    surprise: Floats
    step_hz: float

    def without(self, places_hz: Floats, reach_hz: Floats | float) -> TurnLines:
        """The same less what stands within reach of some places."""
        if not places_hz.size or not self.hz.size:
            return self
        miss = np.abs(self.hz[:, None] - places_hz[None, :])
        keep = ~(miss <= np.broadcast_to(reach_hz, places_hz.shape)[None, :]).any(axis=1)
        return TurnLines(
            hz=self.hz[keep],
            over=self.over[keep],
            surprise=self.surprise[keep],
            step_hz=self.step_hz,
        )


def slow_sound(take: Ready) -> SlowSignals:
    """The low end of a take, and the envelope of all of it."""
    return slow_signals(transformed(take.samples, take.rate_hz), top_hz=TOP_HZ)


def turn_lines(slow: SlowSignals, track: SpeedTrack | None, hum_hz: float) -> list[TurnLines]:
    """Lines of both slow signals, laid on the angle of ``track`` when there is one."""
    found = []
    for samples, rate_hz in slow.signals:
        if track is not None:
            per_turn = int(np.ceil(rate_hz / track.mean_hz))
            samples = by_angle(samples, rate_hz, track, per_turn)
            rate_hz = per_turn * track.mean_hz
        lines = _lines(samples, rate_hz)
        found.append(lines.without(hum_places(hum_hz), HUM_HZ))
    return found


def hum_places(hum_hz: float) -> Floats:
    """Multiples of the mains as far as lines are sought; none without mains."""
    count = int(TOP_HZ / hum_hz) if hum_hz > 0 else 0
    return np.asarray(np.arange(1, count + 1) * hum_hz, dtype=np.float64)


def _lines(samples: NDArray[np.float32], rate_hz: float) -> TurnLines:
    part = samples - samples.mean(dtype=np.float64).astype(np.float32)
    size = scipy.fft.next_fast_len(part.size, real=True)
    power = np.abs(scipy.fft.rfft(part * np.hanning(part.size).astype(np.float32), n=size)) ** 2
    step = rate_hz / size
    power = power[: min(power.size, int(TOP_HZ / step) + 2)].astype(np.float64)
    over = power / np.maximum(_floor(power), 1e-30)
    inner = over[1:-1]
    bins = 1 + np.flatnonzero((inner >= over[:-2]) & (inner > over[2:]) & (inner > 2.0))
    bins = bins[bins * step > 1.0]
    left, middle, right = (np.sqrt(over[bins + k]) for k in (-1, 0, 1))
    # Hann: two neighbouring values give the place of a steady tone exactly.
    shift = np.where(
        right > left,
        (2 * right - middle) / np.maximum(right + middle, 1e-12),
        (middle - 2 * left) / np.maximum(left + middle, 1e-12),
    )
    places = (bins + np.clip(shift, -0.6, 0.6)) * step
    strength = over[bins]
    reach = np.maximum(NEIGHBOURS * step, 0.35 * places)
    near = np.abs(places[:, None] - places[None, :]) <= reach[:, None]
    rivals = np.sum(near & (strength[None, :] >= strength[:, None]), axis=1)
    width = np.minimum(places + reach, TOP_HZ) - np.maximum(places - reach, 0.0)
    surprise = -np.log(np.minimum(1.0, 2.0 * step * rivals / width))
    return TurnLines(
        hz=places,
        over=strength,
        surprise=np.minimum(surprise, HIGHEST_SURPRISE),
        step_hz=step,
    )


def _floor(power: Floats) -> Floats:
    """Median of wider and wider neighbourhoods, as the mean of noise."""
    edges = [0]
    while edges[-1] < power.size:
        edges.append(int(edges[-1] + max(30, min(200, edges[-1] * 0.4))))
    edges[-1] = power.size
    pairs = [(a, b) for a, b in itertools.pairwise(edges) if b - a > 8]
    level = np.array([np.median(power[a:b]) / np.log(2.0) for a, b in pairs])
    centre = np.array([(a + b) / 2 for a, b in pairs])
    return np.asarray(
        np.exp(np.interp(np.arange(power.size), centre, np.log(np.maximum(level, 1e-30))))
    )


def comb_surprise(
    sets: Sequence[TurnLines], base_hz: Floats, orders: Floats, *, blur: float = 0.0
) -> Floats:
    """-ln of the chance that a comb put down anywhere meets such lines, for each trial speed.

    ``orders`` rise; ``blur`` is the relative width over which a drift smears a line.
    """
    rows = []
    for lines in sets:
        got = np.zeros((orders.size, base_hz.size))
        for number, order in enumerate(orders):
            place = order * base_hz
            if place[-1] > TOP_HZ * 0.97 or lines.hz.size < 3:
                break
            after = np.clip(np.searchsorted(lines.hz, place), 1, lines.hz.size - 1)
            width = lines.step_hz + blur * place
            for index in (after - 1, after):
                miss = (lines.hz[index] - place) / width
                near = np.maximum(0.0, 1.0 - miss**2) * lines.surprise[index]
                near = near - np.log(width / lines.step_hz) * (near > 0)
                got[number] = np.maximum(got[number], near)
        rows.append(np.cumsum(got, axis=0))
    options = [*rows, np.sum(rows, axis=0)] if len(rows) > 1 else rows
    best = np.zeros(base_hz.size)
    counts = [n for n in FIRST_LINES if n <= orders.size]
    for number, option in enumerate(options):
        for count in counts:
            tried = count * (2 if number == len(rows) else 1)
            chance = gammaincc(tried, option[count - 1])
            best = np.maximum(best, -np.log(np.maximum(chance, 1e-300)))
    return np.asarray(np.maximum(0.0, best - np.log(len(options) * len(counts))))


def spread_out(curve: Floats, step: float, reach: float) -> Floats:
    """Best within ``reach`` (relative) of each trial speed."""
    bins = 2 * round(reach / step) + 1
    return np.asarray(maximum_filter1d(curve, bins), dtype=np.float64)
