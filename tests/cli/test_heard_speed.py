import numpy as np
import pytest

from vibecheck.capture.check import judge
from vibecheck.cli.heard_speed import speed_check
from vibecheck.files.gear_table import read_machine
from vibecheck.synth.sweep import record_sweep


@pytest.fixture(scope="module")
def heard():
    machine = read_machine("lathe-12-speed")
    position = machine.position("A3 B1 CL")
    takes, truth = record_sweep(
        machine, rng=np.random.default_rng(3), positions=[position], seconds=15.0
    )
    return speed_check(machine), takes[0].recording, 60 * truth.takes[0].rotor_hz["spindle"]


def test_a_take_just_recorded_tells_its_spindle_speed(heard):
    check, recording, true_rpm = heard
    found = judge(recording, position="A3 B1 CL", chart_rpm=88.0, speed=check)
    assert found.heard.rpm == pytest.approx(true_rpm, rel=2e-4)
    assert found.weight == "good"


def test_a_lever_set_wrong_is_named_at_once(heard):
    check, recording, _ = heard
    found = judge(recording, position="A1 B1 CL", chart_rpm=180.0, speed=check)
    assert "fits A3 B1 CL, not A1 B1 CL: check the levers" in found.faults[0]
