"""The speed of one rigid group through one take, from coarse frames down to phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from vibecheck.diagnosis.speeds.lines import PinningLines, comb_scores

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

FRAME_S = 1.0
HOP_S = 0.5
CAP = 6.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Short spectra of a take: log power over the local floor, held to ``CAP``.

    ``significance`` has shape (frames, bins); frame i is centred at ``times_s[i]``.
    """

    significance: NDArray[np.float32]
    step_hz: float
    times_s: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeedTrack:
    """Speed of a group's first rotor against time; ``hz`` holds at ``times_s``."""

    times_s: Floats
    hz: Floats

    @property
    def mean_hz(self) -> float:
        """Mean speed over the take."""
        return float(self.hz.mean())

    @property
    def drift(self) -> float:
        """Slowest to fastest, relative to the mean."""
        return float(np.ptp(self.hz) / self.hz.mean())

    def turns_at(self, times_s: Floats) -> Floats:
        """Turns made since time 0, at each of ``times_s`` (rising)."""
        speed = np.interp(times_s, self.times_s, self.hz)
        steps = np.diff(times_s, prepend=times_s[0])
        middle = speed.copy()
        middle[1:] = 0.5 * (speed[1:] + speed[:-1])
        return np.asarray(np.cumsum(middle * steps), dtype=float)


def short_spectra(samples: Samples, rate_hz: float, hums_hz: float) -> Frames:
    """Cut a take into half-overlapping seconds and weigh every bin against its surroundings.

    Bins on multiples of ``hums_hz`` (twice the mains) are silenced: they never follow the train.
    """
    size = min(int(FRAME_S * rate_hz), samples.size)
    hop = max(1, int(HOP_S * rate_hz))
    windows = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop]
    taper = np.hanning(size).astype(np.float32)
    padded = scipy.fft.next_fast_len(2 * size, real=True)
    power = np.abs(scipy.fft.rfft(windows * taper, n=padded, axis=1)) ** 2
    step_hz = rate_hz / padded
    logged = np.log(power + np.float32(1e-20)).astype(np.float32)
    floor = _floor(logged, step_hz)
    significance = np.clip(logged - floor - np.float32(1.0), 0.0, CAP).astype(np.float32)
    _silence(significance, step_hz, hums_hz)
    times = ((np.arange(len(windows)) * hop + size / 2) / rate_hz).astype(np.float64)
    return Frames(significance=significance, step_hz=step_hz, times_s=times)


def _floor(logged: NDArray[np.float32], step_hz: float) -> NDArray[np.float32]:
    thin = max(1, int(8.0 / step_hz))
    bins = logged.shape[1]
    usable = bins - bins % thin
    coarse = np.median(logged[:, :usable].reshape(len(logged), -1, thin), axis=2)
    coarse = median_filter(coarse, size=(1, 7), mode="nearest")
    centre = (np.arange(coarse.shape[1]) + 0.5) * thin
    place = np.arange(bins)
    return np.stack([np.interp(place, centre, row) for row in coarse]).astype(np.float32)


def _silence(significance: NDArray[np.float32], step_hz: float, hums_hz: float) -> None:
    if hums_hz <= 0:
        return
    top = significance.shape[1] * step_hz
    for hum in np.arange(hums_hz, min(top, 20 * hums_hz), hums_hz):
        middle, half = round(hum / step_hz), int(np.ceil(1.2 / step_hz))
        significance[:, max(0, middle - half) : middle + half + 1] = 0.0


def coarse_track(
    frames: Frames, lines: PinningLines, low_hz: float, high_hz: float
) -> tuple[SpeedTrack, float]:
    """Best continuous speed path between two limits, and its mean score.

    A path may change by 0.4 % from one half second to the next, and pays for doing so.
    """
    grid, scores = score_map(frames, lines, low_hz, high_hz)
    step = grid[1] / grid[0] - 1.0
    reach = max(1, int(np.ceil(0.004 / step)))
    cost = (0.5 * (np.arange(-reach, reach + 1) * step / 0.0015) ** 2 * 0.3).astype(np.float32)
    best = scores[0].astype(np.float64)
    back = np.zeros(scores.shape, dtype=np.int32)
    for index in range(1, len(scores)):
        padded = np.pad(best, reach, constant_values=-1e9)
        options = np.stack([padded[k : k + grid.size] - cost[k] for k in range(2 * reach + 1)])
        back[index] = options.argmax(axis=0) - reach
        best = options.max(axis=0) + scores[index]
    path = np.zeros(len(scores), dtype=int)
    path[-1] = int(best.argmax())
    for index in range(len(scores) - 1, 0, -1):
        path[index - 1] = np.clip(path[index] + back[index, path[index]], 0, grid.size - 1)
    track = SpeedTrack(times_s=frames.times_s, hz=grid[path])
    return track, float(best.max() / len(scores))


