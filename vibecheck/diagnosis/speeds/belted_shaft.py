"""One shaft behind the belts, in one take: what is expected of it, and what is heard.

Lines that may as well be another shaft's, or a belt's, tell nothing of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.speeds.motor_turns import MOTOR_VARIES
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.diagnosis.speeds.turn_combs import TOP_HZ, TurnLines, comb_surprise, turn_lines
from vibecheck.diagnosis.speeds.turn_takes import (
    BLUR,
    LOOSEST,
    MOTOR_MULTIPLES,
    SCALES,
    TurnTake,
    motor_group,
)
from vibecheck.diagnosis.speeds.turn_tracks import TurnSpeed, turn_speed
from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]

SHAFT_MULTIPLES = 6
BELT_WINDOW = 0.027
"""How far belts may set a shaft from the speed that the table gives it (natural logarithm)."""
BELT_RATE = 0.012
"""How well a belt's own rate is known from its length and its pulley."""
RIVAL = 4e-3


def expected_hz(take: TurnTake, name: str, motor_scale: float | None) -> float | None:
    """Speed of a group by the table and what is known of the motor."""
    nominal = take.turning.groups[name].nominal_hz
    first = motor_group(take.turning)
    base = take.turning.groups[first].nominal_hz
    if nominal is None or base is None:
        return None
    if first in take.speeds:
        return take.speeds[first].track.mean_hz / base * nominal
    return nominal * (motor_scale or 1.0)


def belt_curve(take: TurnTake, name: str, motor_scale: float | None) -> Floats | None:
    """Surprise of a group's comb at each of ``SCALES``; None where its speed is not to be had."""
    expected = expected_hz(take, name, motor_scale)
    if expected is None or expected > TOP_HZ / 2:
        return None
    sets, _ = _lines_for(take, name)
    return comb_surprise(sets, np.exp(SCALES) * expected, _orders(take.turning, name), blur=BLUR)


def _lines_for(take: TurnTake, name: str) -> tuple[list[TurnLines], SpeedTrack | None]:
    """Lines on the motor's angle, less the lines of shafts found already."""
    first = motor_group(take.turning)
    course = take.speeds[first].track if first in take.speeds else None
    sets = turn_lines(take.slow, course, take.turning.machine.supply.mains_hz)
    foreign = _foreign_hz(take, name)
    sets = [lines.without(foreign, 1.3 * lines.step_hz) for lines in sets]
    return sets, course


def belt_speed(
    take: TurnTake, name: str, place: float, motor_scale: float | None
) -> TurnSpeed | None:
    """A group followed from ``place``, its scale as a natural logarithm; None where it is lost."""
    expected = expected_hz(take, name, motor_scale)
    assert expected is not None
    first = motor_group(take.turning)
    course = take.speeds[first].track if first in take.speeds else None
    hz = expected * float(np.exp(place))
    orders = np.array(
        [
            order
            for order in _orders(take.turning, name)
            if not _anyone_elses(take, name, order * hz, motor_scale)
        ]
    )
    if not orders.size:
        return None
    speed = turn_speed(
        take.slow,
        hz,
        orders,
        hum_hz=take.turning.machine.supply.mains_hz,
        course=course,
        foreign_hz=_foreign_hz(take, name),
    )
    if speed is None or speed.error > LOOSEST:
        return None
    return speed if abs(speed.track.mean_hz / hz - 1.0) < RIVAL else None


def _orders(turning: Turning, name: str) -> Floats:
    """Multiples of every rotor of a group, as multiples of the group's speed."""
    ratios = {round(r.ratio, 6) for r in turning.rotors.values() if r.group == name}
    most = SHAFT_MULTIPLES if len(ratios) == 1 else 3
    return np.array(sorted({round(k * r, 6) for r in ratios for k in range(1, most + 1)}))


def _foreign_hz(take: TurnTake, name: str) -> Floats:
    """Lines of the shafts found already."""
    first = motor_group(take.turning)
    return np.array(
        [
            multiple * speed.track.mean_hz
            for other, speed in take.speeds.items()
            if other != name
            for multiple in range(1, (MOTOR_MULTIPLES if other == first else SHAFT_MULTIPLES) + 1)
        ]
    )


def _anyone_elses(take: TurnTake, name: str, place: float, motor_scale: float | None) -> bool:
    """Whether a line may as well be another shaft's, or a belt's, whose speed is not known well."""
    first = motor_group(take.turning)
    for other in take.turning.groups:
        if other == name or other in take.speeds:
            continue
        hz = expected_hz(take, other, motor_scale)
        sure = other == first and motor_scale is not None
        reach, most = (2 * MOTOR_VARIES, 8) if sure else (0.6 * BELT_WINDOW, 3)
        if hz is not None and _near_multiple(place, hz, most, reach):
            return True
    for work in take.turning.belts:
        if work.order is None:
            continue
        rotor = take.turning.rotors[work.driver]
        hz = expected_hz(take, rotor.group, motor_scale)
        if hz is not None and _near_multiple(place, hz * rotor.ratio * work.order, 6, BELT_RATE):
            return True
    return False


def _near_multiple(place_hz: float, base_hz: float, most: int, reach: float) -> bool:
    multiple = max(1, min(most, round(place_hz / base_hz)))
    return abs(place_hz / (multiple * base_hz) - 1.0) < reach
