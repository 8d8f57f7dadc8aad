"""The motor's speed by its own turns, sought in all takes of a sweep at once.

One motor drives all takes, so its speed is nearly the same in each; no plate and no load makes it
run above its synchronous speed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.passing_for_motors import hears_the_motor
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.diagnosis.speeds.turn_combs import (
    TurnLines,
    comb_surprise,
    slow_sound,
    turn_lines,
)
from vibecheck.diagnosis.speeds.turn_takes import (
    ALONE,
    BLUR,
    CHANCE,
    COMPANY,
    DECOYS_BEYOND,
    LEAD,
    LOOSEST,
    MOTOR_MULTIPLES,
    SCALES,
    STEP,
    SweepTurns,
    TurnTake,
    agreement,
    chance_among,
    motor_group,
)
from vibecheck.diagnosis.speeds.turn_tracks import turn_speed
from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]

MOTOR_VARIES = 0.0025
"""How far the motor's speed may differ from take to take (load, mains)."""
LABOURS, LABOURS_LEAN = 0.011, 0.004
"""How much slower it may run where it has more to turn (fast belt steps, a stiff train), and the
scale on which that is less likely (natural logarithm)."""
MOTOR_WINDOW = 0.06
BELOW_PLATE, BELOW_PLATE_IN_AIR = -0.03, -0.012
"""How far below the speed on its plate, which is that at full load, a motor may run under a cut,
and in air; plates are rounded (natural logarithm)."""
BEYOND = 0.004
"""Mains are this steady (natural logarithm)."""
MOTOR_OWN, MOTOR_LEAD = 1.5, 1.5
ENOUGH_TAKES = 0.4
"""A motor heard in a smaller share of the takes may be a shaft that turns about as fast there."""
OPEN = 0.05
"""Share of a drift by which a mean may be wrong when the drift was not followed."""


def motors_heard(takes: Sequence[Ready], turnings: Sequence[Turning | None]) -> SweepTurns:
    """The motor's speed in every take of a sweep.

    Parameters
    ----------
    takes : sequence of Ready
    turnings : sequence of Turning
        Of the position each take was filed under; None where it was not.
    """
    made = [
        None
        if turning is None
        else TurnTake(turning=turning, slow=slow_sound(take), seconds=take.seconds)
        for take, turning in zip(takes, turnings, strict=True)
    ]
    curves: dict[int, Floats] = {}
    lines: dict[int, list[TurnLines]] = {}
    for number, take in enumerate(made):
        if take is None:
            continue
        nominal = take.turning.groups[motor_group(take.turning)].nominal_hz
        if nominal is None:
            continue
        lines[number] = turn_lines(take.slow, None, take.turning.machine.supply.mains_hz)
        orders = np.arange(1.0, MOTOR_MULTIPLES + 1)
        curves[number] = comb_surprise(lines[number], np.exp(SCALES) * nominal, orders, blur=BLUR)
    loaded = any(take.take.kind == "cutting" for take in takes)
    middle = _common(curves, _motor_window(made, loaded=loaded), MOTOR_VARIES)
    without = list(made)
    if middle is None or not hears_the_motor(made, lines, curves, middle, MOTOR_VARIES):
        return SweepTurns(takes=tuple(made))
    for number, curve in curves.items():
        take = made[number]
        assert take is not None
        place = _own_peak(curve, middle)
        if place is None:
            continue
        group = motor_group(take.turning)
        nominal = take.turning.groups[group].nominal_hz
        assert nominal is not None
        heard = turn_speed(
            take.slow,
            nominal * float(np.exp(place)),
            np.arange(1.0, MOTOR_MULTIPLES + 1),
            hum_hz=take.turning.machine.supply.mains_hz,
        )
        if heard is None or heard.error > LOOSEST:
            continue
        apart = float(np.log(heard.track.mean_hz / nominal)) - middle
        if -LABOURS - MOTOR_VARIES < apart < 2 * MOTOR_VARIES:
            heard = replace(heard, sureness=float(curve[np.argmin(np.abs(SCALES - place))]))
            made[number] = replace(take, speeds={group: heard})
    heard_in = sum(bool(take.speeds) for take in made if take is not None)
    if heard_in < ENOUGH_TAKES * len(curves):
        return SweepTurns(takes=tuple(without))
    return SweepTurns(takes=tuple(made), motor_scale=float(np.exp(middle)))


def _motor_window(made: Sequence[TurnTake | None], *, loaded: bool) -> NDArray[np.bool_]:
    """Where the motor's scale may lie."""
    turning = next((take.turning for take in made if take is not None), None)
    low, high = motor_bounds(turning, loaded=loaded) if turning else (-MOTOR_WINDOW, MOTOR_WINDOW)
    window: NDArray[np.bool_] = (low <= SCALES) & (high >= SCALES)
    return window


