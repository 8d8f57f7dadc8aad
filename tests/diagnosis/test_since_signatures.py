"""What each fault is expected to raise: no more than its part can reach, and never nothing."""

from __future__ import annotations

from dataclasses import replace

from vibecheck.diagnosis.since.groups import Member, grouped
from vibecheck.diagnosis.since.levels import Trace
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature, signatures
from vibecheck.diagnosis.since.sizes import LOOSE
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
