"""The speed of one shaft through one take, from the lines of its own turns."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.diagnosis.speeds.turn_combs import TurnLines, hum_places, turn_lines
from vibecheck.spectra.combs import SlowSignals

Floats = NDArray[np.float64]

TILTS = np.array(
    [0.0, 0.0007, -0.0007, 0.0014, -0.0014, 0.0024, -0.0024, 0.004, -0.004, 0.007, -0.007]
)
"""Changes of speed over a take, relative, that are tried."""
TILT_TOLL = 1.5
CROWDED = 3.0
"""Bins about another shaft's line that are left alone."""
CLEAR, PLAIN = 9.0, 100.0
"""Power over floor at which a line pulls on the speed, and at which its phase can be followed."""
BLOCK_S = 1.5
LEAST_ERROR = 2e-5
UNFOLLOWED = 1.2e-4
"""What a speed that sways through a take adds where its phase could not be followed."""
LOST = 5e-4
"""A phase that leads further from the spectrum's speed than this has lost count of turns."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnSpeed:
    """Speed of a shaft from its own turns.

    ``error`` is the relative standard uncertainty of the mean; ``multiples`` the lines that pulled
    on it; ``plain`` those whose phase can be followed, and ``followed`` whether it was;
    ``sureness`` -ln of the chance that some comb does as well.
    """

    track: SpeedTrack
    error: float
    multiples: tuple[float, ...]
    plain: tuple[float, ...] = ()
    followed: bool = False
    sureness: float = 0.0


def turn_speed(
    slow: SlowSignals,
    rough_hz: float,
    orders: Floats,
    *,
    hum_hz: float,
    course: SpeedTrack | None = None,
    foreign_hz: Floats | None = None,
) -> TurnSpeed | None:
    """Follow the lines of a shaft that turns at about ``rough_hz``.

    Parameters
    ----------
    slow : SlowSignals
    rough_hz : float
        Good to a bin of the lowest line.
    orders : ndarray
        Multiples of the speed where lines may be.
    hum_hz : float
        Mains; its multiples are no shaft's.
    course : SpeedTrack, optional
        How another shaft of the same train ran: the shape is shared, the speed is not.
    foreign_hz : ndarray, optional
        Lines that are known to be another shaft's.

    Returns
    -------
    TurnSpeed or None
        None when no line stands clear.
    """
    strange = np.zeros(0) if foreign_hz is None else foreign_hz
    orders = orders[_clear_of(orders * rough_hz, strange, CROWDED / slow.seconds)]
    both = np.concatenate([strange, hum_places(hum_hz)])
    alone = orders[_clear_of(orders * rough_hz, both, 2.4 / BLOCK_S)]
    best: tuple[float, TurnSpeed] | None = None
    for track in _courses(slow.seconds, rough_hz, course):
        lines = turn_lines(slow, track, hum_hz)
        made = _pulled(lines, track, orders, slow.seconds)
        if made is None:
            continue
        value, speed = made
        if track is not None and best is not None:
            value -= TILT_TOLL
        if best is None or value > best[0]:
            best = value, speed
    if best is None:
        return None
    found = best[1]
    plain = tuple(order for order in found.plain if order in alone)
    return _followed(slow, replace(found, plain=plain))


def _clear_of(places_hz: Floats, foreign_hz: Floats, reach_hz: float) -> NDArray[np.bool_]:
    if not foreign_hz.size:
        return np.ones(places_hz.size, dtype=bool)
    clear: NDArray[np.bool_] = (
        np.abs(places_hz[:, None] - foreign_hz[None, :]).min(axis=1) > reach_hz
    )
    return clear


def _courses(seconds: float, rough_hz: float, course: SpeedTrack | None) -> list[SpeedTrack]:
    times = np.array([0.0, seconds])
    if course is not None:
        return [SpeedTrack(times_s=course.times_s, hz=course.hz * (rough_hz / course.mean_hz))]
    return [
        SpeedTrack(times_s=times, hz=rough_hz * (1.0 + tilt * np.array([-0.5, 0.5])))
        for tilt in TILTS
    ]


def _pulled(
    sets: list[TurnLines], track: SpeedTrack, orders: Floats, seconds: float
) -> tuple[float, TurnSpeed] | None:
    """Least squares of the clear lines on their multiples; their summed log power beside it."""
    base = track.mean_hz
    shift, seen = 0.0, []
    for _ in range(3):
        seen = [
            (float(order), float(lines.hz[at] / order / base - 1.0), float(lines.over[at]))
            for lines in sets
            for order in orders
            for at in [_nearest(lines, order * base * (1.0 + shift))]
            if at >= 0
            and lines.over[at] >= CLEAR
            and abs(lines.hz[at] - order * base * (1.0 + shift)) < 0.9 * lines.step_hz
        ]
        if not seen:
            return None
        weight = np.array([order**2 * min(over, 400.0) for order, _, over in seen])
        miss = np.array([each for _, each, _ in seen])
        shift = float(np.sum(weight * miss) / weight.sum())
    # A steady tone under a Hann window: 0.32 / (seconds * sqrt(power over floor)) hertz.
    single = 0.32 / (seconds * base) / np.sqrt(weight.sum())
    scatter = float(np.sqrt(np.sum(weight * (miss - shift) ** 2) / weight.sum()))
    error = float(np.hypot(single, scatter / np.sqrt(max(len(seen) - 1, 1))))
    value = float(sum(np.log(over) for _, _, over in seen))
    made = TurnSpeed(
        track=SpeedTrack(times_s=track.times_s, hz=track.hz * (1.0 + shift)),
        error=float(np.hypot(error, LEAST_ERROR)),
        multiples=tuple(sorted({order for order, _, _ in seen})),
        plain=tuple(sorted({order for order, _, over in seen if over >= PLAIN})),
    )
    return value, made


def _nearest(lines: TurnLines, place_hz: float) -> int:
    if not lines.hz.size:
        return -1
    return int(np.argmin(np.abs(lines.hz - place_hz)))


def _followed(slow: SlowSignals, speed: TurnSpeed) -> TurnSpeed:
    """Follow the phase of the plain lines second by second, where there are any.

    A spectrum weighs the middle of a take; phase counts every turn of it.
    """
    unfollowed = replace(speed, error=float(np.hypot(speed.error, UNFOLLOWED)))
    if not speed.plain:
        return unfollowed
    samples, rate_hz = slow.signals[0]
    size, hop = int(BLOCK_S * rate_hz), int(0.5 * BLOCK_S * rate_hz)
    starts = np.arange(0, samples.size - size + 1, hop)
    if starts.size < 6:
        return unfollowed
    angle = speed.track.turns_at(np.arange(samples.size) / rate_hz)
    taper = np.hanning(size)
    total, weights = np.zeros(starts.size), np.zeros(starts.size)
    for order in speed.plain:
        turned = samples * np.exp(-2j * np.pi * order * angle)
        heard = np.array([np.sum(turned[a : a + size] * taper) for a in starts])
        phase = np.unwrap(np.angle(heard)) / (2 * np.pi * order)
        phase -= np.average(phase, weights=np.abs(heard))
        share = (order * np.abs(heard)) ** 2
        total += share * phase
        weights += share
    ahead = total / np.maximum(weights, 1e-30)
    times = np.asarray((starts + size / 2) / rate_hz, dtype=np.float64)
    rough = ahead - gaussian_filter1d(ahead, 1.0)
    extra = np.gradient(gaussian_filter1d(ahead, 1.0, mode="nearest"), times)
    hz = np.interp(times, speed.track.times_s, speed.track.hz) + extra
    moved = float((ahead[-1] - ahead[0]) / (times[-1] - times[0]))
    noise = float(np.std(rough)) * 1.4 / (times[-1] - times[0])
    mean = speed.track.mean_hz + moved
    hz = hz + (mean - hz.mean())
    apart = abs(moved) / speed.track.mean_hz
    if apart > LOST:
        return unfollowed
    return TurnSpeed(
        track=SpeedTrack(times_s=times, hz=hz),
        error=float(np.sqrt((noise / mean) ** 2 + LEAST_ERROR**2 + (0.25 * apart) ** 2)),
        multiples=speed.multiples,
        plain=speed.plain,
        followed=True,
    )
