"""Who stands in one group, and what probability the group has."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.chance.standing_out import Excess
from vibecheck.diagnosis.readings.keys import Key
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones, ToneTakes
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


def test_a_gear_that_swells_on_a_shaft_at_fault_is_possible_no_more():
    shaft = Suspect(parts=("I",), part_kind="shaft", fault="looseness", rotor="I")
    swells = judged("36T", 0.97, fault="eccentric or worn gear")
    for sure, most in ((0.98, 0.6), (0.4, 0.97)):
        loose = Judged(suspect=shaft, probability=sure, log_odds=0.0)
        told = {group.parts: group.probability for group in named([loose, swells])}
        assert told["36T",] == pytest.approx(most)
        assert told["I",] == pytest.approx(sure)


def test_a_broken_tooth_on_such_a_shaft_is_said_as_surely():
    shaft = Suspect(parts=("I",), part_kind="shaft", fault="looseness", rotor="I")
    loose = Judged(suspect=shaft, probability=0.98, log_odds=0.0)
    found = named([loose, judged("36T", 0.97, keys(1, 2))])
    assert [group.probability for group in found] == [0.98, 0.97]


def turning(heard_in: tuple[int, ...], takes: int) -> Suspect:
    tones = RotorTones(
        rotor="I",
        together=("I",),
        above_db=20.0,
        above_spread_db=5.0,
        growth=2.0,
        twice_db=0.0,
        heard=len(heard_in),
        takes=takes,
        log_imbalance=0.0,
        log_bent=8.0,
        once=ToneTakes(above_db={}, at_most_db={}),
        twice=ToneTakes(above_db=dict.fromkeys(heard_in, 20.0), at_most_db={}),
    )
    return Suspect(
        parts=("I",),
        part_kind="shaft",
        fault="bent or misaligned",
        rotor="I",
        detail={"tones": tones},
    )


@pytest.mark.parametrize(
    ("heard_in", "takes", "most"),
    [((0, 2), 4, 0.8), ((0, 1, 2), 4, 0.99), ((0, 2), 2, 0.99)],
    ids=["only with the gear", "without it too", "never without it"],
)
def test_a_shaft_heard_only_where_a_swelling_gear_of_it_works_may_be_straight(
    heard_in: tuple[int, ...], takes: int, most: float
):
    swell = Swell(
        gear="49T",
        rotor="I",
        shares={0: 0.4, 2: 0.5},
        share=0.45,
        excess=Excess(over=1.5, spread=0.4, readings=8),
        log_odds=3.0,
    )
    gear = Suspect(
        parts=("49T",),
        part_kind="gear",
        fault="eccentric or worn gear",
        rotor="I",
        detail={"swell": swell},
    )
    shaft = Judged(suspect=turning(heard_in, takes), probability=0.99, log_odds=0.0)
    found = named([shaft, Judged(suspect=gear, probability=0.7, log_odds=0.0)])
    told = {group.parts: group.probability for group in found}
    assert told["I",] == pytest.approx(most)
    assert told["49T",] == pytest.approx(0.6)
