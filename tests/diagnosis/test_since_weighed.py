"""Which fault explains what has risen, on rises written down by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.since.moves import sound_moves
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature
from vibecheck.diagnosis.since.sizes import STRIKES, TURN_SIZES, Size
from vibecheck.diagnosis.since.weighed import weighed

SHAFTS = ("motor", "I", "II", "III", "IV", "spindle")
TURNS = ("once", "twice", "thrice", "halves", "many", "knock", "slow knock")


def rise(db, scatter=2.0, places=8):
    return Rise(
        db=db,
        scatter_db=scatter,
        now_db=15.0,
        by_place={(f"A{n}", "idle"): db for n in range(places)},
    )


def a_machine(seed=1, **risen):
    """Rises of all turning traces of six shafts and of twelve races, as sound ones move."""
    rng = np.random.default_rng(seed)
    found = {(what, shaft): rise(rng.normal(0, 0.5)) for what in TURNS for shaft in SHAFTS}
    found |= {
        ("outer", f"{shaft} {end}"): rise(rng.normal(0, 0.3)) for shaft in SHAFTS for end in "ab"
    }
    for name, db in risen.items():
        what, part = name.split("__")
        found[what.replace("_", " "), part.replace("_", " ")] = rise(db)
    return found


def suspects():
    shafts = [
        Signature(
            parts=(shaft,),
            part_kind="shaft",
            fault=fault,
            rotor=shaft,
            raises={(what, shaft): size for what, size in sizes.items()},
        )
        for fault, sizes in TURN_SIZES.items()
        for shaft in SHAFTS
    ]
    bearings = [
        Signature(
            parts=(f"{shaft} {end}",),
            part_kind="bearing",
            fault="outer race",
            rotor=shaft,
            element="outer",
            raises={("outer", f"{shaft} {end}"): STRIKES},
        )
        for shaft in SHAFTS
        for end in "ab"
    ]
    return [*shafts, *bearings]


def judged(found, overlaps=None):
    """Probability by (part, fault)."""
    every = suspects()
    beside = [frozenset((overlaps or {}).get(s.parts[0], ())) for s in every]
    told = weighed(every, beside, found)
    return {(w.signature.parts[0], w.signature.fault): w.probability for w in told}


@pytest.mark.parametrize("seed", range(8))
def test_two_sweeps_of_a_sound_machine_accuse_nobody(seed):
    assert max(judged(a_machine(seed)).values()) < 0.1


def test_one_shaft_pushed_out_of_balance_is_named_and_no_other():
    told = judged(a_machine(once__II=13.0))
    assert told["II", "imbalance"] > 0.95
    assert sum(p for who, p in told.items() if who != ("II", "imbalance")) < 0.1


def test_a_bend_is_told_from_an_imbalance_by_its_second_turn():
    told = judged(a_machine(once__II=6.0, twice__II=17.0, thrice__II=9.0))
    assert told["II", "bent or misaligned"] > 0.9


def test_a_loose_part_is_told_by_its_half_turns_and_many_multiples():
    told = judged(a_machine(halves__II=6.0, many__II=7.0, thrice__II=10.0, once__II=5.0))
    assert told["II", "loose on its shaft or in its seat"] > 0.9


def test_a_rise_that_all_share_accuses_nobody():
    """The sensor is fixed elsewhere, so that every first turn is louder."""
    everywhere = {f"once__{shaft}": 9.0 for shaft in SHAFTS}
    assert max(judged(a_machine(**everywhere)).values()) < 0.3


def test_where_sound_traces_move_much_a_rise_says_less():
    quiet, lively = a_machine(once__II=7.0), a_machine(once__II=7.0)
    for number, shaft in enumerate(SHAFTS):
        if shaft != "II":
            lively["once", shaft] = rise((-4.0, 0.0, 3.0, -3.0, 4.0)[number % 5])
    assert judged(lively)["II", "imbalance"] < 0.7 * judged(quiet)["II", "imbalance"]
    place = list(quiet).index(("once", "II"))
    assert sound_moves(lively)[1][place] > sound_moves(quiet)[1][place]


def test_what_lies_on_the_lines_of_a_fault_is_no_second_one():
    found = a_machine(outer__II_a=18.0, outer__III_b=13.0)
    apart = judged(found)
    assert apart["III b", "outer race"] > 0.6
    carried = judged(found, {"II a": {("outer", "III b")}})
    assert carried["II a", "outer race"] > 0.95
    assert carried["III b", "outer race"] < 0.3


def test_a_fault_carries_nothing_that_has_risen_more_than_its_own():
    found = a_machine(outer__II_a=7.0, outer__III_b=18.0)
    told = judged(found, {"II a": {("outer", "III b")}})
    assert told["III b", "outer race"] > 0.95


def test_a_suspect_whose_own_has_not_risen_explains_nothing():
    found = a_machine(outer__III_b=18.0)
    told = judged(found, {"II a": {("outer", "III b")}})
    assert told["II a", "outer race"] < 0.05


def test_two_faults_that_have_nothing_in_common_are_both_named():
    told = judged(a_machine(outer__II_a=18.0, once__IV=17.0))
    assert told["II a", "outer race"] > 0.85
    assert told["IV", "imbalance"] > 0.85


def test_fewer_positions_say_less():
    many, few = a_machine(), a_machine()
    many["once", "II"], few["once", "II"] = rise(8.0, 4.0, 12), rise(8.0, 4.0, 2)
    assert judged(few)["II", "imbalance"] < judged(many)["II", "imbalance"]


def test_sizes_are_of_rises():
    assert all(
        isinstance(s, Size) and s.db > 0 for sizes in TURN_SIZES.values() for s in sizes.values()
    )


def test_three_at_once_are_named_where_each_stands_clear():
    told = judged(
        a_machine(once__II=14.0, outer__I_a=12.0, outer__III_b=13.0),
    )
    for named in (("II", "imbalance"), ("I a", "outer race"), ("III b", "outer race")):
        assert told[named] > 0.8


def test_one_reading_under_two_names_counts_once():
    """A gear's push, read where it works, is its shaft's push where that gear always works."""
    found = a_machine(once__II=5.0)
    alone = judged(found)["II", "imbalance"]
    again = judged(found | {("once at work", "40T"): found["once", "II"]})["II", "imbalance"]
    assert alone - 0.05 < again <= alone


def test_few_positions_say_less_than_many():
    few = a_machine() | {("once", "II"): rise(7.0, places=2)}
    assert judged(few)["II", "imbalance"] < judged(a_machine(once__II=7.0))["II", "imbalance"]


def test_what_has_hardly_risen_explains_nothing_elsewhere():
    """A faint fault is heard where it is, and nowhere else."""
    beside = {"I a": [("outer", "II a")]}
    faint = judged(a_machine(outer__I_a=4.2, outer__II_a=4.0), beside)
    plain = judged(a_machine(outer__I_a=20.0, outer__II_a=4.0), beside)
    assert plain["II a", "outer race"] < 0.3 * faint["II a", "outer race"]
    assert plain["I a", "outer race"] > 0.95


def at(rises_db, kind="idle"):
    """A rise by lever position."""
    values = list(rises_db.values())
    return Rise(
        db=float(np.mean(values)),
        scatter_db=float(np.std(values)),
        now_db=15.0,
        by_place={(label, kind): db for label, db in rises_db.items()},
    )


def test_what_must_have_risen_must_under_every_name():
    """A gear is the only one of its shaft: its knock is the shaft's, and has not risen."""
    found = a_machine()
    found["blow", "40T"] = found["knock", "II"] = rise(-0.4)
    found["sides", "40T"] = rise(11.0)
    tooth = {"knock": Size(db=8.0, spread_db=4.5)}
    copy = {("blow", "40T"): Size(db=8.0, spread_db=4.5, sure=False)}
    swells = {("sides", "40T"): Size(db=8.0, spread_db=5.0)}
    signatures = [
        Signature(parts=("40T",), part_kind="gear", fault=fault, rotor="II", raises=raises)
        for fault, raises in (
            (
                "broken or damaged tooth",
                {("knock", "II"): tooth["knock"], **copy, **swells},
            ),
            ("eccentric or worn gear", swells),
        )
    ]
    told = weighed(signatures, [frozenset(), frozenset()], found)
    assert told[1].log_odds > told[0].log_odds + 5.0
    assert told[1].probability > 0.9