def score_map(
    frames: Frames, lines: PinningLines, low_hz: float, high_hz: float
) -> tuple[Floats, NDArray[np.float32]]:
    """Scores on a grid fine enough for the highest line; shapes (trials,), (frames, trials)."""
    fine = 0.35 * frames.step_hz / float(lines.orders.max())
    trials = max(8, int(np.ceil(np.log(high_hz / low_hz) / (fine / low_hz))))
    grid = np.geomspace(low_hz, high_hz, trials)
    return grid, comb_scores(frames.significance, frames.step_hz, grid, lines)


def by_angle(samples: Samples, rate_hz: float, track: SpeedTrack, per_turn: int) -> Samples:
    """Samples at even steps of shaft angle, ``per_turn`` to the turn of the group's first rotor.

    Linear interpolation: ``samples`` should be sampled at four times the highest tone or more.
    """
    times = np.arange(samples.size) / rate_hz
    turns = track.turns_at(times)
    wanted = np.arange(int(turns[-1] * per_turn)) / per_turn
    return np.interp(wanted, turns, samples).astype(np.float32)


def refined(
    samples: Samples,
    rate_hz: float,
    track: SpeedTrack,
    lines: PinningLines,
    *,
    half_width_hz: float,
) -> tuple[SpeedTrack, float]:
    """Follow the phase of every line at once; returns the better track and its relative error.

    Each line, laid on the angle the track implies, is shifted to zero and filtered; what phase is
    left tells how wrong the track is. The lines vote by their strength over the floor beside them,
    and one that disagrees with the rest is left out.
    """
    per_turn = int(np.ceil(2.2 * float(lines.orders.max())) + 2)
    per_turn = max(per_turn, int(0.5 * rate_hz / track.mean_hz))
    angle = by_angle(samples, rate_hz, track, per_turn)
    frames = scipy.fft.next_fast_len(angle.size, real=True)
    whole = scipy.fft.rfft(angle, n=frames)
    turns = frames / per_turn
    half = max(3, round(half_width_hz / track.mean_hz * turns))
    size = 2 * half
    pieces = []
    for order in _apart(lines.orders, half_width_hz / track.mean_hz):
        middle = round(order * turns)
        if middle - half < 1 or middle + half >= whole.size:
            continue
        band = whole[middle - half : middle + half]
        noise = np.median(
            np.abs(
                np.concatenate(
                    [
                        whole[max(1, middle - 4 * half) : middle - half],
                        whole[middle + half : middle + 4 * half],
                    ]
                )
            )
            ** 2
        ) / np.log(2.0)
        offset = order * turns - middle
        taper = np.hanning(size + 2)[1:-1]
        shifted = np.fft.ifft(np.fft.ifftshift(band * taper))
        shifted = shifted * np.exp(-2j * np.pi * offset * np.arange(size) / size)
        gain = float(np.mean(np.abs(shifted) ** 2)) * size / max(noise * np.mean(taper**2), 1e-30)
        pieces.append((float(order), shifted / np.sqrt(max(noise, 1e-30)), gain))
    if not pieces:
        return track, float("inf")
    keep = int(size * angle.size / frames)
    per_turn_slow = size / turns
    return _vote(pieces, track, keep, per_turn_slow)


def _apart(orders: Floats, half_width: float) -> Floats:
    """Lines with no neighbour inside their filter; all of them when none stands alone."""
    gaps = np.diff(orders, prepend=-np.inf, append=np.inf)
    alone = np.minimum(gaps[:-1], gaps[1:]) > 1.5 * half_width
    return orders[alone] if alone.any() else orders


