"""Which rotor pushes once or twice a turn harder than the machine's others explain?

All tones of all rotors in all takes form one Gaussian model: what the sensor and the casing do to a
frequency, what a take does to everything, how much sound shafts differ. Tones that are not heard
take part by the level at which they would be. Each rotor's fault is then one more belief, weighed
against all being sound.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from vibecheck.diagnosis.chance.censored import log_likelihood
from vibecheck.diagnosis.chance.standing_out import (
    ALIKE_STEPS,
    LIVELY,
    LIVELY_SHARE,
    Excess,
    Numbers,
    alike,
    excesses,
)
from vibecheck.diagnosis.readings.lines import TurnLines

CLEAR = 15.0
"""Power over floor at which a tone counts as heard."""
UNALIKE_DB, ALIKE = 4.0, 0.25
"""Sound shafts of one machine differ this much in unbalance and in bend (standard deviation), and
how sure that is, natural logarithm: a head has too few shafts to tell by itself."""
PATH_DB = 4.0
"""How much nearer the sensor one shaft is than another, in all that is heard of it (judgement)."""
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
LOAD_DB = 40.0
"""How much a cut may lift everything against takes in air."""
BENT_ONCE_DB, BENT_ONCE_SPREAD_DB = 8.0, 8.0
"""What a bend or a misalignment, heard at twice a turn, adds to once a turn."""
ALONE_SAYS = 2.5
"""Most that one take says by itself: some stray line lies there by chance often enough."""
SAME_SPEED, NO_NEWS_DB = 0.03, 15.0
"""Silences of one tone this near in speed are one; and so far above all that is heard none tells
anything."""

Owner = tuple[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Push:
    """One multiple of one rotor in one take: where, and its level with the square of speed taken
    out; when silent, the level from which it would be heard."""

    rotor: str
    multiple: int
    take: int
    hz: float
    db: float
    silent: bool

    @property
    def owner(self) -> Owner:
        """Rotor and multiple."""
        return self.rotor, self.multiple


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """Of every rotor and multiple: its excess over what the heard ones explain, and the natural
    log odds of a fault from heard and silent ones together."""

    excesses: Mapping[Owner, Excess]
    log_odds: Mapping[Owner, float]


def weighed(rows: Sequence[Mapping[str, TurnLines]], loads: Sequence[str]) -> Weighed:
    """Hold every rotor's first and second turn against all the rest.

    Parameters
    ----------
    rows : sequence of mapping
        One a take: rotor to its tones.
    loads : sequence of str
        One a take: how the machine was loaded ("idle", "cutting").
    """
    pushes = _telling(all_pushes(rows))
    if not pushes:
        return Weighed(excesses={}, log_odds={})
    silent = np.array([push.silent for push in pushes])
    levels = np.array([push.db for push in pushes])
    levels -= np.median(levels[~silent])
    sound = _sound(pushes, loads)
    owners = [push.owner for push in pushes]
    heard = ~silent
    found, _ = excesses(
        levels[heard],
        (sound + UNALIKE_DB**2 * alike(owners))[np.ix_(heard, heard)],
        [push.owner for push in pushes if not push.silent],
    )
    odds = _log_odds(levels, silent, sound, owners)
    lonely = {name for name, excess in found.items() if excess.readings < 2}
    return Weighed(
        excesses=found,
        log_odds={
            name: min(value, ALONE_SAYS) if name in lonely else value
            for name, value in odds.items()
        },
    )


def all_pushes(rows: Sequence[Mapping[str, TurnLines]]) -> list[Push]:
    """All tones heard, and all that would have been."""
    return [
        Push(
            rotor=name,
            multiple=multiple,
            take=number,
            hz=multiple * line.hz,
            db=(limit_db if over <= CLEAR else level) - float(40.0 * np.log10(line.hz)),
            silent=over <= CLEAR,
        )
        for number, row in enumerate(rows)
        for name, line in row.items()
        for multiple, level, over, limit_db in (
            (1, line.once_db, line.over_floor, line.limit_db),
            (2, line.twice_db, line.twice_over_floor, line.twice_limit_db),
        )
        if over > CLEAR or np.isfinite(limit_db)
    ]


def _telling(every: Sequence[Push]) -> list[Push]:
    """All tones heard, and the silences that tell something."""
    heard = [push for push in every if not push.silent]
    if not heard:
        return []
    top = max(push.db for push in heard) + NO_NEWS_DB
    kept: list[Push] = []
    for push in sorted((p for p in every if p.silent), key=lambda p: p.db):
        same = (k for k in kept if k.owner == push.owner)
        if push.db < top and all(abs(k.hz / push.hz - 1.0) >= SAME_SPEED for k in same):
            kept.append(push)
    return [*heard, *kept]


def _sound(pushes: Sequence[Push], loads: Sequence[str]) -> Numbers:
    """Covariance of a sound machine's levels, but for what tells one shaft from another."""
    octave = np.log2([push.hz for push in pushes])
    octave -= octave.mean()
    fastest: dict[str, float] = {}
    for push in pushes:
        fastest[push.rotor] = max(fastest.get(push.rotor, 0.0), push.hz / push.multiple)
    below = np.log2([fastest[push.rotor] * push.multiple / push.hz for push in pushes])
    apart = (octave[:, None] - octave[None, :]) / RESPONSE_OCTAVES
    made: Numbers = (
        UNKNOWN_DB**2 * (1.0 + alike([push.multiple for push in pushes]))
        + SLOPE_DB**2 * np.outer(octave, octave)
        + RESPONSE_DB**2 * np.exp(-0.5 * apart**2)
        + PATH_DB**2 * alike([push.rotor for push in pushes])
        + TAKE_DB**2 * alike([push.take for push in pushes])
        + LOAD_DB**2 * alike([loads[push.take] for push in pushes])
        + GROWTH_DB**2 * np.outer(below, below) * alike([push.owner for push in pushes])
        + READING_DB**2 * np.eye(len(pushes))
    )
    return made


