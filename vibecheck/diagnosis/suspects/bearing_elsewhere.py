"""Is it this bearing, or one whose inside nobody knows?

A family heard beyond all chance is of some bearing. The table may not give the numbers of every
one, and the lines of an unknown bearing fall within the reach of some known one's slip more often
than not. What speaks for the known bearing is that its own slip would be usual, and that the
unknown ones turn with other shafts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.rolling import HEARD_THERE, RollingScore
from vibecheck.machine.bearings import BearingOrders, orders_of

USUAL_LAG, USUAL_LEAD = 0.008, 0.003
"""How far rolling elements lag behind pure rolling, in the mean; and seem to lead, where the
table's numbers are a little off (judgement)."""
LAGS, WINDOW = 0.8, 0.04
"""Share of bearings that lag; and the width of the window in which a family is looked for."""
LOOSE_FAMILIES = 2.0
"""Inner races and rolling elements lead that many times further: both ways are seen."""
OWN_FAMILY, STRAY, UNLISTED = 0.25, 0.03, 0.005
"""Chance that a bad bearing is bad in this one element; that an unknown bearing's line falls into
one window; and that something no table lists does."""
SAME_RATIO = 0.01
SILENCE = 1.5
"""What a silent take says against a flaw that was heard at no higher speed (natural log odds)."""
AS_FAST = 0.95


def lag(score: RollingScore, bearing: BearingOrders) -> float:
    """How far the cage lags behind pure rolling, as a fraction; negative when it seems to lead.

    Outer + inner = number of elements whatever the slip, so the inner race gains what the outer
    loses.
    """
    if score.family.name != "inner":
        return -score.slip
    return score.slip * bearing.inner / bearing.outer


def likeness(score: RollingScore, bearing: BearingOrders) -> float:
    """Likelihood of the slip were it this bearing's, over that of any place in the window.

    Where the shaft's own speed was not heard, any place is as likely.
    """
    if score.reach:
        return WINDOW / (WINDOW + 2.0 * score.reach)
    behind = lag(score, bearing)
    if behind >= 0.0:
        return LAGS * WINDOW / USUAL_LAG * float(np.exp(-behind / USUAL_LAG))
    usual = USUAL_LEAD * (LOOSE_FAMILIES if score.family.name in ("inner", "roller") else 1.0)
    return (1.0 - LAGS) * WINDOW / usual * float(np.exp(behind / usual))


def unknown_beside(score: RollingScore, heard: Listened) -> tuple[list[str], dict[str, float]]:
    """Bearings of unknown inside on the same shaft, and on shafts that turn in step with it
    wherever the family is heard.

    Each of the latter comes with how much better it explains what is silent: a family that is heard
    only where two shafts happen to be in step, and not at other positions at the same speed, is
    rather the other shaft's.
    """
    own: list[str] = []
    others: dict[str, float] = {}
    for bearing in heard.machine.bearings:
        if bearing.kind == "plain" or orders_of(bearing) is not None:
            continue
        if bearing.shaft == score.shaft:
            own.append(bearing.name)
            continue
        loud, silent = _ratios(score, heard, bearing.shaft)
        if loud and max(loud) / min(loud) - 1.0 < SAME_RATIO:
            elsewhere = sum(abs(ratio / loud[0] - 1.0) > SAME_RATIO for ratio in silent)
            others[bearing.name] = float(np.exp(SILENCE * elsewhere))
    return own, others


def _ratios(score: RollingScore, heard: Listened, shaft: str) -> tuple[list[float], list[float]]:
    """Speed of a shaft over the score's own, in takes that have the family, and in those that lack
    it although the score's own shaft turns as fast as where it is heard."""
    takes = []
    for take, surprise in zip(heard.takes, score.surprise, strict=True):
        known = take.expected_ratios()
        if shaft in known and score.shaft in known:
            own = known[score.shaft]
            takes.append((bool(surprise > HEARD_THERE), own * take.base_hz, known[shaft] / own))
    loud = [ratio for has, _, ratio in takes if has]
    slowest = min((hz for has, hz, _ in takes if has), default=np.inf)
    silent = [ratio for has, hz, ratio in takes if not has and hz >= AS_FAST * slowest]
    return loud, silent


def heard_elsewhere(score: RollingScore, heard: Listened) -> bool:
    """Whether a bearing of unknown inside on another shaft explains a family better than its own:
    the family is missing where only the other would be silent."""
    return sum(unknown_beside(score, heard)[1].values()) * STRAY > 1.0


def log_odds(
    named: Sequence[RollingScore],
    heard: Listened,
    unknown: float,
    rivals: Sequence[RollingScore] = (),
    *,
    beside: float = 0.0,
) -> float:
    """Natural log odds of the bearings named, against ``unknown`` others (their number, or weight),
    ``rivals`` that fit as well, and what no table lists.

    ``beside`` counts bearings of unknown inside that are named as well. The family is taken as
    heard; how surely it is, is another question.
    """
    ours = sum(OWN_FAMILY * fit(each, heard) for each in named) + STRAY * beside
    others = sum(OWN_FAMILY * fit(each, heard) for each in rivals) + STRAY * unknown + UNLISTED
    return float(np.log(ours / others))


def fit(score: RollingScore, heard: Listened) -> float:
    """Likeness of a score for the bearing it is scored for."""
    known = {bearing.name: orders_of(bearing) for bearing in heard.machine.bearings}
    bearing = known[score.bearing]
    assert bearing is not None, "only bearings of known inside are listened for"
    return likeness(score, bearing)
