"""Once-a-turn tones over a sweep: imbalance, bend, looseness.

Unbalance pushes with the square of speed, so levels are compared after taking that out, one rotor
with the others of the same machine; what tells imbalance is that one rotor stands far above the
rest *and* grows with speed as it should.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.lines import TurnLines
from vibecheck.diagnosis.scales import SizeLaw
from vibecheck.diagnosis.suspects import Key, rate_key

HALVES_LAW = SizeLaw(healthy=0.42, healthy_spread=0.38, faulty=1.5, faulty_spread=0.45, shape=4.0)
"""Mean log significance of half orders above 0.55; noise alone gives about 0.35."""
HALVES_NOISE = 0.55
CLEAR = 15.0
"""Power over floor at which a tone counts as heard."""
FEW, FEW_SAY = 3, 4.0
"""Fewer takes than this say no more than this (natural log odds): nothing shows that the tone grows
with speed."""
MOST_ALONE, MOST_STEADY = 4.0, 7.5
"""Most that a rotor's tones can say without peers, and with peers but at one speed only."""
PLAINLY_ABOVE_DB = 25.0
LIKE_SPEED = 2.5
PEER_SPREAD_DB = 5.0
"""Shafts of one healthy machine differ about this much in unbalance (judgement, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RotorTones:
    """What the takes say of one rotor's 1x and 2x.

    ``above_db`` is 1x over the other rotors' with speed taken out; ``growth`` the exponent of 1x
    amplitude against speed (nan when the speeds recorded are too alike); ``twice_db`` is 2x over
    1x; ``heard`` the number of takes in which either stood clear, ``takes`` how many were looked
    at.
    """

    rotor: str
    above_db: float
    growth: float
    twice_db: float
    heard: int
    takes: int
    log_imbalance: float
    log_bent: float


def rotor_tones(rows: Sequence[Mapping[str, TurnLines]]) -> list[RotorTones]:
    """Judge every rotor's 1x and 2x against its peers; ``rows`` holds one mapping per take."""
    names = sorted({name for row in rows for name in row})
    lines = {name: [row[name] for row in rows if name in row] for name in names}
    once = {name: _level(lines[name], twice=False) for name in names}
    twice = {name: _level(lines[name], twice=True) for name in names}
    found = []
    for name in names:
        mine = lines[name]
        clear = [line for line in mine if line.over_floor > CLEAR]
        above, peers = _above(name, once, lines)
        above_twice, peers_twice = _above(name, twice, lines)
        growth, ratio = _growth(clear), _twice(mine)
        imbalance = _log_imbalance(above, growth, ratio)
        bent = _log_bent(above_twice, ratio)
        found.append(
            RotorTones(
                rotor=name,
                above_db=above,
                growth=growth,
                twice_db=ratio,
                heard=len(clear),
                takes=len(mine),
                log_imbalance=min(imbalance, _most(peers, growth, above))
                if np.isfinite(once[name])
                else -1.5,
                log_bent=min(bent, _most(peers_twice, growth, above_twice))
                if np.isfinite(twice[name])
                else -1.5,
            )
        )
    return found


def _most(peers: int, growth: float, above: float) -> float:
    """Most that a rotor's tones can say, by what they can be held against.

    Sensors lose the slow end, so only rotors of like speed are fair company; and a tone whose
    speed never changed cannot be seen to grow. A tone that does grow as the square of speed is
    heard by a sensor that loses nothing there.
    """
    if 1.2 <= growth <= 3.2:
        return float("inf")
    if peers < 2:
        return MOST_ALONE
    if not np.isfinite(growth):
        return MOST_STEADY if above > PLAINLY_ABOVE_DB else MOST_ALONE
    return float("inf")


def _above(
    name: str, levels: Mapping[str, float], lines: Mapping[str, Sequence[TurnLines]]
) -> tuple[float, int]:
    """Level of one rotor over the median of the others heard, and how many turn about as fast."""
    others = {o: v for o, v in levels.items() if o != name and np.isfinite(v)}
    if not others:
        return float("nan"), 0
    speed = _usual_hz(lines[name])
    peers = {
        o: v for o, v in others.items() if 1 / LIKE_SPEED < _usual_hz(lines[o]) / speed < LIKE_SPEED
    }
    company = list((peers or others).values())
    return levels[name] - float(np.median(company)), len(peers)


def _usual_hz(lines: Sequence[TurnLines]) -> float:
    return float(np.median([line.hz for line in lines]))


def _level(lines: Sequence[TurnLines], *, twice: bool) -> float:
    """Median 1x (or 2x) with the square of speed taken out, dB; nan when it is seldom clear.

    Slow takes push so little that silence there says nothing: only the faster half must be clear.
    """
    fast = sorted(lines, key=lambda k: -k.hz)[: max(2, (len(lines) + 1) // 2)]
    clear = [k for k in fast if (k.twice_over_floor if twice else k.over_floor) > CLEAR]
    if len(clear) < max(2, 0.5 * len(fast)):
        return float("nan")
    levels = [(k.twice_db if twice else k.once_db) - 40.0 * np.log10(k.hz) for k in clear]
    return float(np.median(levels))


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


def _log_imbalance(above: float, growth: float, twice: float) -> float:
    """Natural log odds; without peers or without a range of speeds it can say little."""
    if not np.isfinite(above):
        return 0.0
    odds = 0.7 * (above - 2.2 * PEER_SPREAD_DB)
    if np.isfinite(twice) and twice > 0.0:
        odds -= 0.5 * min(twice, 10.0)
    if not np.isfinite(growth):
        return float(np.clip(odds, -3.0, 8.5))
    odds += 2.0 if 1.0 <= growth <= 4.0 else -3.0 if growth < 0.5 else 0.0
    return float(np.clip(odds, -4.0, 12.0 if growth >= 1.0 else 3.0))


def _log_bent(above_twice: float, twice: float) -> float:
    """Natural log odds: 2x stands over the other rotors' 2x, and over this rotor's own 1x."""
    if not (np.isfinite(above_twice) and np.isfinite(twice)):
        return 0.0
    odds = 0.6 * (above_twice - 2.4 * PEER_SPREAD_DB) + 0.5 * min(twice, 6.0)
    return float(np.clip(odds, -4.0, 10.0))


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