def _vote(
    pieces: list[tuple[float, NDArray[np.complex128], float]],
    track: SpeedTrack,
    keep: int,
    per_turn: float,
) -> tuple[SpeedTrack, float]:
    deviations, weights = [], []
    tops, bottoms = [], []
    for order, heard, _gain in pieces:
        heard = heard[:keep]
        turned = heard[1:] * np.conj(heard[:-1])
        scale = per_turn / (2 * np.pi * order)
        strength = np.abs(turned)
        deviations.append(float(np.angle(turned.sum()) * scale))
        weights.append(float(abs(turned.sum()) * order**2))
        tops.append(turned.imag * order)
        bottoms.append(strength * order**2 / scale * (2 * np.pi * order) / (2 * np.pi * order))
    centre = _weighted_median(np.array(deviations), np.array(weights))
    spread = _weighted_median(np.abs(np.array(deviations) - centre), np.array(weights))
    allowed = max(4.0 * spread, 1e-5)
    good = [k for k, value in enumerate(deviations) if abs(value - centre) <= allowed]
    top = np.sum([tops[k] for k in good], axis=0)
    bottom = np.sum([bottoms[k] for k in good], axis=0)
    smooth = max(1.0, 1.0 * track.mean_hz * per_turn / 2)
    top, bottom = gaussian_filter1d(top, smooth), gaussian_filter1d(bottom, smooth)
    local = top / np.maximum(bottom, 1e-12 * bottom.max())
    turns = (np.arange(local.size) + 0.5) / per_turn
    times = np.linspace(0.0, track.times_s[-1] + track.times_s[0], max(64, 2 * track.hz.size))
    at = np.interp(track.turns_at(times), turns, local)
    hz = np.interp(times, track.times_s, track.hz) * (1.0 + at)
    values = np.array([deviations[k] for k in good])
    share = np.array([weights[k] for k in good])
    error = float(
        np.sqrt(np.sum(share * (values - centre) ** 2) / share.sum() / max(len(good) - 1, 1))
    )
    return SpeedTrack(times_s=times, hz=hz), max(error, 1e-6)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderSignificance:
    """Power over the local floor against order; ``values[i]`` is at ``i / turns``."""

    values: NDArray[np.float32]
    turns: float

    def peaks_at(self, orders: Floats) -> NDArray[np.float32]:
        """Largest of the three bins about each order; 0 beyond the axis."""
        middle = np.rint(np.asarray(orders) * self.turns).astype(int)
        inside = (middle >= 1) & (middle < self.values.size - 1)
        middle = np.where(inside, middle, 1)
        near = np.maximum(
            np.maximum(self.values[middle - 1], self.values[middle]), self.values[middle + 1]
        )
        return np.where(inside, near, np.float32(0.0))


def order_significance(
    samples: Samples, rate_hz: float, track: SpeedTrack, top_order: float
) -> OrderSignificance:
    """Spectrum against shaft angle over its own floor (running median of about 60 bins)."""
    per_turn = int(np.ceil(2.4 * top_order) + 2)
    per_turn = max(per_turn, int(0.5 * rate_hz / track.mean_hz))
    angle = by_angle(samples, rate_hz, track, per_turn)
    frames = scipy.fft.next_fast_len(angle.size, real=True)
    lines = scipy.fft.rfft(angle * np.hanning(angle.size).astype(np.float32), n=frames)
    power = np.square(lines.real) + np.square(lines.imag)
    coarse = power[: power.size - power.size % 16].reshape(-1, 16)
    floor = median_filter(np.median(coarse, axis=1), size=5, mode="nearest") / np.log(2.0)
    centre = (np.arange(floor.size) + 0.5) * 16
    level = np.interp(np.arange(power.size), centre, floor)
    return OrderSignificance(
        values=(power / np.maximum(level, 1e-30)).astype(np.float32), turns=frames / per_turn
    )


def sharpened(
    samples: Samples, rate_hz: float, track: SpeedTrack, lines: PinningLines
) -> SpeedTrack:
    """Shift the whole track by the small factor at which all its lines stand highest together."""
    heard = order_significance(samples, rate_hz, track, float(lines.orders.max()))
    shifts = np.linspace(-1.5e-3, 1.5e-3, 301)
    place = (1.0 + shifts[:, np.newaxis]) * lines.orders * heard.turns
    left = np.clip(place.astype(int), 0, heard.values.size - 2)
    share = np.clip(place - left, 0.0, 1.0)
    value = heard.values[left] * (1 - share) + heard.values[left + 1] * share
    score = np.log1p(value) @ lines.weights
    best = int(score.argmax())
    near = slice(max(0, best - 3), best + 4)
    bend = np.polyfit(shifts[near], score[near], 2)
    shift = shifts[best]
    if bend[0] < 0:
        shift = float(np.clip(-bend[1] / (2 * bend[0]), shifts[near][0], shifts[near][-1]))
    return SpeedTrack(times_s=track.times_s, hz=track.hz * (1.0 + shift))
