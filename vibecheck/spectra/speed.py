"""Running speed from the recording itself: the comb of whole multiples of one shaft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.spectra.combs import (
    FEWEST_LINES,
    HARMONICS,
    HIGHEST_SURPRISE,
    Lines,
    SlowSignals,
    comb_height,
    comb_lines,
    comb_score,
    nearest,
    score_surprise,
    slow_signals,
)
from vibecheck.spectra.envelope import Transform, transformed
from vibecheck.spectra.orders import SpeedTrack
from vibecheck.spectra.spectrum import Floats

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]
NEAR = 0.015
"""Half the trust goes to speeds this close to the nominal, half to the whole searched range."""
BELIEVED = 1e-3
"""A comb that chance would show this often somewhere in the range is not believed."""
DRIFT_GAIN = 3.0
"""How much more surprising (natural log units) a comb must become for a drift to be believed, and
how much its lines must rise together; twice as surprising where no steady comb was believed."""
SHARP = (6, 7, 8, 9, 10)
"""A steady comb that meets all of these leaves no room for a drift worth following."""
MAINS_KEEP = 1e-3
"""How well the mains keep their rate; an induction motor slips by more than this even idle."""
STRETCH_TURNS = 25.0
FASTEST_CHANGE = 0.01
"""Largest change of speed, as a share, from one stretch to the next (half a stretch later)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedFound:
    """A speed heard in a recording, or that none was.

    Attributes
    ----------
    hz : float
        Turns a second, mean over the recording; 0 when not found.
    uncertainty_hz : float
        One standard uncertainty of the mean.
    chance : float
        Probability that some speed in the searched range would fit this well by accident.
    drift_hz : float
        Fastest less slowest; 0 when no drift is shown.
    lines : tuple of int
        Which multiples were seen.
    track : SpeedTrack or None
        The speed through the recording, when it drifts enough to smear lines.
    candidate_hz : float
        The best comb, believed or not.
    reason : str
        Why not found, in words; empty when found.
    """

    hz: float
    uncertainty_hz: float
    chance: float
    drift_hz: float = 0.0
    lines: tuple[int, ...] = ()
    track: SpeedTrack | None = None
    candidate_hz: float = 0.0
    reason: str = ""

    @property
    def found(self) -> bool:
        """Whether a speed was heard."""
        return self.hz > 0


def speed_from_comb(
    samples: Floats | Transform,
    rate_hz: float = 0.0,
    *,
    nominal_hz: float,
    search: float = 0.10,
    chance: float = BELIEVED,
    follow: bool = True,
    avoid_hz: Sequence[float] = (),
) -> SpeedFound:
    """Running speed near a nominal, from the whole multiples of the shaft.

    Both the plain spectrum and the spectrum of the envelope are searched; every line counts by
    how rare lines as strong as it are around it, up to a limit.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,), or Transform
    rate_hz : float
        Needed with samples.
    nominal_hz : float
    search : float
        Half-width of the search, as a share of the nominal.
    chance : float
        A comb that would be found this often by accident is not believed.
    follow : bool
        Whether to look for a drift through the recording.
    avoid_hz : sequence of float
        Rates that have combs of their own and are not this shaft (the mains and half of it).
    """
    whole = samples if isinstance(samples, Transform) else transformed(samples, rate_hz)
    slow = slow_signals(whole, top_hz=(HARMONICS + 2) * nominal_hz * (1 + search))
    best = comb_speed(comb_lines(slow), nominal_hz=nominal_hz, search=search, avoid_hz=avoid_hz)
    if follow and not set(SHARP) <= set(best.lines):
        followed = _followed(slow, best, nominal_hz, search)
        best = best if _avoided(np.array([followed.candidate_hz]), avoid_hz)[0] else followed
    return best if best.chance <= chance else _not_found(best, "near the nominal speed")


def speed_unaided(
    transform: Transform, *, low_hz: float = 3.0, high_hz: float = 120.0
) -> SpeedFound:
    """A running speed with nothing to go by: the most surprising comb of all."""
    found = speeds_unaided(transform, low_hz=low_hz, high_hz=high_hz)
    return found[0] if found[0].chance <= BELIEVED else _not_found(found[0], "anywhere")


