"""Laws that run through several rooms. Those of one room stand in that room's tests."""

from __future__ import annotations

from dataclasses import replace
from math import isclose

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecheck import units
from vibecheck.diagnosis.chance.families import bearing_families, bearing_orders
from vibecheck.diagnosis.findings import Diagnosis, verdict_for
from vibecheck.files.gear_table import parse_table, read_machine, write_machine
from vibecheck.files.shipped import shipped_path
from vibecheck.files.takes import read_takes
from vibecheck.machine.bearings import BearingOrders
from vibecheck.machine.parts import Machine
from vibecheck.machine.tones import tones
from vibecheck.machine.turning import sweep
from vibecheck.pipeline import diagnose
from vibecheck.recording import Recording, Take
from vibecheck.spectra.orders import SpeedTrack, levelled
from vibecheck.spectra.spectrum import long_spectrum
from vibecheck.synth.random_machine import random_machine

seeds = st.integers(0, 2**31)


@given(st.floats(1e-6, 1e6))
def test_units_go_there_and_back(value: float) -> None:
    assert isclose(units.rpm(units.hz(value)), value)
    assert isclose(units.mm(units.inch(value)), value)


@given(st.integers(5, 40), st.floats(1, 30), st.floats(2.5, 20), st.floats(0, 80))
def test_what_turns_and_what_is_listened_for_agree_on_a_bearing(
    count: int, ball_mm: float, times: float, angle_deg: float
) -> None:
    pitch_mm = ball_mm * times
    told = BearingOrders.of_geometry(count, ball_mm, pitch_mm, angle_deg)
    wanted = bearing_orders(count, ball_mm, pitch_mm, angle_deg)
    assert dict(told.items()) == pytest.approx(wanted)


@given(st.integers(5, 30), st.floats(0.3, 0.48), st.floats(-1, 1))
def test_the_windows_of_both_races_move_against_each_other(
    count: int, share: float, way: float
) -> None:
    orders = {"outer": count * share, "inner": count * (1 - share)}
    outer, inner = (
        next(f for f in bearing_families(elements=count, orders=orders) if f.name == name)
        for name in ("outer", "inner")
    )
    for one, other in ((outer.lowest_order, inner.highest_order), (outer.highest_order,
                        inner.lowest_order)):  # fmt: skip
        assert isclose(one + other, count)


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_a_mesh_rate_is_the_same_from_either_gear_of_any_machine(seed: int) -> None:
    for here in sweep(random_machine(np.random.default_rng(seed))):
        for work in here.meshes:
            if work.order is None or here.rotors[work.driver].ratio == 0:
                continue
            sides = [
                teeth * here.rotors[gear].ratio
                for teeth, gear in (
                    (work.driver_teeth, work.driver),
                    (work.driven_teeth, work.driven),
                )
                if teeth
            ]
            assert all(isclose(side, sides[0]) for side in sides)


@settings(max_examples=15, deadline=None)
@given(seeds)
def test_a_table_written_down_and_read_again_sounds_the_same(seed: int) -> None:
    machine = random_machine(np.random.default_rng(seed))
    again = parse_table(write_machine(machine)).machine

    def lines(one: Machine) -> list[tuple[str, list[tuple[str, float]]]]:
        return [
            (here.label, sorted((t.nature, round(t.order, 9)) for t in tones(here)))
            for here in sorted(sweep(one), key=lambda here: here.label)
        ]

    assert lines(machine) == lines(again)


@settings(max_examples=15, deadline=None)
@given(st.floats(8, 30), st.floats(0.8, 1.25), st.integers(2, 40))
def test_whatever_the_drift_a_part_is_one_line_against_its_own_shaft(
    start_hz: float, change: float, teeth: int
) -> None:
    rate_hz, seconds = 8000.0, 6.0
    times = np.arange(int(rate_hz * seconds)) / rate_hz
    end_hz = start_hz * change
    turns = start_hz * times + (end_hz - start_hz) * times**2 / (2 * seconds)
    wave = np.sin(2 * np.pi * teeth * turns).astype(np.float32)
    track = SpeedTrack(times_s=np.array([0.0, seconds]), hz=np.array([start_hz, end_hz]))
    mean_hz = (start_hz + end_hz) / 2
    level = long_spectrum(levelled(wave, rate_hz, track, mean_hz), rate_hz)
    near = level.slice(teeth * mean_hz - 4 * level.step, teeth * mean_hz + 4 * level.step)
    assert near.values.sum() > 0.9 * level.values.sum()


