"""What sits behind the belt and is not heard to turn: the motor's bearings, and the belt itself.

The sweeps are our own sums of tooth tones, noise and blows; nothing of the package's synthesis.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.diagnosis.invented_sweeps import (
    eight_speed_lathe,
    ringing,
    swaying_turns,
    tooth_tones,
)
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.readings.listened import Listened, listen
from vibecheck.machine.bearings import BearingOrders
from vibecheck.machine.parts import Bearing, Known, Machine
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose
from vibecheck.recording import Recording, Take

RATE_HZ, SECONDS = 12000.0, 10.0
MOTOR_HZ, BELT_SLIP, BEARING_SLIP = 29.3, 0.009, 0.006
LENGTH_MM = 1180.0
ON_MOTOR = BearingOrders.of_geometry(9, 7.94, 39.04, 0.0)


def bearing(name: str, shaft: str, elements: int, ball_mm: float, pitch_mm: float) -> Bearing:
    return Bearing(
        name=name,
        shaft=shaft,
        kind="ball",
        elements=Known.exactly(elements),
        element_mm=Known.exactly(ball_mm),
        pitch_mm=Known.exactly(pitch_mm),
        angle_deg=Known.exactly(0.0),
    )


@cache
def lathe() -> Machine:
    """The eight-speed lathe with a belt of known length, and bearings on motor and first shaft."""
    plain = eight_speed_lathe()
    return replace(
        plain,
        belts=(replace(plain.belts[0], length_mm=Known.exactly(LENGTH_MM)),),
        bearings=(
            bearing("motor front", "motor", 9, 7.94, 39.04),
            bearing("I front", "I", 12, 9.0, 52.0),
        ),
    )


def recorded(label: str, number: int, *, throb: float, blows: float) -> Take:
    """Tooth tones and noise, throbbing with the belt or struck by a motor bearing's outer race."""
    rng = np.random.default_rng(700 + number)
    where = turning(lathe(), next(p for p in lathe().positions if p.label == label))
    turns = swaying_turns(MOTOR_HZ, rng, rate_hz=RATE_HZ, seconds=SECONDS)
    motor, first = where.nominal_hz("motor"), where.nominal_hz("I")
    work = where.belts[0]
    assert motor
    assert first
    assert work.order
    shaft = turns * first / motor * (1 - BELT_SLIP)
    sound = 0.5 * rng.normal(size=turns.size) + tooth_tones(where, "I", shaft)
    belt = turns * work.order * (1 - BELT_SLIP / 2)
    sound *= 1.0 + throb * np.exp(-0.5 * ((belt % 1.0 - 0.5) / 0.06) ** 2)
    struck = np.zeros(turns.size)
    passes = (
        turns * ON_MOTOR.outer * (1 - BEARING_SLIP)
        + 0.01 * np.cumsum(rng.normal(size=turns.size)) / 60
    )
    struck[1:][np.diff(np.floor(passes)) > 0] = blows
    sound += ringing(struck, rate_hz=RATE_HZ, fades=20.0)
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name=label)
    return Take(recording=recording, position=label)


@cache
def takes(throb: float = 0.0, blows: float = 0.0) -> tuple[Take, ...]:
    labels = [position.label for position in lathe().positions]
    return tuple(recorded(label, n, throb=throb, blows=blows) for n, label in enumerate(labels))


@cache
def heard(throb: float = 0.0, blows: float = 0.0) -> Listened:
    where = {p.label: turning(lathe(), p) for p in lathe().positions}
    return listen(lathe(), where, takes(throb, blows), lambda *_: None)


@cache
def told(throb: float = 0.0, blows: float = 0.0) -> Diagnosis:
    return diagnose(lathe(), list(takes(throb, blows)))


def test_what_throbs_with_the_belt_tells_its_rate_where_its_own_tone_is_silent() -> None:
    listened = heard(throb=0.5)
    (throb,) = listened.throbs
    assert throb.heard
    for take, order in zip(listened.takes, throb.orders, strict=True):
        (work,) = take.turning.belts
        first, motor = take.turning.nominal_hz("I"), take.turning.nominal_hz("motor")
        assert first
        assert motor
        assert work.order
        slipped = (1 - BELT_SLIP / 2) / (1 - BELT_SLIP)
        true = work.order * motor / first * slipped * take.expected_ratios()["I"]
        assert order == pytest.approx(true, rel=2e-3)


def test_the_belt_is_accused_and_no_bearing() -> None:
    (found,) = told(throb=0.5).faults_named
    assert (found.part, found.fault) == ("V-belt", "lumpy or set belt")
    assert [told_by.kind for told_by in found.evidence] == ["belt_throb"]


def test_the_evidence_drawn_is_what_told_of_the_belt() -> None:
    table = told(throb=0.5).table
    assert table is not None
    (row,) = (row for row in table.rows if row.fault == "lumpy or set belt")
    assert min(cell.strength_db for cell in row.cells) > 5.0


def test_an_even_belt_does_not_throb_and_a_sound_machine_is_not_accused() -> None:
    (throb,) = heard().throbs
    assert not throb.heard
    assert told().faults_named == ()


def test_a_motor_nobody_hears_turn_is_expected_between_its_plate_and_its_mains() -> None:
    for take in heard(blows=4.0).takes:
        assert take.ratio("motor") is None
        expected = take.expected_ratio("motor")
        assert expected is not None
        middle, reach = expected
        true = take.turning.nominal_hz("motor") / take.turning.nominal_hz("I") / (1 - BELT_SLIP)
        assert abs(middle / take.expected_ratios()["I"] / true - 1.0) < reach < 0.04


def test_its_bearing_is_named_all_the_same() -> None:
    (found,) = told(blows=4.0).faults_named
    assert (found.parts, found.fault) == (("motor front",), "outer race")


def test_what_is_said_of_it_claims_no_speed_that_was_not_heard() -> None:
    """The blows' own hertz are measured; how they stand to a shaft nobody hears is not."""
    (found,) = told(blows=4.0).faults_named
    assert [told_by.kind for told_by in found.evidence] == ["bearing_expected"]
    true = MOTOR_HZ * ON_MOTOR.outer * (1 - BEARING_SLIP)
    assert list(found.rates_hz.values()) == pytest.approx([true] * 8, rel=3e-3)
