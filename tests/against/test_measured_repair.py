"""A measured repair: a motor with a badly damaged bearing, then with a new one; and its rotor with
weights on. M. Recio, MSc test results (Apache-2.0): microphone at 7 cm and a phone's motion sensor,
one take of each state. The shaft turns at about 24.9 Hz; bearing orders as seen in the set.
"""

from __future__ import annotations

import measured
import numpy as np
import pytest

from vibecheck.diagnosis.compared.comparison import compare
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.machine.parts import Bearing
from vibecheck.machine.single import one_shaft
from vibecheck.recording import Recording, Support, Take

MOTOR = one_shaft(
    1492, (Bearing(name="bearing", shaft="shaft", multipliers={"outer": 3.1, "inner": 4.9}),)
)
SEVERE, HEALTHY = "DamagedBearing_SevereHi-Fi_07", "Healthy_Hi-Fi"
NEW, WEIGHTS = "Healthy_NewBearingHi-Fi_7", "UnbalancedRotor_4WeightsHi-Fi_04"


def sound(part):
    record = measured.motor_sound(part)
    recording = Recording(
        samples=record.first, rate_hz=record.rate_hz, name=part, quantity="pressure"
    )
    return [TakeAtSpeed(take=Take(recording=recording, position=""), speeds_hz={"shaft": 24.9})]


def shake(part):
    """The axis square to the screen; time stamps come in pairs, so only their mean counts."""
    times, axes = measured.motor_phone(part)
    recording = Recording(
        samples=(axes[2] - axes[2].mean()).astype(np.float32),
        rate_hz=(times.size - 1) / float(times[-1] - times[0]),
        name=part,
        quantity="acceleration",
        unit="m/s^2",
        support=Support(aliased=True),
    )
    return [TakeAtSpeed(take=Take(recording=recording, position=""), speeds_hz={"shaft": 24.85})]


def lines(before, after):
    position = compare(MOTOR, before, after).positions[0]
    return position, {line.name: line for line in position.lines}


def test_the_new_bearing_is_heard_by_the_microphone_as_better():
    position, found = lines(sound(SEVERE), sound(NEW))
    assert position.outcome == "better"
    for name in ("bearing outer", "peakiness"):
        assert found[name].outcome == "better"
    assert found["bearing outer"].change_db < -20


def test_its_turning_tone_is_not_said_to_have_changed():
    _, found = lines(sound(SEVERE), sound(NEW))
    assert found["shaft 1x"].outcome == "same"


def test_after_the_repair_the_motor_is_the_same_as_when_it_was_healthy():
    position, _ = lines(sound(HEALTHY), sound(NEW))
    assert position.outcome == "same"


def test_single_takes_are_said_to_rest_on_an_allowance():
    comparison = compare(MOTOR, sound(SEVERE), sound(NEW))
    assert not comparison.repeatability.measured
    assert "No repeats" in comparison.notes[0]


def test_four_weights_on_the_rotor_are_worse_once_a_turn_by_the_phone():
    position, found = lines(shake("Healthy"), shake("UnbalancedRotor_4Weights"))
    assert position.outcome == "worse"
    assert found["shaft 1x"].outcome == "worse"


def test_the_turning_tone_rises_with_the_weights():
    two = lines(shake("Healthy"), shake("UnbalancedRotor_2Weights"))[1]["shaft 1x"]
    four = lines(shake("Healthy"), shake("UnbalancedRotor_4Weights"))[1]["shaft 1x"]
    assert 3.0 < two.change_db < four.change_db


def test_the_weights_are_not_heard_by_a_microphone_and_nothing_is_claimed():
    _, found = lines(sound(HEALTHY), sound(WEIGHTS))
    assert found["shaft 1x"].outcome == "same"


@pytest.mark.parametrize("line", ["bearing outer", "bearing inner", "blows once a turn of shaft"])
def test_nothing_is_said_of_the_bearing_from_a_phone_that_cannot_hear_it(line):
    _, found = lines(shake("DamagedBearing_Severe"), shake("Healthy_NewBearing"))
    assert found[line].outcome == "not comparable"
