"""What is at fault on one shaft, and what is only carried along by it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.standing_out import Excess
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones, ToneTakes
from vibecheck.diagnosis.suspects.joint import Judged
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.company import in_company

ECCENTRIC, TOOTH = "eccentric or worn gear", "broken or damaged tooth"


def judged(part: str, kind: str, fault: str, probability: float) -> Judged:
    suspect = Suspect(parts=(part,), part_kind=kind, fault=fault, rotor="I")
    return Judged(suspect=suspect, probability=probability, log_odds=0.0)


def said(*given: Judged) -> dict[str, float]:
    return {each.suspect.parts[0]: each.probability for each in in_company(given)}


@pytest.mark.parametrize(("sure", "most"), [(0.98, 0.6), (0.4, 0.97)])
@pytest.mark.parametrize("kind", ["shaft", "bearing"])
def test_a_gear_that_swells_on_a_shaft_at_fault_is_possible_no_more(
    kind: str, sure: float, most: float
):
    swells = judged("36T", "gear", ECCENTRIC, 0.97)
    assert said(judged("X", kind, "any", sure), swells) == {"X": sure, "36T": most}


def test_a_broken_tooth_on_such_a_shaft_is_said_as_surely():
    told = said(judged("I", "shaft", "any", 0.98), judged("36T", "gear", TOOTH, 0.97))
    assert told == {"I": 0.98, "36T": 0.97}


def test_a_gear_whose_tooth_knocks_plainly_need_not_run_out_as_well():
    tooth = Judged(
        suspect=Suspect(parts=("36T",), part_kind="gear", fault=TOOTH, rotor="I"),
        probability=0.7,
        log_odds=5.0,
    )
    swells = judged("36T", "gear", ECCENTRIC, 0.28)
    told = {each.suspect.fault: each.probability for each in in_company([tooth, swells])}
    assert told == {TOOTH: pytest.approx(0.98), ECCENTRIC: 0.0}
    faint = replace(tooth, log_odds=1.0)
    told = {each.suspect.fault: each.probability for each in in_company([faint, swells])}
    assert told == {TOOTH: 0.7, ECCENTRIC: 0.28}


@pytest.mark.parametrize(("order", "most"), [(6.49, 0.6), (6.31, 0.99)])
def test_half_turns_may_be_those_of_a_bad_bearing_that_strikes_at_halves(order: float, most: float):
    """An inner race at 6.49 of its shaft has side lines near every half turn."""
    empty = np.zeros(0)
    score = RollingScore(
        bearing="front",
        shaft="I",
        family=Family(name="inner", order=6.4),
        order=order,
        slip=order / 6.4 - 1.0,
        log10_chance=-9.0,
        surprise=empty,
        orders=empty,
        depth=empty,
        evidence=9.0,
    )
    worn = Judged(
        suspect=Suspect(
            parts=("front",),
            part_kind="bearing",
            fault="inner race",
            rotor="I",
            detail={"score": score},
        ),
        probability=0.95,
        log_odds=0.0,
    )
    rattles = judged("I", "shaft", "loose on its shaft or in its seat", 0.99)
    assert said(worn, rattles)["I"] == most


def bent(heard_in: tuple[int, ...], takes: int) -> Suspect:
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
        fault=ECCENTRIC,
        rotor="I",
        detail={"swell": swell},
    )
    shaft = Judged(suspect=bent(heard_in, takes), probability=0.99, log_odds=0.0)
    swelling = Judged(suspect=gear, probability=0.7, log_odds=0.0)
    assert said(shaft, swelling) == {"I": most, "49T": 0.6}