TABLE = "lathe-8-speed"


@pytest.fixture(scope="module")
def lathe() -> Machine:
    return read_machine(TABLE)


@pytest.fixture(scope="module")
def takes(lathe: Machine) -> list[Take]:
    labels = [position.label for position in lathe.positions]
    return read_takes(shipped_path("recordings", "demo-lathe"), labels)


@pytest.fixture(scope="module")
def told(lathe: Machine, takes: list[Take]) -> Diagnosis:
    return diagnose(lathe, takes)


def said(diagnosis: Diagnosis) -> dict[tuple[str, str], tuple[str, float]]:
    """Part and fault -> verdict and probability."""
    return {(f.part, f.fault): (f.verdict, round(f.probability, 2)) for f in diagnosis.findings}


def louder(take: Take, gain: float) -> Take:
    made = Recording(
        samples=take.recording.samples * np.float32(gain),
        rate_hz=take.recording.rate_hz,
        name=take.recording.name,
        quantity=take.recording.quantity,
        unit=take.recording.unit,
        support=take.recording.support,
    )
    return replace(take, recording=made)


def test_there_is_a_verdict_for_the_laws_to_leave_alone(told: Diagnosis) -> None:
    assert told.faults_named


@pytest.mark.parametrize("gain", [30.0])
def test_gain_leaves_the_verdicts_of_a_sweep_alone(
    lathe: Machine, takes: list[Take], told: Diagnosis, gain: float
) -> None:
    again = diagnose(lathe, [louder(take, gain) for take in takes])
    assert said(again) == said(told)


def test_renaming_parts_renames_verdicts_only(
    lathe: Machine, takes: list[Take], told: Diagnosis
) -> None:
    def new(name: str) -> str:
        return f"number {sum(map(ord, name))} {name[::-1]}"

    shafts = {shaft: new(shaft) for shaft in lathe.shafts if shaft not in ("motor", lathe.spindle)}

    def shaft(name: str) -> str:
        return shafts.get(name, name)

    other = replace(
        lathe,
        shafts=tuple(shaft(each) for each in lathe.shafts),
        gears=tuple(
            replace(each, name=new(each.name), shaft=shaft(each.shaft)) for each in lathe.gears
        ),
        meshes=tuple(
            replace(
                each,
                driver=new(each.driver),
                driven=new(each.driven),
                loose=new(each.loose) if each.loose else "",
            )
            for each in lathe.meshes
        ),
        belts=tuple(
            replace(each, name=new(each.name), driver=shaft(each.driver), driven=shaft(each.driven))
            for each in lathe.belts
        ),
    )
    names = shafts | {each.name: new(each.name) for each in (*lathe.gears, *lathe.belts)}
    names |= {
        one.name: another.name for one, another in zip(lathe.meshes, other.meshes, strict=True)
    }
    again = diagnose(other, takes)
    renamed = {
        (names.get(part, part), fault): verdict for (part, fault), verdict in said(told).items()
    }
    assert said(again) == renamed


def test_the_order_of_the_takes_leaves_the_verdicts_alone(
    lathe: Machine, takes: list[Take], told: Diagnosis
) -> None:
    assert said(diagnose(lathe, takes[::-1])) == said(told)


def test_every_verdict_is_the_word_for_its_probability(told: Diagnosis) -> None:
    assert [f.probability for f in told.findings] == sorted(
        (f.probability for f in told.findings), reverse=True
    )
    for finding in told.findings:
        assert finding.verdict in ("cannot tell", verdict_for(finding.probability))
