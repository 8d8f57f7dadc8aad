"""A belt's multiples, and a bearing's blows, that come as evenly as a motor's turns.

The takes are our own sums of tones, blows and noise; nothing of the package's synthesis.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.diagnosis.invented_sweeps import ringing, swaying_turns
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds import motor_turns
from vibecheck.diagnosis.speeds.motor_turns import motors_heard
from vibecheck.diagnosis.speeds.turn_takes import SweepTurns
from vibecheck.machine.parts import Belt, Known, LeverGroup, Machine, Motor, Position, Supply
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, Take

RATE_HZ, SECONDS = 12000.0, 12.0
PLATE_HZ, MOTOR_HZ, OTHER_HZ = 24.0, 24.61, 24.03
LABELS = ("1", "2", "3", "4", "5")

Signal = NDArray[np.float64]


@cache
def machine() -> Machine:
    """A motor and a belt that turns once while the motor turns some three times."""
    belt = Belt(
        name="V-belt",
        driver="motor",
        driven="I",
        driver_mm=Known.exactly(110.0),
        driven_mm=Known.exactly(200.0),
        length_mm=Known.exactly(1036.7),
    )
    return Machine(
        name="invented",
        supply=Supply(hz=Known.exactly(50), mains_hz=50.0),
        motor=Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1440)),
        shafts=("motor", "I"),
        spindle="I",
        belts=(belt,),
        groups=(LeverGroup(name="A", settings=LABELS),),
        positions=tuple(Position(levers={"A": label}) for label in LABELS),
    )


def filed() -> list[Turning]:
    return [turning(machine(), position) for position in machine().positions]


def swept(*, own: float, other: float, multiples: tuple[float, ...], blows: float) -> SweepTurns:
    """A motor ``own`` loud and something ``other`` loud with these multiples, or in blows."""
    takes = [
        _take(number, own=own, other=other, multiples=multiples, blows=blows)
        for number in range(len(LABELS))
    ]
    return motors_heard(takes, filed())


def _take(
    number: int, *, own: float, other: float, multiples: tuple[float, ...], blows: float
) -> Ready:
    rng = np.random.default_rng(4100 + number)
    sound = rng.normal(size=int(RATE_HZ * SECONDS))
    for hz, loud, orders in ((MOTOR_HZ, own, (1.0, 2.0, 3.0)), (OTHER_HZ, other, multiples)):
        turns = swaying_turns(hz, rng, rate_hz=RATE_HZ, seconds=SECONDS)
        sound += loud * sum(np.cos(2 * np.pi * (k * turns + rng.random())) for k in orders)
    struck = np.zeros(sound.size)
    struck[1:][np.diff(np.floor(turns)) > 0] = blows
    sound += ringing(struck, rate_hz=RATE_HZ, fades=20.0)
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name=LABELS[number])
    return made_ready(Take(recording=recording, position=f"A{LABELS[number]}"))


THIRDS = tuple(k / 3 for k in range(1, 13))


def test_the_motor_is_heard_where_it_turns() -> None:
    heard = swept(own=0.1, other=0.0, multiples=(), blows=0.0)
    assert heard.motor_scale == pytest.approx(MOTOR_HZ / PLATE_HZ, rel=3e-3)


@pytest.mark.parametrize(
    ("other", "multiples", "blows"),
    [(0.1, THIRDS, 0.0), (0.0, (), 2.5)],
    ids=["a lumpy belt", "a bearing that strikes about once a turn"],
)
def test_what_comes_as_evenly_is_not_taken_for_the_motor(
    other: float, multiples: tuple[float, ...], blows: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert swept(own=0.0, other=other, multiples=multiples, blows=blows).motor_scale is None
    monkeypatch.setattr(motor_turns, "hears_the_motor", lambda *_: True)
    believed = swept(own=0.0, other=other, multiples=multiples, blows=blows)
    assert believed.motor_scale == pytest.approx(OTHER_HZ / PLATE_HZ, rel=2e-3)


def test_a_motor_plainly_heard_is_believed_beside_a_belt_that_is_faint() -> None:
    heard = swept(own=0.2, other=0.03, multiples=THIRDS, blows=0.0)
    assert heard.motor_scale == pytest.approx(MOTOR_HZ / PLATE_HZ, rel=3e-3)
