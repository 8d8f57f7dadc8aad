"""Once-a-turn tones over a sweep: imbalance, bend, looseness.

Unbalance pushes with the square of speed, so levels are compared after taking that out, one rotor
with the others of the same machine, and frequency with frequency: a sensor that is deaf at the slow
end, or a casing that sings at one place, favours whatever turns there. What tells imbalance is that
one rotor stands far above the rest where others sound through the same way.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.scales import SizeLaw
from vibecheck.diagnosis.chance.standing_out import Excess
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.lines import EVEN, TurnLines
from vibecheck.diagnosis.readings.turn_pushes import (
    CLEAR,
    RESPONSE_DB,
    UNALIKE_DB,
    Owner,
    Push,
    all_pushes,
    weighed,
)

HALVES_LAW = SizeLaw(
    healthy=0.42,
    healthy_spread=0.38,
    faulty=1.5,
    faulty_spread=0.45,
    shape=4.0,
    healthy_shape=2.5,
)
"""Mean log significance of half orders beyond what it is where nothing is. A loose part's are much
alike from take to take; those of sound shafts, now and then high by chance, are not (three makers'
invented machines)."""
DROWNED_DB, DROWNED_LEAN = -12.0, 0.25
"""A bent or misaligned shaft has a second turn not far below its first (common practice); odds a
decibel for one that has not."""
SILENT = Excess(over=float("nan"), spread=float("nan"), readings=0)
SILENT_SAYS = -1.5
"""Natural log odds for a tone of which the takes say nothing."""
FAIR_DB = 12.0
"""An excess less sure than this is not spoken of."""


SOUND_DB = float(np.hypot(UNALIKE_DB, RESPONSE_DB))
"""How far one tone of a sound shaft may stand from the other shafts' (standard deviation)."""
SECOND_TURN = "bent or misaligned"
"""The fault that twice a turn tells of; once a turn tells of the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneTakes:
    """One multiple of a rotor, take by take.

    ``above_db`` maps takes that have it to its height over the other rotors' (median), the square
    of speed taken out; ``at_most_db`` takes that lack it to the height at which they would have had
    it. A take in neither cannot tell: another line lies there, or the sensor is deaf.
    """

    above_db: Mapping[int, float]
    at_most_db: Mapping[int, float]

    def excess(self, take: int) -> Excess | None:
        """How far it stands out in one take, or at most does; None where that says nothing."""
        over = self.above_db.get(take, self.at_most_db.get(take))
        if over is None or (take in self.at_most_db and over > SOUND_DB):
            return None
        return Excess(over=over, spread=SOUND_DB, readings=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class RotorTones:
    """What the takes say of one rotor's 1x and 2x, and of those that turn with it in every take.

    ``above_db`` is 1x over what the other rotors and the sensor explain, unbalance growing with
    the square of speed, and ``above_spread_db`` how far a sound rotor may stand there; nan when it
    was never heard, or nothing else that could be compared. ``growth`` is the exponent of 1x
    amplitude against speed (nan when the speeds recorded are too alike); ``twice_db`` is 2x over
    1x; ``heard`` the number of takes in which 1x stood clear, ``takes`` how many were looked at;
    ``others`` the number of other rotors whose 1x stood clear in two takes or more, and
    ``others_growth`` the middle of their growth (nan when none of them tells); ``once`` and
    ``twice`` are 1x and 2x take by take.
    """

    rotor: str
    together: tuple[str, ...]
    above_db: float
    above_spread_db: float
    growth: float
    twice_db: float
    heard: int
    takes: int
    log_imbalance: float
    log_bent: float
    once: ToneTakes
    twice: ToneTakes
    others: int = 0
    others_growth: float = float("nan")

    def telling(self, fault: str) -> ToneTakes:
        """The multiple that tells of a fault."""
        return self.twice if fault == SECOND_TURN else self.once


def rotor_tones(
    rows: Sequence[Mapping[str, TurnLines]],
    rotors: Sequence[str],
    loads: Sequence[str] | None = None,
    coupled: Mapping[str, Collection[str]] | None = None,
) -> list[RotorTones]:
    """Judge every rotor's 1x and 2x against the others'.

    Parameters
    ----------
    rows : sequence of mapping
        One a take: rotor to its tones.
    rotors : sequence of str
        Those to be judged, and held against one another.
    loads : sequence of str, optional
        One a take: how the machine was loaded; all alike when not given.
    coupled : mapping of str to collection of str, optional
        Rotors that turn just alike in every take, by the name of each; none when not given.
    """
    together = _together(rotors, coupled or {})
    kept = [{name: row[name] for name in together if name in row} for row in rows]
    pushes = all_pushes(kept)
    found = weighed(kept, ["idle"] * len(kept) if loads is None else loads)
    judged = []
    plain = {
        name
        for name in together
        if sum(name in row and row[name].over_floor > CLEAR for row in kept) > 1
    }
    lines = {
        name: [row[name] for row in kept if name in row]
        for name in dict.fromkeys(name for row in kept for name in row)
    }
    growths = {name: _growth(_clear(mine)) for name, mine in lines.items()}
    for name, mine in lines.items():
        clear = _clear(mine)
        once = found.excesses.get((name, 1), SILENT)
        fair = once.spread < FAIR_DB
        judged.append(
            RotorTones(
                rotor=name,
                together=together[name],
                above_db=once.over if fair else float("nan"),
                above_spread_db=once.spread,
                growth=growths[name],
                twice_db=_twice(mine),
                heard=len(clear),
                takes=len(mine),
                log_imbalance=found.log_odds.get((name, 1), SILENT_SAYS),
                log_bent=found.log_odds.get((name, 2), SILENT_SAYS) - _drowned(_twice(mine)),
                once=_take_by_take(pushes, (name, 1)),
                twice=_take_by_take(pushes, (name, 2)),
                others=len(plain - {name}),
                others_growth=_middle([g for other, g in growths.items() if other != name]),
            )
        )
    return judged


def _together(
    rotors: Sequence[str], coupled: Mapping[str, Collection[str]]
) -> dict[str, tuple[str, ...]]:
    """Rotors to be judged, each with those that are coupled to it and have the very same tones."""
    found: dict[str, list[str]] = {}
    for name in rotors:
        first = next((known for known in found if known in coupled.get(name, ())), name)
        found.setdefault(first, []).append(name)
    return {name: tuple(names) for name, names in found.items()}


def _take_by_take(pushes: Sequence[Push], owner: Owner) -> ToneTakes:
    others = [p.db for p in pushes if p.multiple == owner[1] and p.rotor != owner[0]]
    mine = [p for p in pushes if p.owner == owner] if others else []
    usual = float(np.median(others)) if others else 0.0
    return ToneTakes(
        above_db={p.take: p.db - usual for p in mine if not p.silent},
        at_most_db={p.take: p.db - usual for p in mine if p.silent},
    )


def _clear(lines: Sequence[TurnLines]) -> list[TurnLines]:
    return [line for line in lines if line.over_floor > CLEAR]


def _middle(values: Sequence[float]) -> float:
    known = [value for value in values if np.isfinite(value)]
    return float(np.median(known)) if known else float("nan")


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
    """Median of 2x over 1x where either is clear, held to +-40 dB; nan where neither is.

    Where 2x is not heard it is at most what would have been; where something else lies on it the
    take cannot tell. At its slower speeds a shaft's first turn lies where sensors are deaf.
    """
    either = [k for k in lines if max(k.over_floor, k.twice_over_floor) > CLEAR]
    fast = float(np.median([k.hz for k in either])) if either else 0.0
    heard = [
        (k.twice_db if k.twice_over_floor > CLEAR else k.twice_limit_db) - k.once_db
        for k in either
        if k.hz >= fast
    ]
    told = [np.clip(over, -40.0, 40.0) for over in heard if np.isfinite(over)]
    return float(np.median(told)) if told else float("nan")


def _drowned(twice_db: float) -> float:
    """What speaks against a bend where the first turn drowns the second."""
    return DROWNED_LEAN * max(0.0, DROWNED_DB - twice_db) if np.isfinite(twice_db) else 0.0


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
            values[key] = max(0.02, line.halves - EVEN)
    return values, {name: tuple(keys) for name, keys in found.items()}
