"""Bearings whose numbers nobody knows, over a whole sweep.

A worn bearing strikes at an order of its shaft that is no whole number and stays the same while
the levers change everything else. Its size, if known, says within what range that order must lie.
One family alone never tells which race, nor which of two bearings on one shaft.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.chance.matching import Field
from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.rolling import SLIP_SCATTER, SPEAKS, RollingScore, peeled
from vibecheck.diagnosis.readings.rolling_fields import rolling_fields
from vibecheck.diagnosis.suspects.bearing_elsewhere import heard_elsewhere
from vibecheck.diagnosis.suspects.bearing_size import expected_orders
from vibecheck.diagnosis.suspects.rolling import (
    MOTOR_DEEP,
    SAME_LINE,
    among_the_fastest,
    depth_where_fast,
    rolling_odds,
)
from vibecheck.diagnosis.suspects.unknown_order import order_range, sharpened_order, unknown_order
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing

NEVER_SURER = 0.88
"""Likely at most: without numbers nothing says what the family belongs to but its shaft."""
ALIKE_MOST, SHALLOW, ALIKE = 0.45, 0.3, 0.6
"""And possible at most where it is shallower than this, or hardly deeper than another shaft's:
sound bearings may be heard, and often all of a machine's are."""
PRIOR = 3e-3
LEAST_SAID = 0.005
"""An order is written to four figures; no smaller error is claimed of it."""
WHOLE = 0.005
"""An order so near a whole one is as well any gear's or chuck's."""
PLAINLY = 6.0
"""Log odds from which a known bearing is as good as named."""


def unknown_rolling(heard: Listened) -> list[Finding]:
    """At most one finding a shaft: a family that only a bearing of unknown numbers makes."""
    unknown = [b for b in heard.machine.bearings if orders_of(b) is None and b.kind != "plain"]
    if not unknown or not heard.takes or _spoken_for(heard):
        return []
    fields = rolling_fields(heard.takes, unknown)
    known = {name for take in heard.takes for name in take.turning_ratios()}
    shafts = {b.shaft: [o for o in unknown if o.shaft == b.shaft] for b in unknown}
    shafts = {shaft: own for shaft, own in shafts.items() if shaft in known}
    found: list[Finding] = []
    depths: dict[str, float] = {}
    left: Sequence[Mapping[str, Field]] = fields
    while shafts:
        scores = [unknown_order(heard, shaft, own, left) for shaft, own in shafts.items()]
        lead = min((s for s in scores if s), key=lambda s: s.log10_chance, default=None)
        if lead is None:
            break
        made = _finding(heard, shafts.pop(lead.shaft), lead, left)
        if made is not None:
            found.append(made)
            depths[made.part] = depth_where_fast(lead, heard.takes)
        left = [
            peeled(take, field, lead, float(order))
            for take, field, order in zip(heard.takes, left, lead.orders, strict=True)
        ]
    return _among_their_like(_one_shaft_each(found), depths, heard)


def _among_their_like(
    findings: Sequence[Finding], depths: Mapping[str, float], heard: Listened
) -> list[Finding]:
    """Those that are not deep, or not deeper than another shaft's, are possible at most."""
    shafts = {bearing.name: bearing.shaft for bearing in heard.machine.bearings}
    told = []
    for finding in findings:
        depth = depths[finding.part]
        others = [depths[other.part] for other in findings if other is not finding]
        fast = among_the_fastest(shafts[finding.part], heard.takes)
        shallow = depth < (MOTOR_DEEP if fast else SHALLOW)
        alike = shallow or any(other > ALIKE * depth for other in others)
        if alike:
            said = (*finding.evidence, fact("bearing_shallow", depth=100 * depth))
            probability = min(finding.probability, ALIKE_MOST)
            verdict = verdict_for(probability)
            finding = replace(finding, probability=probability, verdict=verdict, evidence=said)
        told.append(finding)
    return told


def _spoken_for(heard: Listened) -> bool:
    """Whether a known bearing is plainly heard: its echoes at other orders accuse nobody else."""
    return any(
        score.family.name != "cage"
        and rolling_odds(score, heard.takes) > PLAINLY
        and not heard_elsewhere(score, heard)
        for score in heard.rolling
    )


def _one_shaft_each(findings: Sequence[Finding]) -> list[Finding]:
    """Of findings that rest on the same lines (seen from two shafts), the surest."""
    kept: list[Finding] = []
    for finding in findings:
        same = [
            other
            for other in kept
            if all(
                abs(rate / other.rates_hz[label] - 1.0) < 0.005
                for label, rate in finding.rates_hz.items()
                if other.rates_hz.get(label)
            )
        ]
        if not same:
            kept.append(finding)
    return kept


