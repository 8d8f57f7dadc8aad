"""Bearings of known numbers over a whole sweep: families scored in every take, and added up.

Takes add as likelihood ratios, each with a slip close to the common one. The deepest family that is
plain is taken out of all takes before the others are judged, so that its echoes accuse nobody.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.added_up import (
    MOST,
    STEP,
    decoy_chance,
    hidden,
    own_place,
    take_ratios,
    together,
    within,
)
from vibecheck.diagnosis.chance.families import Family, bearing_families
from vibecheck.diagnosis.chance.matching import Field
from vibecheck.diagnosis.chance.surprise import free_places, surprise
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.rolling_fields import halves_beside, line_depth
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing

Numbers = NDArray[np.float64]

SPAN = 1.35
HEARD_THERE = 2.0
"""Surprise (decimal) from which a take counts as having a family."""
SPEAKS = 5.0
"""Evidence (nats) from which an element counts as heard at all."""
SLIP_SCATTER = 2.5e-3
"""How far the slip may differ from take to take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollingScore:
    """One bearing element over the sweep.

    Attributes
    ----------
    reach : float
        How far the speed of the shaft, which was not heard itself, may be from the expected one.
    log10_chance : float
        Chance that a decoy does as well over all takes; decimal logarithm.
    order : float
        Order of its own shaft at which it was found.
    slip : float
        That order over the computed one, less 1.
    surprise : ndarray, shape (takes,)
        Decimal surprise of each take at that order; nan where the shaft's speed is not known.
    orders : ndarray, shape (takes,)
        Order at which each take has it, within the scatter of slip.
    depth : ndarray, shape (takes,)
        Depth of modulation.
    halves : float
        Share of the shaft's half multiples that stand out beside it, in the median take.
    evidence : float
        Natural log of the likelihood ratio of all takes, flaw against nothing.
    """

    bearing: str
    shaft: str
    family: Family
    reach: float = 0.0
    log10_chance: float
    order: float
    slip: float
    surprise: Numbers
    orders: Numbers
    depth: Numbers
    evidence: float
    halves: float = 0.0


def score_rolling(
    takes: Sequence[Heard],
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
) -> list[RollingScore]:
    """Every element of every bearing with known numbers, judged over the sweep.

    When one is plain, its lines and their sidebands are taken out of all takes and the others are
    judged again in what is left, so that its echoes at other orders accuse nobody.
    """
    found = _scored(takes, bearings, fields, fields)
    if not found:
        return found
    lead = _leader(found)
    if lead.evidence <= 0.0:
        return found
    given = zip(takes, fields, lead.orders, strict=True)
    left = [peeled(take, field, lead, float(order)) for take, field, order in given]
    again = _scored(takes, bearings, left, left)
    own = _scored(takes, [b for b in bearings if b.shaft == lead.shaft], fields, left)
    on_lead = {(s.bearing, s.family.name): s for s in own if _on_lead(s, lead)}
    return [on_lead.get((s.bearing, s.family.name), s) for s in again]


def _leader(found: Sequence[RollingScore]) -> RollingScore:
    """The family whose lines the others echo: plain, and of those that are, the deepest.

    A cage leads only where no race and no ball speaks: balls pass the load once a cage turn.
    """
    others = [s for s in found if s.family.name != "cage"]
    able = others if any(s.evidence > SPEAKS for s in others) else found
    most = max(_plainness(s) for s in able)
    plain = [s for s in able if _plainness(s) >= most - 0.3 * abs(most)]
    return max(plain, key=lambda s: float(np.nansum(s.depth**2)) + 1e-6 * _plainness(s))


def _plainness(score: RollingScore) -> float:
    """Evidence of all takes, and how far surprises go beyond what evidence counts."""
    beyond = np.clip(np.nan_to_num(score.surprise) - MOST, 0.0, 4 * MOST)
    return score.evidence + float(beyond.sum())


def _on_lead(score: RollingScore, lead: RollingScore) -> bool:
    """Whether a score is the leader's own, or rests on its line (a bearing of the same numbers)."""
    if (score.bearing, score.family.name) == (lead.bearing, lead.family.name):
        return True
    return score.shaft == lead.shaft and abs(score.order / lead.order - 1.0) < 2 * SLIP_SCATTER


