"""What a tone does when the power is cut: gone at once, gliding down, or still there.

Electrical tones die with the current. Mechanical ones fall in pitch, all by the same fraction: the
machine's own fall is found first, as the one that makes the sound after the cut look like the
sound before it on a stretched axis. A tone that took part in it is mechanical.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready

Numbers = NDArray[np.float64]
Ending = Literal["stops", "glides", "stays", "cannot tell"]

HOP_S, WINDOW_S = 0.05, 0.30
FOLLOWED_S = 0.6
FALLS = np.geomspace(0.004, 1.0, 48)
"""Relative fall a second that is tried: a heavy chuck coasts for minutes, a small drill stops at
once."""
MISSED_AFTER_S = 0.50
"""The machine has been falling for no longer than this when it is followed."""
STILL_AS_STRONG, WEAKER = 0.35, 0.25
"""Strength on the way down, over that before, at which a tone took part in the fall; and did not.
Between them nothing is said: resonances and the load going off change strengths."""
MOST_TONES, TOOK_PART = 10, 0.5
"""The fall is believed when the strongest tones keep this much of themselves on the way down."""
QUIET = 0.3
LOWEST_HZ = 20.0
LOG_STEP = 0.0015


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fall:
    """How a machine's pitches fell: turned back to even, each is ``ratio`` of what it was."""

    ratio: float
    after: Numbers
    step_hz: float

    def strength(self, hz: float) -> float:
        """Amplitude, on the way down, of the tone that was at ``hz``."""
        place = round(hz * self.ratio / self.step_hz)
        near = self.after[max(0, place - 2) : place + 3]
        return float(near.max()) if near.size else 0.0


