"""Teeth counted by ear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from story_sounds import RATE_HZ, Voice, sound

from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.recounting import Recount
from vibecheck.diagnosis.speeds.table_doubts import Doubt, _heard_doubt, table_doubts
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.parts import UNKNOWN, Known, Machine
from vibecheck.pipeline import positions_of
from vibecheck.recording import Recording, Take
from vibecheck.report.words import sentence


def uncharted(machine: Machine) -> Machine:
    """Without the chart, so that only the sound can tell."""
    places = tuple(replace(place, chart_rpm=UNKNOWN) for place in machine.positions)
    return replace(machine, positions=places)


@pytest.fixture(scope="module")
def takes() -> list[Ready]:
    machine = read_machine("lathe-12-speed")
    made = []
    for number, place in enumerate(machine.positions):
        samples, _ = sound(machine, place.label, Voice(seed=7), seconds=6.0, take=number)
        heard = Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, name=place.label)
        made.append(made_ready(Take(recording=heard, position=place.label)))
    return made


def doubts(takes: list[Ready], **teeth: int) -> tuple[Doubt, ...]:
    machine = uncharted(read_machine("lathe-12-speed"))
    gears = tuple(
        replace(gear, teeth=Known.exactly(teeth[gear.name.split("T ")[0]]))
        if gear.name.split("T ")[0] in teeth
        else gear
        for gear in machine.gears
    )
    changed = replace(machine, gears=gears)
    turnings = positions_of(changed)
    return table_doubts(changed, turnings, takes, fit_speeds(turnings, takes))


def test_a_right_table_is_not_doubted(takes: list[Ready]) -> None:
    assert doubts(takes) == ()


def test_a_driven_gear_one_tooth_short_is_found_by_what_turns_behind_it(
    takes: list[Ready],
) -> None:
    (doubt,) = doubts(takes, **{"62": 61})
    assert doubt.pair.startswith("22/62") or doubt.pair.startswith("22/61")
    assert doubt.candidates[0] == (22, 62)
    assert doubt.percent == pytest.approx(100 * (62 / 61 - 1))


def test_a_pair_in_the_first_group_is_found_with_its_sum_kept(takes: list[Ready]) -> None:
    (doubt,) = doubts(takes, **{"32": 33, "44": 43})
    assert doubt.candidates[0] == (32, 44)
    assert all(label.startswith("A2") for label in doubt.positions)


def recounted(*candidates: tuple[int, int]) -> Recount:
    return Recount(pair="22/62 (B2)", counted=(22, 62), candidates=candidates, weight=30.0)


def test_by_how_much_the_table_is_off_is_said_where_the_counts_agree_on_it() -> None:
    """Which driven gear it is may show in nothing that turns behind it."""
    machine = read_machine("lathe-12-speed")
    (plain, open_one) = (
        _heard_doubt(machine, recounted(*counts))
        for counts in (((20, 62),), ((20, 64), (20, 61), (20, 62)))
    )
    assert plain.percent == pytest.approx(10.0)
    assert open_one.percent is None
    assert "disagree at" in sentence(open_one.warning())
