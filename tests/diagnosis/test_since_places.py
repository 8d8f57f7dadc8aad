"""Where traces are read, and which of them lie on another fault's lines."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from vibecheck.diagnosis.readings.listened import Listened, listen
from vibecheck.diagnosis.since.changes import changes
from vibecheck.diagnosis.since.levels import levels_of
from vibecheck.diagnosis.since.overlaps import overlapped
from vibecheck.diagnosis.since.places import places_of
from vibecheck.diagnosis.since.rises import rises
from vibecheck.diagnosis.since.signatures import signatures
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.parts import Machine
from vibecheck.pipeline import positions_of
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.sweep import record_sweep

ME = Individual(seed=5)
SHOP = Conditions(channel="accelerometer", high_pass_hz=1.0, mount_hz=5000.0, knocks_per_s=0.0)


@cache
def the_machine() -> Machine:
    return read_machine("lathe-12-speed")


@cache
def heard(*faults: PlantedFault, seed: int = 1) -> Listened:
    machine = the_machine()
    takes, _ = record_sweep(
        machine,
        faults,
        rng=np.random.default_rng(seed),
        conditions=SHOP,
        individual=ME,
        positions=machine.positions[::2],
        seconds=10.0,
    )
    return listen(machine, positions_of(machine), takes, lambda *_: None)


def test_every_trace_that_a_take_has_is_read_somewhere_in_it() -> None:
    sweep = heard()
    levels = levels_of(sweep, [120.0])
    found = rises(levels, levels)
    for take, mine in zip(sweep.takes, levels, strict=True):
        places = places_of(take, found)
        assert set(places) == set(mine.levels) & set(found)
        assert all(orders.size and np.all(orders > 0.0) for orders in places.values())


def test_places_are_orders_of_the_parts_own_turning() -> None:
    sweep = heard()
    levels = levels_of(sweep)
    take, found = sweep.takes[0], rises(levels, levels)
    places, ratios = places_of(take, found), take.turning_ratios()
    assert places["twice", "II"][0] == pytest.approx(2.0 * ratios["II"])
    assert places["halves", "II"][:2] == pytest.approx([0.5 * ratios["II"], 1.5 * ratios["II"]])
    mesh = next(m for m in take.turning.meshes if m.loaded and m.order)
    sides = places["sides", mesh.mesh.driver]
    assert np.min(np.abs(sides - (mesh.order - ratios[mesh.driver]))) < 1e-9


def test_nothing_rises_from_a_sweep_to_itself() -> None:
    levels = levels_of(heard())
    known = {trace: rise for trace, rise in rises(levels, levels).items() if trace[0] != "strange"}
    assert max(abs(rise.db) for rise in known.values()) < 1e-9


def test_a_tooth_lies_on_the_lines_of_its_rotor_but_not_where_it_rests() -> None:
    resting = rises(levels_of(heard()), levels_of(heard()))
    broken = next(gear for what, gear in resting if what == "rest" and "II)" in gear)
    sweep = heard(PlantedFault(part=broken, fault="broken or damaged tooth", severity=0.8), seed=3)
    found = rises(levels_of(sweep), levels_of(heard()))
    every = signatures(sweep.machine, found, {n: [n] for n in sweep.machine.shafts}, [], {})
    tooth, beside = next(
        (signature, lines)
        for signature, lines in zip(every, overlapped(every, found, sweep.takes), strict=True)
        if signature.fault.startswith("broken") and broken in signature.parts
    )
    assert ("knock", tooth.rotor) in beside
    assert ("rest", broken) not in beside
    assert not set(tooth.raises) & beside


def test_another_day_of_a_sound_machine_has_changed_nothing() -> None:
    assert changes(heard(seed=2), heard()).groups == ()


@pytest.mark.parametrize(
    ("part", "fault"),
    [("II", "imbalance"), ("II", "bent or misaligned"), ("mains", "mains hum")],
)
def test_what_was_done_to_it_is_what_has_changed(part: str, fault: str) -> None:
    now = heard(PlantedFault(part=part, fault=fault, severity=0.7), seed=3)
    first = changes(now, heard()).groups[0]
    assert part in first.parts
    assert first.fault == fault
    assert first.probability > 0.85
