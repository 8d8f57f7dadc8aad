"""Findings about tones of an unknown machine: what they are likely to be, and no accusation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log

from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.single.odds import DEPTH_SLOPE, EVEN_DEPTH
from vibecheck.diagnosis.untabled.told import Told
from vibecheck.diagnosis.untabled.tone_nature import Placed, Role
from vibecheck.diagnosis.untabled.tones import (
    MOST_SAID,
    MOVES,
    NO_FAULT,
    UNSAID,
    fixed_tone,
    lone_tones,
    teeth_tones,
)

MOST_SURE = 0.6
"""A bearing nobody has numbers for, on a shaft nobody has named, is never surer than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kind:
    """How one role is reported."""

    part: str
    part_kind: str
    fault: str
    test: Fact


KINDS: Mapping[Role, _Kind] = {
    "mains": _Kind(
        part="the mains",
        part_kind="mains",
        fault="mains hum",
        test=fact("coast_down", seconds=10.0),
    ),
    "shaft": _Kind(
        part="a turning shaft",
        part_kind="shaft",
        fault=NO_FAULT,
        test=fact("gear_table"),
    ),
    "multiple": _Kind(
        part="teeth, blades or bars",
        part_kind="unknown",
        fault=NO_FAULT,
        test=fact("gear_table"),
    ),
    "repeats": _Kind(
        part="something that repeats",
        part_kind="unknown",
        fault=NO_FAULT,
        test=fact("state_speed"),
    ),
}


def untabled_findings(told: Sequence[Told]) -> tuple[Finding, ...]:
    """Everything worth listing, what could be a fault first."""
    found = [_bearing(told), fixed_tone(told)]
    found += [_role(told, role) for role in KINDS]
    found.append(lone_tones(told))
    kept = [finding for finding in found if finding is not None]
    return tuple(sorted(kept, key=lambda finding: -finding.probability))


def _bearing(told: Sequence[Told]) -> Finding | None:
    """Families at broken multiples of a shaft, as rolling bearings make them."""
    rows = [one for one in told if _broken(one)]
    if not rows:
        return None
    best = max(rows, key=_depth)
    broken = [each for one in rows for each in _broken(one)]
    evidence = [_family_fact(each) for each in broken[:MOST_SAID]]
    evidence += _order_facts(best)
    evidence += _moving(told, ("broken",))
    if len(told) == 1:
        evidence.append(fact("one_take_only"))
    probability = MOST_SURE / (1.0 + exp(-DEPTH_SLOPE * log(max(_depth(best), 1e-3) / EVEN_DEPTH)))
    verdict = verdict_for(probability)
    return Finding(
        part="a rolling bearing or a belt",
        part_kind="bearing",
        fault="bearing worn, race not known",
        verdict=verdict if verdict == "possible" else "cannot tell",
        probability=probability,
        evidence=tuple(evidence),
        next_test=fact("bearing_numbers", parts=("the bearings on that shaft",)),
        heard=tuple(one.label for one in rows),
        expected=tuple(one.label for one in told),
        rates_hz={one.label: _broken(one)[0].family.hz for one in rows},
    )


def _broken(one: Told) -> list[Placed]:
    return [each for each in one.families if each.role in ("broken", "companion")]


def _depth(one: Told) -> float:
    """How deep the strikes of the broken families are, over the mean; 0 where none was measured."""
    if one.bearing is None or one.shaft is None:
        return 0.0
    orders = [each.family.hz / one.shaft.hz for each in one.families if each.role == "broken"]
    depths = [
        family.depth
        for family in one.bearing.families
        if any(abs(family.order / order - 1) < MOVES for order in orders)
    ]
    return max(depths, default=0.0)


def _order_facts(one: Told) -> list[Fact]:
    """That the rate is no whole multiple of the shaft, and whether two races add up."""
    first = next((each for each in one.families if each.role == "broken"), None)
    if first is None or one.shaft is None:
        return []
    order = first.family.hz / one.shaft.hz
    found = [
        fact(
            "order_not_whole",
            order=order,
            rotor=f"the shaft at {one.shaft.hz:.2f} Hz",
            apart_hz=abs(order - round(order)) * one.shaft.hz,
            position=one.label,
        )
    ]
    if one.bearing is not None and one.bearing.both_races:
        found.append(fact("sum_is_whole", count=one.bearing.readings[0].elements))
    return found


def _role(told: Sequence[Told], role: Role) -> Finding | None:
    rows = [(one, each) for one in told for each in one.families if each.role == role]
    if not rows:
        return None
    kind = KINDS[role]
    evidence = [_family_fact(each) for _, each in rows[:MOST_SAID]]
    if role == "shaft":
        evidence += [each for one, _ in rows[:MOST_SAID] for each in teeth_tones(one)][:MOST_SAID]
    evidence += _moving(told, (role,))
    return Finding(
        part=kind.part,
        part_kind=kind.part_kind,
        fault=kind.fault,
        verdict="cannot tell",
        probability=UNSAID,
        evidence=tuple(evidence),
        next_test=kind.test,
        heard=tuple(dict.fromkeys(one.label for one, _ in rows)),
        expected=tuple(one.label for one in told),
        rates_hz={one.label: each.family.hz for one, each in reversed(rows)},
    )


def _family_fact(each: Placed) -> Fact:
    return fact(
        "family_found",
        count=len(each.family.tones),
        spacing_hz=each.family.hz,
        first_hz=min(each.family.tones) * each.family.hz,
        nature=each.nature,
    )


def _moving(told: Sequence[Told], roles: Sequence[Role]) -> list[Fact]:
    """Whether the strongest family of a role moves from take to take."""
    rates = [
        next(each.family.hz for each in one.families if each.role in roles)
        for one in told
        if any(each.role in roles for each in one.families)
    ]
    if len(rates) < 2 or max(rates) / min(rates) - 1 < MOVES:
        return []
    return [fact("family_moves", low_hz=min(rates), high_hz=max(rates))]