def ending(take: Ready, hz: float) -> Ending:
    """What the tone at ``hz`` does in a take during which the power is cut.

    Parameters
    ----------
    take : Ready
        At least a second of running, then the coast-down.
    hz : float
        The tone while the machine runs.
    """
    heights = _course(take, hz)
    if heights.size < 12:
        return "cannot tell"
    running = float(np.median(heights[: max(5, heights.size // 8)]))
    beside = [_course(take, hz * k)[: heights.size // 3].mean() for k in (0.93, 0.96, 1.04, 1.07)]
    if running < 3.0 * float(np.median(beside)):
        return "cannot tell"
    end = _end(heights, running)
    if end >= heights.size - 4:
        return "stays" if _machine_stopped(take) else "cannot tell"
    if float(np.median(heights[end + 4 :])) > QUIET * running:
        return "cannot tell"
    fall = _fall(take, end * HOP_S)
    if fall is None:
        return "cannot tell"
    after = fall.strength(hz) / running
    if after > STILL_AS_STRONG:
        return "glides"
    return "stops" if after < WEAKER and _dead(heights, end, running) else "cannot tell"


def _dead(heights: Numbers, end: int, running: float) -> bool:
    """Whether the tone is gone as fast as it can be seen to go."""
    gone = heights[end + int(WINDOW_S / HOP_S) + 1 :]
    return gone.size > 0 and float(gone[:6].max()) < QUIET * running


def _course(take: Ready, hz: float) -> Numbers:
    """Amplitude of the tone in short stretches, one every ``HOP_S``."""
    size, hop = int(WINDOW_S * take.slow_hz), int(HOP_S * take.slow_hz)
    if take.slow.size < size:
        return np.zeros(0)
    time = np.arange(take.slow.size) / take.slow_hz
    turned = (take.slow * np.exp(-2j * np.pi * hz * time)).astype(np.complex64)
    taper = np.hanning(size).astype(np.float32)
    stretches = np.lib.stride_tricks.sliding_window_view(turned, size)[::hop]
    return np.asarray(2.0 * np.abs(stretches @ taper) / taper.sum(), dtype=float)


def _end(heights: Numbers, running: float) -> int:
    """Last stretch at which the tone is still as it was."""
    return int(np.cumsum(heights - 0.6 * running).argmax())


def _machine_stopped(take: Ready) -> bool:
    tenth = max(1, take.slow.size // 10)
    before = float(np.std(take.slow[: 2 * tenth]))
    return float(np.std(take.slow[-tenth:])) < 0.5 * before


def _fall(take: Ready, end_s: float) -> Fall | None:
    """The fall common to most tones from about ``end_s``; None when there is no telling."""
    size = int(FOLLOWED_S * take.slow_hz)
    first = int((end_s + WINDOW_S) * take.slow_hz)
    start = max(0, int(end_s * take.slow_hz) - size)
    before, piece = take.slow[start : start + size], take.slow[first : first + size]
    if piece.size < size or before.size < size:
        return None
    step_hz = take.slow_hz / (4 * size)
    running = _amplitudes(before, size)
    reference = _log_shape(running, step_hz, take.top_hz)
    tones = _strongest(running, step_hz, take.top_hz)
    best: tuple[float, Fall] | None = None
    for even, stretched_hz, reach in _straightened(piece, size, take.slow_hz):
        amplitudes = _amplitudes(even, size)
        shape = _log_shape(amplitudes, stretched_hz, take.top_hz)
        scores = [float(reference[k:] @ shape[: shape.size - k]) for k in range(reach + 1)]
        for index in np.argsort(scores)[-3:]:
            made = Fall(
                ratio=float(np.exp(-LOG_STEP * index)), after=amplitudes, step_hz=stretched_hz
            )
            share = float(np.mean([min(1.0, made.strength(hz) / was) for hz, was in tones]))
            if best is None or share > best[0]:
                best = share, made
    return best[1] if best is not None and best[0] > TOOK_PART else None


def _straightened(
    piece: NDArray[np.float32], size: int, rate_hz: float
) -> Iterator[tuple[Numbers, float, int]]:
    """The stretch after the cut, every trial fall undone: samples, axis step, furthest shift."""
    time = np.arange(size) / rate_hz
    for fall in FALLS:
        reach = 2 + int(fall * MISSED_AFTER_S / LOG_STEP)
        for turned in (time - fall * time**2 / 2, (1.0 - np.exp(-fall * time)) / fall):
            even = np.interp(np.linspace(0.0, turned[-1], size), turned, piece)
            yield even, (size - 1) / size / turned[-1] / 4, reach


def _strongest(amplitudes: Numbers, step_hz: float, top_hz: float) -> list[tuple[float, float]]:
    """(hertz, amplitude) of the strongest tones, none within 5 % of another."""
    found: list[tuple[float, float]] = []
    for index in np.argsort(-amplitudes):
        hz = float(index * step_hz)
        if LOWEST_HZ < hz < top_hz and all(abs(hz / other - 1) > 0.05 for other, _ in found):
            found.append((hz, float(amplitudes[index])))
        if len(found) == MOST_TONES:
            break
    return found


def _amplitudes(piece: NDArray[np.floating], size: int) -> Numbers:
    taper = np.hanning(size)
    return np.asarray(2.0 * np.abs(np.fft.rfft(piece * taper, n=4 * size)) / taper.sum())


def _log_shape(amplitudes: Numbers, step_hz: float, top_hz: float) -> Numbers:
    """How far each place of a logarithmic axis stands over its surroundings; mean 0, spread 1."""
    places = np.exp(np.arange(np.log(LOWEST_HZ), np.log(top_hz), LOG_STEP))
    logs = np.log(np.interp(places / step_hz, np.arange(amplitudes.size), amplitudes) + 1e-12)
    width = round(0.25 / LOG_STEP)
    smooth = np.convolve(np.pad(logs, width, mode="edge"), np.ones(2 * width + 1), "valid")
    raised = np.maximum(logs - smooth / (2 * width + 1) - 1.0, 0.0)
    return np.asarray((raised - raised.mean()) / (raised.std() + 1e-9))