WORKS, RESTS = ("A1", "A2", "A3"), ("B1", "B2", "B3")


def tooth_or_loose(resting_db):
    """Log odds of a tooth of a gear that works at half of the positions, and of a loose shaft."""
    found = a_machine()
    here = dict.fromkeys(WORKS, 10.0)
    found["blow", "40T"] = at(here)
    found["rest", "40T"] = at(dict.fromkeys(RESTS, resting_db))
    found["knock", "II"] = at(here | dict.fromkeys(RESTS, resting_db))
    blows = {("blow", "40T"): Size(db=8.0, spread_db=4.5)}
    knocks = {
        ("knock", "II"): Size(db=8.0, spread_db=4.5),
        ("rest", "40T"): Size(db=8.0, spread_db=4.5, sure=False, fails=0.1),
    }
    tooth = Signature(
        parts=("40T",),
        part_kind="gear",
        fault="broken or damaged tooth",
        rotor="II",
        raises=blows,
    )
    loose = Signature(
        parts=("II",),
        part_kind="shaft",
        fault="loose on its shaft or in its seat",
        rotor="II",
        raises=knocks,
    )
    beside = [frozenset({("knock", "II")}), frozenset({("blow", "40T")})]
    told = weighed([tooth, loose], beside, found)
    return told[0].log_odds - told[1].log_odds


def test_a_knock_that_is_gone_where_a_gear_rests_is_the_gears_and_else_the_shafts():
    assert tooth_or_loose(0.2) > 3.0
    assert tooth_or_loose(9.5) < -3.0


def test_a_line_in_noise_scatters_as_noise_does():
    """Seven decibels up is little where the line is hardly over the floor."""
    clear, faint = a_machine(once__II=7.0), a_machine(once__II=7.0)
    faint["once", "II"] = Rise(
        db=7.0, scatter_db=2.0, now_db=4.0, by_place=clear["once", "II"].by_place
    )
    place = list(clear).index(("once", "II"))
    assert sound_moves(faint)[1][place] > 1.5 * sound_moves(clear)[1][place]
    assert judged(faint)["II", "imbalance"] < judged(clear)["II", "imbalance"]


def test_where_nothing_can_be_compared_nothing_is_weighed():
    assert weighed([], [], {}) == []
