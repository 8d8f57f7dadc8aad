"""What one take tells of the spindle's speed by that of the shaft that it was heard to turn."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.single.judged import _spindle_rpm
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.turning import turning

MACHINE = read_machine("lathe-8-speed")
HERE = turning(MACHINE, MACHINE.positions[0])


def test_a_shaft_geared_to_the_spindle_tells_its_speed() -> None:
    spindle = HERE.nominal_hz("spindle")
    told = _spindle_rpm(MACHINE, HERE, "II", HERE.nominal_hz("II") or 0.0)
    assert told == pytest.approx(60.0 * (spindle or 0.0))
    assert _spindle_rpm(MACHINE, HERE, "spindle", 5.0) == pytest.approx(300.0)


def test_a_motor_behind_a_belt_does_not() -> None:
    """A belt slips, and the motor's own speed is not the spindle's."""
    assert _spindle_rpm(MACHINE, HERE, "motor", 24.0) is None
    assert _spindle_rpm(MACHINE, None, "II", 24.0) is None