def peeled(
    take: Heard, field: Mapping[str, Field], lead: RollingScore, order: float
) -> dict[str, Field]:
    """A take's fields with one family, found there at ``order``, counted as explained."""
    if lead.shaft not in field:
        return dict(field)
    left = {}
    for shaft, ground in field.items():
        known = take.expected_ratios()
        scale = known[lead.shaft] / known[shaft]
        spacings = [k * scale for k in (1.0, 2.0, 3.0, 4.0)]
        spacings += [k * scale for k in lead.family.sidebands if k not in (1.0, 2.0)]
        left[shaft] = ground.without(order * scale, spacings=spacings)
        if lead.family.name == "roller":
            cage = lead.family.sidebands[0] * order / lead.family.order
            left[shaft] = left[shaft].without(cage * scale, spacings=())
    return left


def _scored(
    takes: Sequence[Heard],
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
    yardsticks: Sequence[Mapping[str, Field]],
) -> list[RollingScore]:
    found = []
    for bearing in bearings:
        orders = orders_of(bearing)
        if orders is None:
            continue
        families = bearing_families(
            elements=orders.elements or round(orders.outer + orders.inner),
            orders=dict(orders.items()),
            part=bearing.name,
        )
        reach = _reach(takes, bearing.shaft)
        for family in families:
            score = _over_sweep(bearing, family, reach, families, fields, yardsticks)
            if score is not None:
                found.append(score)
    return found


def _reach(takes: Sequence[Heard], shaft: str) -> float:
    """How far the shaft's speed may be off in any take."""
    expected = [take.expected_ratio(shaft) for take in takes]
    return max((each[1] for each in expected if each is not None), default=0.0)


def _over_sweep(
    bearing: Bearing,
    family: Family,
    reach: float,
    families: Sequence[Family],
    fields: Sequence[Mapping[str, Field]],
    yardsticks: Sequence[Mapping[str, Field]],
) -> RollingScore | None:
    """One family over all takes; decoys are scored in ``yardsticks``."""
    trial = family.order * np.exp(np.arange(-np.log(SPAN), np.log(SPAN), STEP))
    inside = trial >= family.lowest_order * (1.0 - reach)
    inside &= trial <= family.highest_order * (1.0 + reach)
    flanks = [f.order + way * s for f in families for s in f.sidebands for way in (-1, 1)]
    free = free_places(trial, [f.order for f in families], flanks=flanks, reach=reach)
    shaft = bearing.shaft
    pairs = [
        surprise(field[shaft], family, trial, free, yardstick[shaft]) if shaft in field else None
        for field, yardstick in zip(fields, yardsticks, strict=True)
    ]
    grounds = [field[shaft] for field in fields if shaft in field]
    known = [pair for pair in pairs if pair is not None]
    if not known:
        return None
    speeds = [ground.shaft_hz for ground in grounds]
    unseen = [hidden(ground, family, trial) for ground in grounds]
    own, decoys = (
        together(
            [
                np.where(off, 1.0, take_ratios(pair[k]))
                for pair, off in zip(known, unseen, strict=True)
            ],
            speeds,
        )
        for k in (0, 1)
    )
    best = int(np.argmax(np.where(inside, own, -np.inf)))
    evidence = within(own, inside)
    places = [None if pair is None else own_place(pair[0], best) for pair in pairs]
    at = np.array([np.nan if place is None else trial[place] for place in places])
    order = float(trial[best])
    return RollingScore(
        bearing=bearing.name,
        shaft=shaft,
        family=family,
        reach=reach,
        log10_chance=decoy_chance(evidence, decoys, free, int(inside.sum())),
        order=order,
        slip=order / family.order - 1.0,
        surprise=np.array(
            [
                np.nan if pair is None or place is None else float(pair[0][place])
                for pair, place in zip(pairs, places, strict=True)
            ]
        ),
        orders=at,
        depth=np.array(
            [
                np.nan if p is None else line_depth(field[shaft], float(where))
                for p, field, where in zip(pairs, fields, at, strict=True)
            ]
        ),
        evidence=evidence,
        halves=float(
            np.median(
                [
                    halves_beside(field[shaft], float(where))
                    for field, where in zip(fields, at, strict=True)
                    if shaft in field and np.isfinite(where)
                ]
            )
        ),
    )
