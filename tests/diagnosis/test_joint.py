"""Weighing all suspects together: who is named, who is explained away, who is left alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.chance.scales import SizeLaw
from vibecheck.diagnosis.readings.keys import Key
from vibecheck.diagnosis.suspects.joint import Readings, judge
from vibecheck.diagnosis.suspects.suspect import Suspect

LAWS = {
    "knock": SizeLaw(healthy=0.5, healthy_spread=0.35, faulty=3.5, faulty_spread=0.75, shape=3.0),
    "halves": SizeLaw(healthy=0.4, healthy_spread=0.3, faulty=1.5, faulty_spread=0.45, shape=4.0),
}
TAKES = range(8)


def knock(take: int, rate: float) -> Key:
    return ("knock", take, rate)


def gear(name: str, takes, rate: float, prior: float = 2e-3) -> Suspect:
    claims = frozenset(knock(take, rate) for take in takes)
    return Suspect(
        parts=(name,),
        part_kind="gear",
        fault="broken or damaged tooth",
        rotor=str(rate),
        claims=claims,
        prior=prior,
    )


def loose(name: str, rate: float) -> Suspect:
    claims = frozenset(("halves", take, rate) for take in TAKES)
    return Suspect(
        parts=(name,), part_kind="shaft", fault="loose", rotor=name, claims=claims, prior=2e-3
    )


def readings(values, leaks=None) -> Readings:
    rows: dict[str, tuple[Key, ...]] = {}
    for key in values:
        row = f"{key[0]} {key[2]}"
        rows[row] = (*rows.get(row, ()), key)
    return Readings(values=values, rows=rows, laws=LAWS, leaks=leaks or {})


def healthy_values(seed: int = 1) -> dict[Key, float]:
    """Two shafts whose healthy knock and half-order readings scatter as the laws say."""
    rng = np.random.default_rng(seed)
    values: dict[Key, float] = {}
    for rate in (1.0, 0.6):
        for kind in LAWS:
            size = LAWS[kind].healthy * float(np.exp(0.2 * rng.standard_normal()))
            for take in TAKES:
                values[kind, take, rate] = size * float(rng.gamma(4.0)) / 4.0
    return values


FIRST, SECOND = TAKES[:4], TAKES[4:]
GEARS = [
    gear("24T I", FIRST, 1.0),
    gear("36T I", SECOND, 1.0),
    gear("48T II", FIRST, 0.6),
    gear("52T II", SECOND, 0.6),
]


def chances(suspects, given) -> dict[str, float]:
    found = judge(suspects, given)
    return {one.suspect.parts[0]: one.probability for one in found}


def test_a_lone_knocking_gear_is_named_and_no_other():
    values = healthy_values() | {knock(take, 1.0): 5.0 for take in FIRST}
    found = chances(GEARS, readings(values))
    assert found["24T I"] > 0.98
    assert max(chance for name, chance in found.items() if name != "24T I") < 0.05


def test_healthy_readings_accuse_nobody():
    for seed in range(30):
        found = chances(GEARS, readings(healthy_values(seed)))
        assert max(found.values()) < 0.3, (seed, found)


def test_a_gear_that_is_silent_where_it_works_is_not_named():
    values = healthy_values() | {knock(take, 1.0): 5.0 for take in FIRST[:1]}
    assert chances(GEARS, readings(values))["24T I"] < 0.5


def test_two_knocking_gears_are_both_named():
    values = healthy_values() | {knock(take, 1.0): 5.0 for take in FIRST}
    values |= {knock(take, 0.6): 5.0 for take in SECOND}
    found = chances(GEARS, readings(values))
    assert found["24T I"] > 0.9
    assert found["52T II"] > 0.9


def test_two_gears_with_the_same_readings_share_the_blame():
    values = healthy_values() | {knock(take, 1.0): 5.0 for take in FIRST}
    found = chances([*GEARS, gear("30T I", FIRST, 1.0)], readings(values))
    assert abs(found["24T I"] - found["30T I"]) < 1e-6
    assert 0.45 < found["24T I"] < 0.55


def test_the_likelier_of_two_alike_by_prior_has_the_greater_chance():
    values = healthy_values() | {knock(take, 1.0): 5.0 for take in FIRST}
    found = chances([*GEARS, gear("30T I", FIRST, 1.0, prior=6e-3)], readings(values))
    assert found["30T I"] > 2.5 * found["24T I"]


def test_a_leak_never_creates_evidence_for_a_gear_that_does_not_knock():
    values = healthy_values() | {("halves", take, 1.0): 2.0 for take in TAKES}
    leaks = {knock(take, 0.6): (("halves", take, 1.0),) for take in TAKES}
    suspects = [*GEARS, loose("I", 1.0)]
    found = chances(suspects, readings(values, leaks))
    assert found["I"] > 0.9
    assert max(found["48T II"], found["52T II"]) < 0.1


def test_a_leak_explains_away_what_a_true_knock_raises():
    values = healthy_values() | {knock(take, 1.0): 6.0 for take in TAKES}
    values |= {("halves", take, 1.0): 0.95 for take in TAKES}
    suspects = [gear("24T I", TAKES, 1.0), *GEARS[2:], loose("I", 1.0)]
    leaks = {knock(take, 1.0): (("halves", take, 1.0),) for take in TAKES}
    without = chances(suspects, readings(values))["I"]
    explained = chances(suspects, readings(values, leaks))
    assert explained["24T I"] > 0.95
    assert explained["I"] < 0.5 * without


def test_every_chance_is_a_chance_and_the_order_of_suspects_does_not_matter():
    values = healthy_values() | {knock(take, 1.0): 3.0 for take in FIRST}
    one, other = chances(GEARS, readings(values)), chances(GEARS[::-1], readings(values))
    for name, chance in one.items():
        assert 0.0 <= chance <= 1.0
        assert abs(chance - other[name]) < 1e-9


def test_a_gear_as_lively_as_sound_ones_may_be_is_not_named_for_its_calm_neighbour():
    """Two gears of one rotor, one of them with a proud tooth: the calm one makes it no worse."""
    law = replace(LAWS["knock"], lively_share=2e-2)
    low, high = gear("low", range(4), 1.0, 5e-3), gear("high", range(4, 8), 1.0, 5e-3)
    sizes = [0.5, 0.6, 0.4, 0.6, 1.5, 3.6, 2.2, 3.1]
    values = {knock(take, 1.0): size for take, size in enumerate(sizes)}
    given = replace(readings(values), laws={**LAWS, "knock": law})
    told = replace(given, alone=(low.claims, high.claims))
    assert chances([low, high], told)["high"] < 0.85 < chances([low, high], given)["high"]
