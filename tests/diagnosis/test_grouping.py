"""Who stands in one group, and what probability the group has."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.readings.keys import Key
from vibecheck.diagnosis.suspects.joint import Judged
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.grouping import faults_meant, named

TOOTH, RACE = "broken or damaged tooth", "outer race"


def keys(*takes: int, rate: float = 1.0) -> frozenset[Key]:
    return frozenset(("knock", take, rate) for take in takes)


def judged(part: str, probability: float, claims=frozenset(), fault: str = TOOTH) -> Judged:
    suspect = Suspect(parts=(part,), part_kind="gear", fault=fault, rotor="I", claims=claims)
    return Judged(suspect=suspect, probability=probability, log_odds=0.0)


def test_two_gears_that_share_their_readings_and_halve_the_probability_are_named_together():
    found = named([judged("24T", 0.49, keys(1, 2, 3, 4)), judged("36T", 0.48, keys(1, 2, 3, 5))])
    assert [set(group.parts) for group in found] == [{"24T", "36T"}]
    assert found[0].probability == pytest.approx(0.97, abs=0.01)


def test_gears_heard_in_different_takes_are_not_one_group():
    found = named([judged("24T", 0.9, keys(1, 2)), judged("36T", 0.6, keys(3, 4))])
    assert [group.parts for group in found] == [("24T",), ("36T",)]


def test_gears_of_different_rates_are_not_one_group():
    found = named([judged("24T", 0.9, keys(1, 2)), judged("36T", 0.6, keys(1, 2, rate=0.4))])
    assert len(found) == 2


def test_a_group_is_never_surer_than_certain_and_never_less_sure_than_its_likeliest_member():
    found = named([judged("a", 0.6, keys(1, 2)), judged("b", 0.55, keys(1, 2))])
    assert 0.6 <= found[0].probability <= 1.0


def test_what_is_hardly_likely_is_not_named():
    assert named([judged("24T", 0.05, keys(1)), judged("36T", 0.1, keys(2))]) == []


def test_the_likeliest_comes_first_whatever_the_order_given():
    given = [judged("low", 0.4, fault=RACE), judged("high", 0.95, fault=RACE)]
    assert [group.lead.suspect.parts for group in named(given)] == [("high",), ("low",)]


def test_an_unlikely_suspect_alike_does_not_blur_a_sure_one():
    found = named([judged("24T", 0.99, keys(1, 2)), judged("36T", 0.005, keys(1, 2))])
    assert found[0].parts == ("24T",)


def test_two_faults_of_one_gear_that_share_the_belief_are_told_as_one_open_fault():
    found = named([judged("18T", 0.55, fault="eccentric or worn gear"), judged("18T", 0.4)])
    assert [(group.fault, group.parts) for group in found] == [("gear worn or damaged", ("18T",))]
    assert found[0].probability == pytest.approx(0.95)
    assert faults_meant(found[0].fault) == (TOOTH, "eccentric or worn gear")


def test_a_likely_fault_is_named_by_its_own_name():
    found = named([judged("18T", 0.88, fault="eccentric or worn gear"), judged("18T", 0.11)])
    assert [group.fault for group in found] == ["eccentric or worn gear"]


def test_two_races_of_one_bearing_are_a_bearing_and_of_two_bearings_they_are_not():
    one = [judged("II front", 0.48, fault=RACE), judged("II front", 0.47, fault="inner race")]
    assert [group.fault for group in named(one)] == ["bearing worn, race not known"]
    two = [judged("II front", 0.48, fault=RACE), judged("III rear", 0.47, fault="inner race")]
    assert [group.fault for group in named(two)] == [RACE, "inner race"]
