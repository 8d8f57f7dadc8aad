"""Once-a-turn tones over a sweep: imbalance, bend, looseness.

Unbalance pushes with the square of speed, so levels are compared after taking that out, one rotor
with the others of the same machine, and frequency with frequency: a sensor that is deaf at the slow
end, or a casing that sings at one place, favours whatever turns there. What tells imbalance is that
one rotor stands far above the rest where others sound through the same way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from vibecheck.diagnosis.lines import TurnLines
from vibecheck.diagnosis.scales import SizeLaw
from vibecheck.diagnosis.standing_out import Excess, StandsOut, alike, stands_out
from vibecheck.diagnosis.suspects import Key, rate_key

HALVES_LAW = SizeLaw(healthy=0.42, healthy_spread=0.38, faulty=1.5, faulty_spread=0.45, shape=4.0)
"""Mean log significance of half orders above 0.55; noise alone gives about 0.35."""
HALVES_NOISE = 0.55
CLEAR = 15.0
"""Power over floor at which a tone counts as heard."""
UNALIKE_DB, ALIKE = 4.0, 0.25
"""Sound shafts of one machine differ this much in unbalance and in bend (standard deviation), and
how sure that is, natural logarithm: a head has too few shafts to tell by itself."""
RESPONSE_DB, RESPONSE_OCTAVES = 5.0, 0.4
"""How much way and sensor favour one frequency, and how near another must be to share that."""
SLOPE_DB = 7.0
"""Sensors lose the slow end by this much an octave, or not at all."""
GROWTH_DB = 3.0
"""How differently sound shafts' tones fall off below their own fastest speed, an octave: what is
left at slow speed is seldom unbalance."""
TAKE_DB, READING_DB, UNKNOWN_DB = 3.0, 2.5, 40.0
"""Scatter of a take's gain, of one reading, and of what nobody knows: how loud once a turn is."""
FAULT_DB, FAULT_SPREAD_DB = 20.0, 9.0
"""What a fault adds (judgement: ten times, give or take a factor of three)."""
DROWNED_DB, DROWNED_LEAN = -12.0, 0.25
"""A bent or misaligned shaft has a second turn not far below its first (common practice); odds a
decibel for one that has not."""
SILENT = Excess(over=float("nan"), spread=float("nan"), readings=0)
SILENT_SAYS = -1.5
"""Natural log odds for a tone that was never heard."""
LOST_DB, MOST_LOST = 8.0, 6.0
"""Scatter of a level foretold for another take; and the most that silence there can say against."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RotorTones:
    """What the takes say of one rotor's 1x and 2x.

    ``above_db`` is 1x over what the other rotors and the sensor explain, unbalance growing with
    the square of speed, and ``above_spread_db`` how far a sound rotor may stand there; nan when it
    was never heard. ``growth`` is the exponent of 1x amplitude against speed (nan when the speeds
    recorded are too alike); ``twice_db`` is 2x over 1x; ``heard`` the number of takes in which 1x
    stood clear, ``takes`` how many were looked at.
    """

    rotor: str
    above_db: float
    above_spread_db: float
    growth: float
    twice_db: float
    heard: int
    takes: int
    log_imbalance: float
    log_bent: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tone:
    """One clear tone: which multiple of which rotor, in which take, and where."""

    rotor: str
    multiple: int
    take: int
    hz: float
    pushed_db: float


def rotor_tones(rows: Sequence[Mapping[str, TurnLines]], rotors: Sequence[str]) -> list[RotorTones]:
    """Judge every rotor's 1x and 2x against the others'.

    Parameters
    ----------
    rows : sequence of mapping
        One a take: rotor to its tones.
    rotors : sequence of str
        Those to be judged, and held against one another.
    """
    kept = [{name: row[name] for name in rotors if name in row} for row in rows]
    found = _held_together(_clear_tones(kept))
    judged = []
    for name in dict.fromkeys(name for row in kept for name in row):
        mine = [row[name] for row in kept if name in row]
        clear = [line for line in mine if line.over_floor > CLEAR]
        once, twice = found.excesses.get((name, 1), SILENT), found.excesses.get((name, 2), SILENT)
        judged.append(
            RotorTones(
                rotor=name,
                above_db=once.over,
                above_spread_db=once.spread,
                growth=_growth(clear),
                twice_db=_twice(mine),
                heard=len(clear),
                takes=len(mine),
                log_imbalance=found.log_odds.get((name, 1), SILENT_SAYS)
                + _silence(once, _once(mine)),
                log_bent=found.log_odds.get((name, 2), SILENT_SAYS)
                + _silence(twice, _twice_a_turn(mine))
                + _beside(once, twice, _twice(mine)),
            )
        )
    return judged


def _clear_tones(rows: Sequence[Mapping[str, TurnLines]]) -> list[_Tone]:
    """Levels with the square of speed taken out."""
    return [
        _Tone(
            rotor=name,
            multiple=multiple,
            take=number,
            hz=multiple * line.hz,
            pushed_db=level - float(40.0 * np.log10(line.hz)),
        )
        for number, row in enumerate(rows)
        for name, line in row.items()
        for multiple, level, over in (
            (1, line.once_db, line.over_floor),
            (2, line.twice_db, line.twice_over_floor),
        )
        if over > CLEAR
    ]


def _held_together(tones: Sequence[_Tone]) -> StandsOut[tuple[str, int]]:
    """How far each rotor's 1x and 2x stand out from what rotors, sensor and takes explain."""
    if not tones:
        return StandsOut(excesses={}, log_odds={})
    octave = np.log2([tone.hz for tone in tones])
    octave -= octave.mean()
    owners = [(tone.rotor, tone.multiple) for tone in tones]
    fastest = {tone.rotor: 0.0 for tone in tones}
    for tone in tones:
        fastest[tone.rotor] = max(fastest[tone.rotor], tone.hz / tone.multiple)
    below = np.log2([fastest[tone.rotor] * tone.multiple / tone.hz for tone in tones])
    apart = (octave[:, None] - octave[None, :]) / RESPONSE_OCTAVES
    fixed = (
        UNKNOWN_DB**2 * (1.0 + alike([tone.multiple for tone in tones]))
        + SLOPE_DB**2 * np.outer(octave, octave)
        + RESPONSE_DB**2 * np.exp(-0.5 * apart**2)
        + TAKE_DB**2 * alike([tone.take for tone in tones])
        + GROWTH_DB**2 * np.outer(below, below) * alike(owners)
        + READING_DB**2 * np.eye(len(tones))
    )
    own = alike(owners)
    levels = np.array([tone.pushed_db for tone in tones])
    return stands_out(
        levels - np.median(levels),
        lambda times: fixed + (UNALIKE_DB * times) ** 2 * own,
        owners,
        faulty=FAULT_DB,
        faulty_spread=FAULT_SPREAD_DB,
        machines=ALIKE,
    )


