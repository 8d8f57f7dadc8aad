"""What passes for the motor: a comb that agrees over the takes and is another part's.

A lumpy belt's third or fifth multiples lie as evenly as a motor's turns, and a bearing that strikes
about as often as the motor turns is followed by the envelope alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.speeds.turn_combs import TurnLines, comb_surprise
from vibecheck.diagnosis.speeds.turn_takes import (
    BLUR,
    DECOYS_BEYOND,
    MOTOR_MULTIPLES,
    SCALES,
    TurnTake,
    agreement,
    chance_among,
    motor_group,
)
from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]

ITSELF = 1e-2
"""Chance at which the motor counts as heard in the sound itself, not in its envelope only."""
BELTS, BELTS_SHARE = 1e-4, 0.5
"""Chance at which multiples of a belt between those of the motor count as heard; and by how much,
over those, they must stand for the comb to be the belt's."""
BELT_NEAR = 0.03
"""How near a multiple of a belt's rate lies to the motor's own where it may pass for it."""
MOST_TURNS = 8


def hears_the_motor(
    takes: Sequence[TurnTake | None],
    lines: Mapping[int, Sequence[TurnLines]],
    curves: Mapping[int, Floats],
    middle: float,
    reach: float,
) -> bool:
    """Whether the comb at one scale of all takes is the motor's own.

    Parameters
    ----------
    takes : sequence of TurnTake
    lines : mapping of a take's number to its lines in the sound and in its envelope
    curves : mapping of a take's number to the surprise of the motor's comb in both
    middle : float
        The scale to the table's speed, natural logarithm.
    reach : float
        How far a take's own may lie from it.
    """
    itself = {number: each[:1] for number, each in lines.items()}
    own = np.arange(1.0, MOTOR_MULTIPLES + 1)
    if _chance(agreement(_combs(takes, itself, own, 1), reach), middle) > ITSELF:
        return False
    heard = _at(agreement(curves.values(), reach), middle)
    turning = next(take.turning for take in takes if take is not None)
    for turns in _belts_turns(turning):
        between = np.array([k for k in range(1, 4 * turns) if k % turns], dtype=np.float64)
        belts = agreement(_combs(takes, lines, between, turns), reach)
        if _chance(belts, middle) <= BELTS and _at(belts, middle) >= BELTS_SHARE * heard:
            return False
    return True


def _belts_turns(turning: Turning) -> set[int]:
    """How many multiples of a belt's rate make about one turn of the motor."""
    first = motor_group(turning)
    found = set()
    for work in turning.belts:
        driver = turning.rotors[work.driver]
        if driver.group != first or work.order is None:
            continue
        each = driver.ratio * work.order
        turns = round(1.0 / each)
        if 2 <= turns <= MOST_TURNS and abs(turns * each - 1.0) <= BELT_NEAR:
            found.add(turns)
    return found


def _combs(
    takes: Sequence[TurnTake | None],
    lines: Mapping[int, Sequence[TurnLines]],
    orders: Floats,
    turns: int,
) -> Iterator[Floats]:
    """Surprise of every take's comb at each of ``SCALES``, its base the motor over ``turns``."""
    for number, each in lines.items():
        take = takes[number]
        assert take is not None, "lines are of takes with a position"
        nominal = take.turning.groups[motor_group(take.turning)].nominal_hz
        assert nominal is not None, "and of motors with a speed"
        yield comb_surprise(each, np.exp(SCALES) * nominal / turns, orders, blur=BLUR)


def _at(agreement: Floats, middle: float) -> float:
    return float(agreement[int(np.argmin(np.abs(SCALES - middle)))])


def _chance(agreement: Floats, middle: float) -> float:
    decoys = agreement[np.abs(SCALES) > DECOYS_BEYOND]
    return chance_among(_at(agreement, middle), decoys, 1.0)