def speeds_unaided(
    transform: Transform, *, low_hz: float = 3.0, high_hz: float = 120.0, most: int = 5
) -> list[SpeedFound]:
    """The most surprising combs, the best first and always at least that one.

    A race struck regularly makes a comb of its own, as a second shaft does, so there may be
    several; every tenth of the range pays for the others having been tried.
    """
    span = 0.1
    centres = np.exp(np.arange(np.log(low_hz * 1.1), np.log(high_hz), 2 * span * 0.95))
    sets = comb_lines(slow_signals(transform, top_hz=(HARMONICS + 2) * high_hz))
    tried = [comb_speed(sets, nominal_hz=float(each), search=span) for each in centres]
    paid = [replace(one, chance=min(1.0, one.chance * len(tried))) for one in tried]
    paid.sort(key=lambda one: one.chance)
    return [paid[0], *(one for one in paid[1:most] if one.chance <= BELIEVED)]


def comb_speed(
    sets: Sequence[Lines], *, nominal_hz: float, search: float, avoid_hz: Sequence[float] = ()
) -> SpeedFound:
    """The best comb near ``nominal_hz``, however likely or unlikely it is by chance."""
    finest = min(lines.step for lines in sets)
    speeds = _trial_speeds(nominal_hz, search, finest)
    speeds = speeds[~_avoided(speeds, avoid_hz)]
    near, close, anywhere = _toll(speeds, nominal_hz, search, finest)
    best, gain = _most_surprising(sets, speeds, near, close - anywhere)
    return _refined(sets, best, float(np.exp(min(0.0, anywhere - gain))))


def follow_speed(slow: SlowSignals, *, nominal_hz: float, search: float) -> SpeedTrack | None:
    """The speed stretch by stretch: the smooth path through the best combs of short stretches.

    Returns
    -------
    SpeedTrack or None
        None when the recording is too short to be cut into four stretches.
    """
    length = max(STRETCH_TURNS / nominal_hz, slow.seconds / 7)
    starts = np.arange(0.0, slow.seconds - length + 1e-9, length / 2)
    if starts.size < 4:
        return None
    finest = 1.0 / length
    speeds = _trial_speeds(nominal_hz, search, finest)
    rows = [comb_score(comb_lines(slow.part(start, start + length)), speeds)[0] for start in starts]
    hz = speeds[_path(np.array(rows), FASTEST_CHANGE * nominal_hz / (speeds[1] - speeds[0]))]
    middle = starts + length / 2
    smooth = np.polynomial.Polynomial.fit(middle, hz, deg=min(3, starts.size - 2))
    return SpeedTrack(times_s=middle, hz=np.asarray(smooth(middle)))


def _followed(
    slow: SlowSignals, steady: SpeedFound, nominal_hz: float, search: float
) -> SpeedFound:
    """The drifting reading of a recording where it is clearly the better one."""
    known = steady.chance <= BELIEVED
    tries = [(steady.candidate_hz, 0.03 if known else 0.015)]
    if not known:
        tries.append((nominal_hz, search))
    best = steady
    for centre, width in tries:
        track = follow_speed(slow, nominal_hz=centre, search=width)
        if track is None or track.drift_hz * HARMONICS * slow.seconds < 2.0:
            continue
        mean_hz = float(track.turns_at(np.array([slow.seconds]))[0] / slow.seconds)
        even = slow.levelled(track, mean_hz)
        level = comb_speed(comb_lines(even), nominal_hz=mean_hz, search=0.002)
        toll = DRIFT_GAIN if known else 2.0 * DRIFT_GAIN
        chance = min(1.0, level.chance * float(np.exp(toll)))
        if chance < best.chance and not (
            known
            and comb_height(even, level.hz) - comb_height(slow, steady.candidate_hz) < DRIFT_GAIN
        ):
            moved = SpeedTrack(times_s=track.times_s, hz=track.hz * (level.hz / mean_hz))
            best = replace(level, chance=chance, drift_hz=moved.drift_hz, track=moved)
    return best