def _log_odds(
    levels: Numbers, silent: np.ndarray, sound: Numbers, owners: Sequence[Owner]
) -> dict[Owner, float]:
    """Natural log odds of each owner's fault, over all answers to how alike sound shafts are."""
    steps = np.array(ALIKE_STEPS)
    likely = -0.5 * (np.log(steps) / ALIKE) ** 2
    unalike = alike(owners) * UNALIKE_DB**2
    plain = np.stack([sound + step**2 * unalike for step in steps])
    nothing = np.zeros(len(owners))

    def believed(mean: Numbers, more: Numbers) -> float:
        means = np.broadcast_to(mean, (len(steps), len(owners)))
        return float(logsumexp(likely + log_likelihood(levels, silent, means, plain + more)))

    none = believed(nothing, np.zeros_like(plain))
    odds: dict[Owner, float] = {}
    for rotor, multiple in dict.fromkeys(owners):
        own = _of(owners, (rotor, multiple))
        once = _of(owners, (rotor, 1)) if multiple == 2 else nothing
        lively = believed(
            nothing,
            (LIVELY**2 - 1.0) * UNALIKE_DB**2 * steps[:, None, None] ** 2 * np.outer(own, own),
        )
        faulty = believed(
            FAULT_DB * own + BENT_ONCE_DB * once,
            FAULT_SPREAD_DB**2 * np.outer(own, own) + BENT_ONCE_SPREAD_DB**2 * np.outer(once, once),
        )
        odds[rotor, multiple] = faulty - float(
            np.logaddexp(np.log(1.0 - LIVELY_SHARE) + none, np.log(LIVELY_SHARE) + lively)
        )
    return odds


def _of(owners: Sequence[Owner], wanted: Owner) -> Numbers:
    return np.array([float(owner == wanted) for owner in owners])