def motor_bounds(turning: Turning, *, loaded: bool) -> tuple[float, float]:
    """How far the motor may run from the table's speed: a little below its plate, up to synchronous
    speed (natural logarithm)."""
    low, high = -MOTOR_WINDOW, MOTOR_WINDOW
    motor, supply = turning.machine.motor, turning.machine.supply
    if motor is None or motor.speeds:
        return low, high
    nominal = turning.groups[motor_group(turning)].nominal_hz
    if motor.poles.value and nominal and supply.kind not in ("direct current", "inverter"):
        synchronous = 2.0 * supply.mains_hz / motor.poles.value
        high = min(high, float(np.log(synchronous / nominal)) + BEYOND)
    if motor.plate_rpm.middle is not None:
        low = max(low, BELOW_PLATE if loaded else BELOW_PLATE_IN_AIR)
    return low, high


def _common(curves: Mapping[int, Floats], window: NDArray[np.bool_], reach: float) -> float | None:
    """Where the takes agree, when decoys do not agree as well anywhere."""
    if not curves or not window.any():
        return None
    total = agreement(curves.values(), reach)
    inside = np.where(window, total, -1.0)
    best = int(inside.argmax())
    if _on_the_edge(total, window, best, reach):
        return None
    decoys = total[np.abs(SCALES) > DECOYS_BEYOND]
    rivals = total[window & (np.abs(SCALES - SCALES[best]) > 3.0 * reach)]
    if chance_among(float(total[best]), decoys, float(window.sum()) * STEP / reach) > CHANCE:
        return None
    if rivals.size and total[best] - float(rivals.max()) < LEAD:
        return None
    if len(curves) < COMPANY and total[best] < ALONE:
        return None
    high = np.flatnonzero(inside >= total[best] - 1e-9)
    run = high[np.abs(high - best) <= 2 * round(reach / STEP)]
    return float(SCALES[run].mean())


def _on_the_edge(total: Floats, window: NDArray[np.bool_], best: int, reach: float) -> bool:
    """Whether the best place is but the flank of a better one outside the window."""
    beyond = ~window & (np.abs(SCALES - SCALES[best]) <= 2.0 * reach)
    return bool(beyond.any() and total[beyond].max() > total[best])


def _own_peak(curve: Floats, middle: float) -> float | None:
    """The take's own best place by the sweep's, when no other place nearby rivals it.

    Only where there is none the motor is sought further below, where it may labour.
    """
    apart = SCALES - middle
    varies = 0.6 * MOTOR_VARIES
    for furthest, lean in ((1.6 * MOTOR_VARIES, varies), (LABOURS, LABOURS_LEAN)):
        near = (apart >= -furthest) & (apart <= 1.6 * MOTOR_VARIES)
        away = apart / np.where(apart < 0.0, lean, varies)
        place = _unrivalled(curve, np.where(near, curve - 0.5 * away**2, -9.0))
        if place is not None:
            return place
    return None


def _unrivalled(curve: Floats, odds: Floats) -> float | None:
    """Where the odds are highest, when the curve is high there and no other place rivals it."""
    best = int(odds.argmax())
    if curve[best] < MOTOR_OWN:
        return None
    others = np.abs(SCALES - SCALES[best]) > 0.0012
    if odds[best] - float(odds[others].max()) < MOTOR_LEAD:
        return None
    high = np.flatnonzero(odds >= odds[best] - 0.05)
    return float(SCALES[high].mean())


def motors_steadied(
    takes: Sequence[TurnTake | None], known: Sequence[Mapping[str, SpeedTrack]]
) -> list[TurnTake | None]:
    """The motors again: on the course that teeth tell, or with what an unfollowed one leaves open.

    Where the motor's phase could not be followed, its mean is no better than the takes are steady.
    """
    drifts = [track.drift for tracks in known for track in tracks.values()]
    unsteady = OPEN * float(np.median(drifts)) if drifts else 0.0
    return [
        take if take is None else _steadied_take(take, tracks, unsteady)
        for take, tracks in zip(takes, known, strict=True)
    ]


def _steadied_take(take: TurnTake, tracks: Mapping[str, SpeedTrack], unsteady: float) -> TurnTake:
    first = motor_group(take.turning)
    motor = take.speeds.get(first)
    if motor is None or (motor.followed and not tracks):
        return take
    if tracks:
        again = turn_speed(
            take.slow,
            motor.track.mean_hz,
            np.arange(1.0, MOTOR_MULTIPLES + 1),
            hum_hz=take.turning.machine.supply.mains_hz,
            course=next(iter(tracks.values())),
        )
        if again is None or abs(again.track.mean_hz / motor.track.mean_hz - 1.0) > 1.2e-3:
            return replace(take, speeds={})
        motor = replace(again, sureness=motor.sureness)
    elif not motor.followed:
        motor = replace(motor, error=float(np.hypot(motor.error, unsteady)))
    return replace(take, speeds={first: motor} if motor.error <= LOOSEST else {})
