"""Teeth the table does not give, counted by ear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from story_sounds import RATE_HZ, Voice, sound

from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds.counted_by_ear import counted_by_ear
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.parts import UNKNOWN, Known, Machine
from vibecheck.machine.turning import sweep
from vibecheck.pipeline import diagnose, positions_of
from vibecheck.recording import Recording, Take
from vibecheck.report.words import sentence
from vibecheck.units import rpm

SECONDS = 6.0


def charted(machine: Machine) -> Machine:
    """With a chart that says what the teeth make, to the whole turn a minute."""
    speeds = {here.label: here.nominal_hz(machine.spindle) or 0.0 for here in sweep(machine)}
    places = tuple(
        replace(place, chart_rpm=Known.exactly(round(rpm(speeds[place.label])), "plate"))
        for place in machine.positions
    )
    return replace(machine, positions=places)


def without(machine: Machine, *names: str) -> Machine:
    gears = (
        replace(gear, teeth=UNKNOWN) if gear.name.startswith(names) else gear
        for gear in machine.gears
    )
    return replace(machine, gears=tuple(gears))


@pytest.fixture(scope="module")
def lathe() -> Machine:
    return charted(read_machine("lathe-12-speed"))


@pytest.fixture(scope="module")
def takes(lathe: Machine) -> list[Take]:
    made = []
    for number, place in enumerate(lathe.positions):
        samples, _ = sound(lathe, place.label, Voice(seed=7), seconds=SECONDS, take=number)
        heard = Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, name=place.label)
        made.append(Take(recording=heard, position=place.label))
    return made


@pytest.fixture(scope="module")
def ready(takes: list[Take]) -> list[Ready]:
    return [made_ready(take) for take in takes]


def counted(machine: Machine, takes: list[Ready]) -> dict[str, int]:
    speeds = fit_speeds(positions_of(machine), takes)
    found = counted_by_ear(machine, takes, speeds)[1]
    return {gear[:3]: teeth for pair in found for gear, teeth in pair.counts.items()}


@pytest.mark.parametrize("name", ["44T", "22T", "18T"])
def test_a_gear_of_unknown_teeth_is_counted(lathe: Machine, ready: list[Ready], name: str) -> None:
    assert counted(without(lathe, name), ready) == {name: int(name[:2])}


def test_a_pair_of_unknown_teeth_is_counted_where_another_of_its_lever_gives_the_sum(
    lathe: Machine, ready: list[Ready]
) -> None:
    assert counted(without(lathe, "32T", "44T"), ready) == {"32T": 32, "44T": 44}


def test_two_unknown_gears_of_two_levers_are_counted_one_after_the_other(
    lathe: Machine, ready: list[Ready]
) -> None:
    assert counted(without(lathe, "44T", "62T"), ready) == {"44T": 44, "62T": 62}


def test_a_table_that_gives_all_counts_or_no_chart_asks_nothing_of_the_ear(
    lathe: Machine, ready: list[Ready]
) -> None:
    assert counted(lathe, ready) == {}
    places = tuple(replace(place, chart_rpm=UNKNOWN) for place in lathe.positions)
    assert counted(replace(without(lathe, "44T"), positions=places), ready) == {}


def test_noise_counts_no_teeth(lathe: Machine) -> None:
    rng = np.random.default_rng(3)
    hiss = []
    for place in lathe.positions:
        samples = rng.normal(size=int(SECONDS * RATE_HZ)).astype(np.float32)
        take = Take(recording=Recording(samples=samples, rate_hz=RATE_HZ), position=place.label)
        hiss.append(made_ready(take))
    assert counted(without(lathe, "44T"), hiss) == {}


def test_the_report_says_what_it_rests_on(lathe: Machine, takes: list[Take]) -> None:
    made = diagnose(without(lathe, "44T"), takes)
    (told,) = (each for each in made.warnings if each.kind == "teeth_heard")
    assert told.values["teeth"] == 44
    assert "count them when the cover is off" in sentence(told)
    assert all(take.spindle_rpm for take in made.takes)