def _finding(
    heard: Listened,
    bearings: Sequence[Bearing],
    score: RollingScore,
    fields: Sequence[Mapping[str, Field]],
) -> Finding | None:
    prior = PRIOR * len(bearings)
    odds = prior / (1.0 - prior) * float(np.exp(rolling_odds(score, heard.takes)))
    probability = min(odds / (1.0 + odds), NEVER_SURER)
    if probability < 0.15:
        return None
    order, error = sharpened_order(score, fields)
    if abs(order - round(order)) < WHOLE + 2.0 * error:
        return None
    takes = [take for take in heard.takes if take.ratio(score.shaft)]
    strong = np.nan_to_num(score.surprise) > 1.0
    names = tuple(bearing.name for bearing in bearings)
    names += tuple(_alike(heard, score.shaft, order))
    names += tuple(_guessed(heard, score.shaft, order))
    loud = [take.label for take, yes in zip(heard.takes, strong, strict=True) if yes]
    rates = {take.label: order * (take.rotor_hz(score.shaft) or 0.0) for take in takes}
    spindle = heard.machine.spindle
    return Finding(
        part=names[0],
        parts=names,
        part_kind="bearing",
        fault="bearing worn, race not known",
        verdict=verdict_for(probability),
        probability=probability,
        evidence=tuple(_evidence(bearings, score, order, error, takes)),
        ruled_out=_whole_multiples(heard, score.shaft),
        next_test=fact("bearing_numbers", parts=names),
        heard=tuple(dict.fromkeys(loud)),
        expected=tuple(dict.fromkeys(take.label for take in takes)),
        rates_hz=rates,
        per_spindle_turn={
            take.label: rates[take.label] / turn
            for take in takes
            if (turn := take.rotor_hz(spindle))
        },
    )


def _evidence(
    bearings: Sequence[Bearing],
    score: RollingScore,
    order: float,
    error: float,
    takes: Sequence[Heard],
) -> list[Fact]:
    shaft = score.shaft
    fastest = max(takes, key=lambda take: take.rotor_hz(shaft) or 0.0)
    facts = [
        fact("order_range", order=order, rotor=shaft, error=max(float(f"{error:.1g}"), LEAST_SAID)),
        fact(
            "order_not_whole",
            order=order,
            rotor=shaft,
            apart_hz=abs(order - round(order)) * (fastest.rotor_hz(shaft) or 0.0),
            position=fastest.label,
        ),
    ]
    for bearing in bearings:
        size = expected_orders(bearing)
        if size is not None and size.outer[0] <= order <= size.outer[1]:
            facts.append(
                fact(
                    "order_fits_size",
                    low=size.fewest,
                    high=size.most,
                    low_order=size.outer[0],
                    high_order=size.outer[1],
                )
            )
            break
    facts.append(fact("race_open", rotor=shaft))
    return facts


def _whole_multiples(heard: Listened, shaft: str) -> tuple[Fact, ...]:
    gears = [gear.name for gear in heard.machine.gears if gear.shaft == shaft]
    return tuple(fact("not_a_whole_multiple", part=name, rotor=shaft) for name in gears[:2])


def _alike(heard: Listened, shaft: str, order: float) -> list[str]:
    """Bearings of unknown numbers on other shafts that keep a fixed ratio to this one."""
    found = []
    for bearing in heard.machine.bearings:
        if bearing.shaft == shaft or bearing.kind == "plain" or orders_of(bearing) is not None:
            continue
        ratio = _fixed_ratio(heard, bearing.shaft, shaft)
        if ratio is None:
            continue
        low, high = order_range([bearing])
        if low <= order / ratio <= high:
            found.append(bearing.name)
    return found


def _guessed(heard: Listened, shaft: str, order: float) -> list[str]:
    """Bearings of known numbers on shafts whose speed was not heard, that would fit as well.

    A rolling element strikes both races, seldom alike: its family may be heard at half its rate.
    """
    found = []
    for score in heard.rolling:
        ratio = _fixed_ratio(heard, score.shaft, shaft) if score.reach else None
        if ratio is None or score.evidence < SPEAKS or score.bearing in found:
            continue
        times = score.order * ratio / order
        if round(times) in (1, 2) and abs(times / round(times) - 1.0) < SAME_LINE:
            found.append(score.bearing)
    return found


def _fixed_ratio(heard: Listened, one: str, other: str) -> float | None:
    """Speed of one shaft over another's when it is the same in all takes that tell of both."""
    known = [take.expected_ratios() for take in heard.takes]
    pairs = [(each.get(one), each.get(other)) for each in known]
    ratios = [own / base for own, base in pairs if own and base]
    if 2 * len(ratios) < len(pairs) or np.ptp(ratios) > 2 * SLIP_SCATTER * ratios[0]:
        return None
    return ratios[0]