def _growth(clear: Sequence[TurnLines]) -> float:
    speeds = np.array([k.hz for k in clear])
    if len(clear) < 3 or speeds.max() / speeds.min() < 1.15:
        return float("nan")
    levels = np.array([k.once_db for k in clear])
    return float(_theil_slope(20.0 * np.log10(speeds), levels))


def _theil_slope(x: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """Median of all pairwise slopes (Theil 1950): one odd take does not tilt it."""
    i, j = np.triu_indices(x.size, 1)
    apart = np.abs(x[j] - x[i]) > 0.8
    return float(np.median((y[j] - y[i])[apart] / (x[j] - x[i])[apart])) if apart.any() else 0.0


def _twice(lines: Sequence[TurnLines]) -> float:
    """Median of 2x over 1x where either is clear, held to +-40 dB; nan where neither is."""
    clear = [k for k in lines if max(k.over_floor, k.twice_over_floor) > CLEAR]
    if not clear:
        return float("nan")
    return float(np.median([np.clip(k.twice_db - k.once_db, -40.0, 40.0) for k in clear]))


Heights = list[tuple[float, float, bool, float]]
"""Speed, level, whether clear, and the level at which it would be."""


def _once(lines: Sequence[TurnLines]) -> Heights:
    return [(k.hz, k.once_db, k.over_floor > CLEAR, k.limit_db) for k in lines]


def _twice_a_turn(lines: Sequence[TurnLines]) -> Heights:
    return [(k.hz, k.twice_db, k.twice_over_floor > CLEAR, k.twice_limit_db) for k in lines]


def _beside(once: Excess, twice: Excess, twice_db: float) -> float:
    """What 1x says of a bent shaft: it may stand out as well, but not drown the second turn."""
    if not (once.readings and twice.readings):
        return 0.0
    drowned = DROWNED_LEAN * max(0.0, DROWNED_DB - twice_db) if np.isfinite(twice_db) else 0.0
    return max(0.0, once.log_odds(0.5 * FAULT_DB, FAULT_SPREAD_DB)) - drowned


def _silence(excess: Excess, heard: Heights) -> float:
    """What takes without the tone say: nothing where so slow a push is not heard anyway."""
    if not excess.readings:
        return 0.0
    clear = [(hz, level - 40.0 * np.log10(hz)) for hz, level, there, _ in heard if there]
    middle_hz, pushed = (float(np.median(part)) for part in zip(*clear, strict=True))
    said = 0.0
    for hz, _, there, limit_db in heard:
        if there or not np.isfinite(limit_db):
            continue
        room = limit_db - pushed - 40.0 * np.log10(hz)
        scatter = float(np.hypot(LOST_DB, SLOPE_DB * np.log2(hz / middle_hz)))
        sound = (room + max(excess.over, 0.0)) / scatter
        said += float(log_ndtr(room / scatter) - log_ndtr(sound))
    return max(said, -MOST_LOST)


def halves_readings(
    rows: Sequence[Mapping[str, TurnLines]], ratios: Sequence[Mapping[str, float]]
) -> tuple[dict[Key, float], dict[str, tuple[Key, ...]]]:
    """Half-order readings of every rotor and take: values by key, and keys by rotor."""
    values: dict[Key, float] = {}
    found: dict[str, list[Key]] = {}
    for number, (row, ratio) in enumerate(zip(rows, ratios, strict=True)):
        for name, line in row.items():
            if not np.isfinite(line.halves):
                continue
            key = rate_key("halves", number, ratio[name])
            if key not in values:
                found.setdefault(name, []).append(key)
            values[key] = max(0.02, line.halves - HALVES_NOISE)
    return values, {name: tuple(keys) for name, keys in found.items()}
