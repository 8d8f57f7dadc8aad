"""What each fault is expected to raise: no more than its part can reach, and never nothing."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.groups import Member, grouped
from vibecheck.diagnosis.since.hertz import HertzLevels
from vibecheck.diagnosis.since.levels import Trace, _buzz
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature, signatures
from vibecheck.diagnosis.since.sizes import LOOSE
from vibecheck.diagnosis.since.tones import _vanes
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.parts import Machine

MACHINE = read_machine("lathe-16-speed")
TURNS = ("once", "twice", "thrice", "halves", "many", "knock", "slow knock")
AT_GEAR = ("blow", "sides", "once at work", "halves at work", "many at work")


def level(db: float = 0.0) -> Rise:
    return Rise(db=db, scatter_db=1.0, now_db=10.0, by_place={("A1", "idle"): db})


def every(machine: Machine, **changed: float) -> tuple[dict[Trace, Rise], list[Signature]]:
    """Rises of all traces, and all signatures; changes by trace and part, "once__II"."""
    found = {(what, shaft): level() for what in TURNS for shaft in machine.shafts}
    found |= {(what, gear.name): level() for what in AT_GEAR for gear in machine.gears}
    found |= {
        (what, bearing.name): level()
        for what in ("outer", "inner", "roller", "cage")
        for bearing in machine.bearings
    }
    found |= {
        (what, part): level(db) for k, db in changed.items() for what, part in [k.split("__")]
    }
    coupled = {shaft: [shaft] for shaft in machine.shafts}
    return found, signatures(machine, found, coupled, [], {})


def test_a_gear_may_be_loose_on_its_shaft_and_then_rattles_where_it_works():
    _, all_of_them = every(MACHINE)
    gear = MACHINE.gears[0].name
    loose = next(s for s in all_of_them if s.parts == (gear,) and s.fault == LOOSE)
    assert {part for _, part in loose.raises} == {gear}
    assert ("many at work", gear) in loose.raises


def test_a_cage_that_has_risen_alone_may_be_a_ball_as_well():
    """A bad ball comes into the load once a turn of the cage."""
    _, all_of_them = every(MACHINE)
    bearing = MACHINE.bearings[0].name
    told = {
        s.fault: s for s in all_of_them if s.parts == (bearing,) and s.raises.get(("cage", bearing))
    }
    assert set(told) == {"cage", "rolling element"}
    members = [
        Member(signature=s, probability=p, touches=frozenset(s.raises), places=6, of=6)
        for s, p in ((told["cage"], 0.7), (told["rolling element"], 0.25))
    ]
    (group,) = grouped(members, {})
    assert group.fault == "bearing worn, race not known"
    assert group.probability > 0.9


def test_what_a_shaft_raises_is_looked_for_where_its_gears_work():
    shaft = MACHINE.shafts[1]
    gear = next(g.name for g in MACHINE.gears if g.shaft == shaft)
    found, all_of_them = every(MACHINE, **{f"once__{shaft}": 9.0})
    bent = next(s for s in all_of_them if s.fault.startswith("bent") and s.rotor == shaft)
    assert ("once at work", gear) in bent.raises
    _, quiet = every(MACHINE)
    bent = next(s for s in quiet if s.fault.startswith("bent") and s.rotor == shaft)
    assert ("once at work", gear) not in bent.raises
    assert all(trace in found for trace in bent.raises)


def test_only_a_gear_that_never_rests_may_strike_at_every_position():
    found, _ = every(MACHINE)
    gear = MACHINE.gears[0]
    strikes = [
        signatures(MACHINE, traces, {s: [s] for s in MACHINE.shafts}, [], {})
        for traces in (found, found | {("rest", gear.name): level()})
    ]
    always = [
        [s for s in several if s.parts == (gear.name,) and ("knock", gear.shaft) in s.raises]
        for several in strikes
    ]
    assert [len(each) for each in always] == [1, 0]


def test_a_loose_part_that_only_heaves_is_possible_at_most() -> None:
    """It is hardly told from one out of balance."""
    _, all_of_them = every(MACHINE)
    loose = [s for s in all_of_them if s.fault == LOOSE and s.rotor == MACHINE.shafts[1]]
    said = {
        frozenset(what for (what, _), size in s.raises.items() if size.sure): grouped(
            [Member(signature=s, probability=0.95, touches=frozenset(), places=6, of=6)], {}
        )[0].probability
        for s in loose
        if s.part_kind == "shaft"
    }
    assert said == {
        frozenset({"halves", "many"}): 0.95,
        frozenset({"once"}): 0.84,
        frozenset({"knock"}): 0.95,
    }


def test_where_it_is_open_what_is_wrong_with_a_shaft_that_is_said() -> None:
    _, all_of_them = every(MACHINE)
    shaft = MACHINE.shafts[1]
    mine = [s for s in all_of_them if s.parts == (shaft,)]
    unbalanced = next(s for s in mine if s.fault == "imbalance")
    heaves = next(s for s in mine if s.only_heaves)
    either = [
        Member(signature=s, probability=p, touches=frozenset(), places=6, of=6)
        for s, p in ((unbalanced, 0.52), (heaves, 0.44))
    ]
    (group,) = grouped(either, {})
    assert group.fault == "shaft out of balance, bent or loose"
    assert 0.95 < group.probability <= 0.97
    (sure,) = grouped([replace(either[0], probability=0.93)], {})
    assert sure.fault == "imbalance"


def test_where_it_is_open_what_is_wrong_with_a_gear_that_is_said() -> None:
    _, all_of_them = every(MACHINE)
    gear = MACHINE.gears[0].name
    mine = {s.fault: s for s in all_of_them if s.parts == (gear,)}
    either = [
        Member(signature=mine[name], probability=p, touches=frozenset(), places=6, of=6)
        for name, p in ((LOOSE, 0.55), ("broken or damaged tooth", 0.41))
    ]
    (group,) = grouped(either, {})
    assert group.fault == "gear worn, damaged or loose"
    assert group.probability > 0.95


def test_an_inner_race_may_let_its_shaft_knock_once_a_turn() -> None:
    _, all_of_them = every(MACHINE)
    bearing = MACHINE.bearings[0]
    races = {s.element: s for s in all_of_them if s.parts == (bearing.name,)}
    knock = races["inner"].raises["knock", bearing.shaft]
    assert not knock.sure
    assert ("knock", bearing.shaft) not in races["outer"].raises


def test_multiples_of_a_pumps_vanes_are_no_tone_of_the_structure() -> None:
    """Its shaft may never change speed, so that no lever moves them."""
    take = SimpleNamespace(rotor_hz=lambda shaft: 23.6 if shaft == "I" else None)
    pump = SimpleNamespace(shaft="I", vanes=SimpleNamespace(value=7.0))
    heard = cast(Listened, SimpleNamespace(takes=[take] * 4, machine=SimpleNamespace(pumps=[pump])))
    assert _vanes(heard, 165.3)
    assert _vanes(heard, 330.2)
    assert not _vanes(heard, 181.0)
    silent = SimpleNamespace(takes=[take], machine=SimpleNamespace(pumps=[]))
    assert not _vanes(cast(Listened, silent), 165.2)


def test_a_hum_may_show_in_its_high_multiples_alone() -> None:
    found, _ = every(MACHINE)
    found |= {("hum", "mains"): level(), ("buzz", "mains"): level(14.0)}
    coupled = {shaft: [shaft] for shaft in MACHINE.shafts}
    ways = [s for s in signatures(MACHINE, found, coupled, [], {}) if s.fault == "mains hum"]
    assert {tuple(w for (w, _), size in s.raises.items() if size.sure) for s in ways} == {
        ("hum",),
        ("buzz",),
    }
    assert sum(s.share for s in ways) == pytest.approx(1.0)


def test_the_buzz_is_the_middle_one_of_the_high_multiples() -> None:
    """One of them under a tooth tone, or missing, does not make or unmake it."""
    over = np.ones(4001)
    one_tone = HertzLevels(over=over.copy(), step=0.5)
    one_tone.over[round(400.0 / 0.5)] = 1e4
    assert _buzz(one_tone, 50.0) == pytest.approx(0.0, abs=0.5)
    for k in (6, 8, 10, 12, 14, 18, 20):
        over[round(k * 50.0 / 0.5)] = 100.0
    assert _buzz(HertzLevels(over=over, step=0.5), 50.0) == pytest.approx(20.0)
    assert np.isnan(_buzz(HertzLevels(over=over[:500], step=0.5), 50.0))