def _path(scores: Numbers, reach: float) -> NDArray[np.intp]:
    """Best path through rows of scores, moving at most ``reach`` columns from row to row."""
    width = 2 * max(1, round(reach)) + 1
    total = scores[0]
    history = [total]
    for row in scores[1:]:
        total = row + maximum_filter1d(total, width, mode="nearest")
        history.append(total)
    path = [int(np.argmax(history[-1]))]
    for total in reversed(history[:-1]):
        low = max(0, path[-1] - width // 2)
        path.append(low + int(np.argmax(total[low : path[-1] + width // 2 + 1])))
    return np.array(path[::-1], dtype=np.intp)


def _avoided(speeds: Numbers, avoid_hz: Sequence[float]) -> Flags:
    """Which speeds are as near to a rate to be avoided as the mains keep theirs."""
    out = np.zeros(speeds.size, dtype=bool)
    for each in avoid_hz:
        out |= np.abs(speeds / each - 1.0) <= MAINS_KEEP
    return out


def _trial_speeds(nominal_hz: float, search: float, finest: float) -> Numbers:
    count = int(np.ceil(2 * search * nominal_hz / (finest / (3.0 * HARMONICS)))) + 1
    return nominal_hz * np.linspace(1 - search, 1 + search, count)


def _most_surprising(
    sets: Sequence[Lines], speeds: Numbers, near: Flags, spared: float
) -> tuple[float, float]:
    """The best speed, and how surprising its comb is (natural log), favoured speeds first.

    Surprise of a comb is that of all spectra together, or of the one that shows it best. It rises
    with the score, so only the highest score near the nominal, and the highest at all, can win.
    """
    each = [comb_score([lines], speeds) for lines in sets]
    if len(each) > 1:
        each.append((np.sum([s for s, _ in each], axis=0), sum(tried for _, tried in each)))
    best, most = float(speeds[0]), -np.inf
    for score, tried in each:
        for where in (int(np.argmax(score)), int(np.argmax(np.where(near, score, -1.0)))):
            gain = float(score_surprise(score[where : where + 1], tried)[0])
            gain -= spared if near[where] else 0.0
            if gain > most:
                best, most = float(speeds[where]), gain
    return best, most - float(np.log(len(each)))


def _toll(
    speeds: Numbers, nominal_hz: float, search: float, finest: float
) -> tuple[Flags, float, float]:
    """Which speeds are near the nominal; what trying those costs, and what trying all costs."""
    each_way = 4 * nominal_hz * HARMONICS / (4.0 * finest)
    near = np.abs(speeds / nominal_hz - 1.0) <= NEAR
    close = float(np.log(max(1.0, each_way * min(NEAR, search))))
    return near, close, float(np.log(max(1.0, each_way * search)))


def _refined(sets: Sequence[Lines], speed: float, by_chance: float) -> SpeedFound:
    """Least squares of matched lines on their multiples."""
    weights, seen, multiples = 1e-30, set[int](), np.arange(1.0, HARMONICS + 1)
    for _ in range(3):
        weights, pulls, seen = 1e-30, 0.0, set()
        for lines in sets:
            if lines.places.size < FEWEST_LINES:
                continue
            index, miss = nearest(lines, multiples * speed)
            met = (np.abs(miss) <= 0.7 * lines.step) & (lines.surprise[index] >= 1.0)
            trust = lines.surprise[index[met]] * (multiples[met] / lines.step) ** 2
            weights += float(trust.sum())
            pulls += float(np.sum(trust * miss[met] / multiples[met]))
            seen |= {int(multiple) for multiple in multiples[met]}
        speed += pulls / weights
    spread = 0.3 / np.sqrt(max(weights / HIGHEST_SURPRISE, 1e-12))
    return SpeedFound(
        hz=speed,
        uncertainty_hz=float(spread),
        chance=by_chance,
        lines=tuple(sorted(seen)),
        candidate_hz=speed,
    )


def _not_found(best: SpeedFound, where: str) -> SpeedFound:
    return SpeedFound(
        hz=0.0,
        uncertainty_hz=0.0,
        chance=best.chance,
        candidate_hz=best.candidate_hz,
        reason=f"no comb of whole multiples stands out {where}",
    )
