"""A pillar drill has no teeth at all: its belts alone must tell how fast everything turned."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.files.gear_table import parse_table
from vibecheck.machine.parts import Machine
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.sweep import Truth, record_sweep

TABLE = """
name = "Pillar drill"
description = "Invented."

[supply]
mains_hz = 50
kind = "three-phase"

[motor]
poles = 4
plate_rpm = 1420

[levers.S]
between = ["motor", "middle pulley"]
belt = "rear belt"
length_mm = 900
1 = "60/120 mm"
2 = "75/105 mm"
3 = "95/85 mm"

[levers.T]
between = ["middle pulley", "spindle"]
belt = "front belt"
length_mm = 850
1 = "70/130 mm"
2 = "120/80 mm"
"""
SHOP = Conditions(channel="accelerometer", high_pass_hz=1.0, mount_hz=5000.0, knocks_per_s=0.0)
BENT = PlantedFault(part="middle pulley", fault="bent or misaligned", severity=1.0)


@cache
def drill() -> Machine:
    return parse_table(TABLE).machine


@cache
def recorded(*faults: PlantedFault, seed: int = 1) -> tuple[list[Take], Truth]:
    return record_sweep(
        drill(),
        faults,
        rng=np.random.default_rng(seed),
        conditions=SHOP,
        individual=Individual(seed=5),
        positions=drill().positions,
        seconds=12.0,
    )


@cache
def told(*faults: PlantedFault, seed: int = 1) -> Diagnosis:
    return diagnose(drill(), recorded(*faults, seed=seed)[0])


def test_speeds_heard_are_true_and_almost_every_position_has_one() -> None:
    takes, truth = recorded()
    true = {take.position: each for take, each in zip(takes, truth.takes, strict=True)}
    heard = [t for t in told().takes if t.speeds_hz]
    assert len(heard) >= 0.8 * len(takes)
    for take in heard:
        for group, hz in take.speeds_hz.items():
            assert hz == pytest.approx(true[take.position].group_hz[group], rel=2e-3)


def test_a_sound_drill_is_accused_of_nothing() -> None:
    assert told().faults_named == ()
    again = diagnose(drill(), recorded(seed=2)[0], baseline=recorded()[0])
    assert again.faults_named == ()
    assert "baseline_heard" in [each.kind for each in again.warnings]


def test_a_bent_shaft_between_two_belts_is_named_against_the_sound_drill() -> None:
    first = diagnose(drill(), recorded(BENT, seed=3)[0], baseline=recorded()[0]).findings[0]
    assert first.part == "middle pulley"
    assert first.fault == "bent or misaligned"
    assert first.probability > 0.85


def test_a_baseline_of_which_nothing_is_heard_is_said_not_to_be_used() -> None:
    two = recorded()[0][:2]
    diagnosis = diagnose(drill(), two, baseline=two)
    assert "baseline_apart" in [each.kind for each in diagnosis.warnings]


def test_a_part_and_fault_has_one_row_in_the_evidence_table() -> None:
    for diagnosis in (told(), told(BENT, seed=3)):
        assert diagnosis.table is not None
        rows = [(row.part, row.fault) for row in diagnosis.table.rows]
        assert len(set(rows)) == len(rows) > 4
