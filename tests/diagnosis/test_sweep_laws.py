"""What must hold of a whole sweep whatever the machine: gain and order leave verdicts alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.pipeline import diagnose
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.random_head import random_head
from vibecheck.synth.sweep import record_sweep


@pytest.fixture(scope="module")
def sweep():
    """A lathe of eight speeds with a broken tooth on its spindle, heard at four positions."""
    rng = np.random.default_rng(20)
    machine = random_head(rng, speeds=8)
    broken = next(gear.name for gear in machine.gears if gear.shaft == "spindle")
    positions = [
        position
        for position in machine.positions
        if any(mesh.driven == broken and position.fits(mesh.when) for mesh in machine.meshes)
    ]
    takes, truth = record_sweep(
        machine,
        [PlantedFault(part=broken, fault="broken or damaged tooth", severity=0.9)],
        rng=rng,
        conditions=Conditions(channel="accelerometer", high_pass_hz=2.0, bits=24),
        individual=Individual(seed=5),
        positions=positions[:4],
        seconds=9.0,
    )
    return machine, takes, truth, broken


def said(diagnosis):
    return {(f.parts, f.fault): f.probability for f in diagnosis.findings}


@pytest.fixture(scope="module")
def plain(sweep):
    machine, takes, _, _ = sweep
    return diagnose(machine, takes)


def test_the_broken_tooth_is_in_the_group_named_first(sweep, plain):
    *_, broken = sweep
    assert broken in plain.findings[0].parts
    assert plain.findings[0].verdict in ("shown", "likely")


def test_speeds_found_are_right_to_two_hundredths_of_a_per_cent_and_most_are_found(sweep, plain):
    _, _, truth, _ = sweep
    assert sum(bool(report.speeds_hz) for report in plain.takes) >= 3
    for report, true in zip(plain.takes, truth.takes, strict=True):
        for group, hz in report.speeds_hz.items():
            assert hz == pytest.approx(true.group_hz[group], rel=2e-4)


def test_gain_and_polarity_leave_verdicts_alone(sweep, plain):
    machine, takes, _, _ = sweep
    quiet = [
        replace(
            take,
            recording=replace(take.recording, samples=take.recording.samples * np.float32(-0.02)),
        )
        for take in takes
    ]
    again = said(diagnose(machine, quiet))
    assert set(again) == set(said(plain))
    for key, probability in said(plain).items():
        assert again[key] == pytest.approx(probability, abs=0.02)
