"""Speeds of shafts whose teeth cannot be heard: motors, countershafts, belted spindles.

One motor drives all takes of a sweep, so its own turns are sought in all of them at once; then,
laid on the motor's angle, what each belt drives, where takes on one belt step share its slip. A
speed that decoys could have made, or that has a rival nearby, is not used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speed_track import SpeedTrack
from vibecheck.diagnosis.turn_combs import (
    TOP_HZ,
    TurnLines,
    comb_surprise,
    slow_sound,
    spread_out,
    turn_lines,
)
from vibecheck.diagnosis.turn_tracks import TurnSpeed, turn_speed
from vibecheck.machine.train import Turning
from vibecheck.spectra.combs import SlowSignals

Floats = NDArray[np.float64]

STEP = 1e-4
SCALES = np.arange(-0.16, 0.16, STEP)
"""Trial speeds over expected ones, natural logarithm; those outside every window are decoys."""
MOTOR_MULTIPLES, SHAFT_MULTIPLES = 12, 6
MOTOR_VARIES = 0.0025
"""How far the motor's speed may differ from take to take (load, mains)."""
ENOUGH_TAKES = 0.4
"""A motor heard in a smaller share of the takes may be a shaft that turns about as fast there."""
MOTOR_WINDOW = 0.06
SLIP_VARIES, STEPS_DIFFER = 0.003, 0.012
"""How far a belt's slip differs from take to take, and from one belt or step to another."""
BELT_WINDOW = 0.027
BELT_RATE = 0.012
"""How well a belt's own rate is known from its length and its pulley."""
DECOYS_BEYOND = 0.075
CHANCE = 1e-3
"""Chance that decoys would do as well at which a speed sought over the sweep counts as there."""
OWN, LEAD = 3.5, 2.5
"""Surprise a take must show itself, and its lead over any rival in the window (nats)."""
COMPANY, ALONE = 3, 11.0
"""Fewer takes than this do not disprove one another: their combs must surprise this much."""
MOTOR_OWN, MOTOR_LEAD = 1.5, 1.5
RIVAL = 4e-3
BLUR = 5e-4
OPEN = 0.05
"""Share of a drift by which a mean may be wrong when the drift was not followed."""
LOOSEST = 2.5e-4
"""Relative uncertainty at which a speed is of no use to anything laid on it."""
MOST_PER_TAKE = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnTake:
    """One take as its shafts' own turns tell it; ``speeds`` maps rigid group to its speed."""

    turning: Turning
    slow: SlowSignals
    seconds: float
    speeds: Mapping[str, TurnSpeed] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepTurns:
    """What the takes of one sweep tell by turns alone.

    ``motor_scale`` is the motor's speed over the table's, None when it was not heard.
    """

    takes: tuple[TurnTake | None, ...]
    motor_scale: float | None = None


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
    curves = {}
    for number, take in enumerate(made):
        if take is None:
            continue
        nominal = take.turning.groups[_motor(take.turning)].nominal_hz
        if nominal is None:
            continue
        lines = turn_lines(take.slow, None, take.turning.machine.supply.mains_hz)
        orders = np.arange(1.0, MOTOR_MULTIPLES + 1)
        curves[number] = comb_surprise(lines, np.exp(SCALES) * nominal, orders, blur=BLUR)
    middle = _common(curves, _motor_window(made), MOTOR_VARIES)
    without = list(made)
    if middle is None:
        return SweepTurns(takes=tuple(made))
    for number, curve in curves.items():
        take = made[number]
        assert take is not None
        place = _own_peak(curve, middle)
        if place is None:
            continue
        group = _motor(take.turning)
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
        if abs(np.log(heard.track.mean_hz / nominal) - middle) < 2 * MOTOR_VARIES:
            heard = replace(heard, sureness=float(curve[np.argmin(np.abs(SCALES - place))]))
            made[number] = replace(take, speeds={group: heard})
    heard_in = sum(bool(take.speeds) for take in made if take is not None)
    if heard_in < ENOUGH_TAKES * len(curves):
        return SweepTurns(takes=tuple(without))
    return SweepTurns(takes=tuple(made), motor_scale=float(np.exp(middle)))


def _motor(turning: Turning) -> str:
    """The rigid group that the motor turns in: the first."""
    return next(iter(turning.groups))


def _motor_window(made: Sequence[TurnTake | None]) -> NDArray[np.bool_]:
    """Where the motor's scale may lie: from a little below its plate to synchronous speed."""
    low, high = -MOTOR_WINDOW, MOTOR_WINDOW
    turning = next((take.turning for take in made if take is not None), None)
    motor = turning.machine.motor if turning is not None else None
    if turning is not None and motor is not None and not motor.speeds:
        supply, poles = turning.machine.supply, motor.poles.value
        nominal = turning.groups[_motor(turning)].nominal_hz
        if poles and nominal and supply.kind not in ("direct current", "inverter"):
            high = min(high, float(np.log(2.0 * supply.mains_hz / poles / nominal)) + 0.004)
        if motor.plate_rpm.middle is not None:
            low = max(low, -0.03)
    window: NDArray[np.bool_] = (low <= SCALES) & (high >= SCALES)
    return window


def _common(curves: Mapping[int, Floats], window: NDArray[np.bool_], reach: float) -> float | None:
    """Where the takes agree, when decoys do not agree as well anywhere."""
    if not curves or not window.any():
        return None
    total = np.sum(
        [spread_out(np.minimum(curve, MOST_PER_TAKE), STEP, reach) for curve in curves.values()],
        axis=0,
    )
    inside = np.where(window, total, -1.0)
    best = int(inside.argmax())
    decoys = total[np.abs(SCALES) > DECOYS_BEYOND]
    rivals = total[window & (np.abs(SCALES - SCALES[best]) > 3.0 * reach)]
    if _chance(float(total[best]), decoys, float(window.sum()) * STEP / reach) > CHANCE:
        return None
    if rivals.size and total[best] - float(rivals.max()) < LEAD:
        return None
    if len(curves) < COMPANY and total[best] < ALONE:
        return None
    high = np.flatnonzero(inside >= total[best] - 1e-9)
    run = high[np.abs(high - best) <= 2 * round(reach / STEP)]
    return float(SCALES[run].mean())


def _chance(reached: float, decoys: Floats, places: float) -> float:
    """Chance that decoys reach this at one of so many places: an exponential tail."""
    middle, top = (float(q) for q in np.quantile(decoys, (0.5, 0.95)))
    pace = max((top - middle) / np.log(10.0), 1.0)
    return float(min(1.0, 0.05 * places * np.exp(-max(0.0, reached - top) / pace)))


def _own_peak(curve: Floats, middle: float) -> float | None:
    """The take's own best place by the sweep's, when no other place nearby rivals it."""
    near = np.abs(SCALES - middle) <= 1.6 * MOTOR_VARIES
    odds = np.where(near, curve - 0.5 * ((SCALES - middle) / (0.6 * MOTOR_VARIES)) ** 2, -9.0)
    best = int(odds.argmax())
    if curve[best] < MOTOR_OWN:
        return None
    others = np.abs(SCALES - SCALES[best]) > 0.0012
    if odds[best] - float(odds[others].max()) < MOTOR_LEAD:
        return None
    high = np.flatnonzero(odds >= odds[best] - 0.05)
    return float(SCALES[high].mean())


def belts_heard(
    turns: SweepTurns, known: Sequence[Mapping[str, SpeedTrack]], wanted: Sequence[bool]
) -> SweepTurns:
    """What turns behind the belts, in the takes that ask for it.

    Parameters
    ----------
    turns : SweepTurns
        With the motor's speed, where it was heard.
    known : sequence of mapping
        Tracks found by teeth, take by take: they tell the slip of their belts.
    wanted : sequence of bool
        Takes whose other shafts are to be found.
    """
    made = _steadied(turns.takes, known)
    turns = replace(turns, takes=tuple(made))
    names = list(
        dict.fromkeys(
            group
            for take, want in zip(made, wanted, strict=True)
            if take is not None and want
            for group in list(take.turning.groups)[1:]
        )
    )
    for name in names:
        told = _told_by_teeth(turns, known, name)
        curves: dict[int, Floats] = {}
        for number, take in enumerate(made):
            if take is None or not wanted[number] or name not in take.turning.groups:
                continue
            curve = _belt_curve(take, name, turns.motor_scale)
            if curve is not None:
                curves[number] = curve
        for number, (place, sureness) in _placed(made, curves, name, told).items():
            take = made[number]
            assert take is not None
            speed = _belt_speed(take, name, place, turns.motor_scale)
            if speed is not None:
                speeds = {**take.speeds, name: replace(speed, sureness=sureness)}
                made[number] = replace(take, speeds=speeds)
    return replace(turns, takes=tuple(made))


def _steadied(
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
    first = _motor(take.turning)
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


def _expected_hz(take: TurnTake, name: str, motor_scale: float | None) -> float | None:
    """Speed of a group by the table and what is known of the motor."""
    nominal = take.turning.groups[name].nominal_hz
    first = _motor(take.turning)
    base = take.turning.groups[first].nominal_hz
    if nominal is None or base is None:
        return None
    if first in take.speeds:
        return take.speeds[first].track.mean_hz / base * nominal
    return nominal * (motor_scale or 1.0)


def _orders(turning: Turning, name: str) -> Floats:
    """Multiples of every rotor of a group, as multiples of the group's speed."""
    ratios = {round(r.ratio, 6) for r in turning.rotors.values() if r.group == name}
    most = SHAFT_MULTIPLES if len(ratios) == 1 else 3
    return np.array(sorted({round(k * r, 6) for r in ratios for k in range(1, most + 1)}))


def _lines_for(take: TurnTake, name: str) -> tuple[list[TurnLines], SpeedTrack | None]:
    """Lines on the motor's angle, less the lines of shafts found already."""
    first = _motor(take.turning)
    course = take.speeds[first].track if first in take.speeds else None
    sets = turn_lines(take.slow, course, take.turning.machine.supply.mains_hz)
    foreign = _foreign_hz(take, name)
    sets = [lines.without(foreign, 1.3 * lines.step_hz) for lines in sets]
    return sets, course


def _belt_curve(take: TurnTake, name: str, motor_scale: float | None) -> Floats | None:
    expected = _expected_hz(take, name, motor_scale)
    if expected is None or expected > TOP_HZ / 2:
        return None
    sets, _ = _lines_for(take, name)
    return comb_surprise(sets, np.exp(SCALES) * expected, _orders(take.turning, name), blur=BLUR)


def _belts_into(turning: Turning, name: str) -> tuple[str, ...]:
    """The slipping belts between the motor and a group: takes that share them share the slip."""
    chain: list[str] = []
    group = name
    for _ in turning.belts:
        for work in turning.belts:
            if work.driven in turning.rotors and turning.rotors[work.driven].group == group:
                chain += [] if work.belt.toothed else [work.belt.name]
                group = turning.rotors[work.driver].group
                break
    return tuple(chain)


def _told_by_teeth(
    turns: SweepTurns, known: Sequence[Mapping[str, SpeedTrack]], name: str
) -> dict[tuple[str, ...], float]:
    """Belt steps to the scale of a group over the motor's, where teeth tell it."""
    told: dict[tuple[str, ...], list[float]] = {}
    for take, tracks in zip(turns.takes, known, strict=True):
        if take is None or name not in tracks or name not in take.turning.groups:
            continue
        expected = _expected_hz(take, name, turns.motor_scale)
        if expected is not None:
            deviation = float(np.log(tracks[name].mean_hz / expected))
            if abs(deviation) < 1.5 * BELT_WINDOW:
                told.setdefault(_belts_into(take.turning, name), []).append(deviation)
    return {key: float(np.median(values)) for key, values in told.items()}


def _placed(
    made: Sequence[TurnTake | None],
    curves: Mapping[int, Floats],
    name: str,
    told: Mapping[tuple[str, ...], float],
) -> dict[int, tuple[float, float]]:
    """Where each take has the group, and how surely: its own lines with the others' support."""
    if not curves:
        return {}
    keys = {number: _belts_into(made[number].turning, name) for number in curves}  # type: ignore[union-attr]
    usual = float(np.median(list(told.values()))) if told else 0.0
    held = {n: np.minimum(c, MOST_PER_TAKE) for n, c in curves.items()}
    same = {n: spread_out(c, STEP, SLIP_VARIES) for n, c in held.items()}
    other = {n: spread_out(c, STEP, STEPS_DIFFER) for n, c in held.items()}
    placed = {}
    for number, curve in held.items():
        key = keys[number]
        if key in told:
            window = np.abs(SCALES - told[key]) <= 1.5 * SLIP_VARIES
        else:
            window = np.abs(SCALES - usual) <= (STEPS_DIFFER if told else BELT_WINDOW)
        total = curve.copy()
        for n in held:
            if n != number:
                total = total + np.minimum(same[n] if keys[n] == key else other[n], 5.0)
        decoys = total[np.abs(SCALES) > DECOYS_BEYOND]
        inside = np.where(window, total, -1.0)
        best = int(inside.argmax())
        if curve[best] < OWN or (len(held) < COMPANY and key not in told and total[best] < ALONE):
            continue
        rivals = window & (np.abs(SCALES - SCALES[best]) > RIVAL)
        if rivals.any() and total[best] - float(total[rivals].max()) < LEAD:
            continue
        if _chance(float(total[best]), decoys, float(window.sum()) * STEP / 1e-3) > CHANCE:
            continue
        high = np.flatnonzero(inside >= total[best] - 1e-9)
        placed[number] = float(SCALES[high].mean()), float(curve[best])
    return placed


def _belt_speed(
    take: TurnTake, name: str, place: float, motor_scale: float | None
) -> TurnSpeed | None:
    expected = _expected_hz(take, name, motor_scale)
    assert expected is not None
    first = _motor(take.turning)
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


def _foreign_hz(take: TurnTake, name: str) -> Floats:
    """Lines of the shafts found already."""
    first = _motor(take.turning)
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
    first = _motor(take.turning)
    for other in take.turning.groups:
        if other == name or other in take.speeds:
            continue
        hz = _expected_hz(take, other, motor_scale)
        sure = other == first and motor_scale is not None
        reach, most = (2 * MOTOR_VARIES, 8) if sure else (0.6 * BELT_WINDOW, 3)
        if hz is not None and _near_multiple(place, hz, most, reach):
            return True
    for work in take.turning.belts:
        if work.order is None:
            continue
        rotor = take.turning.rotors[work.driver]
        hz = _expected_hz(take, rotor.group, motor_scale)
        if hz is not None and _near_multiple(place, hz * rotor.ratio * work.order, 6, BELT_RATE):
            return True
    return False


def _near_multiple(place_hz: float, base_hz: float, most: int, reach: float) -> bool:
    multiple = max(1, min(most, round(place_hz / base_hz)))
    return abs(place_hz / (multiple * base_hz) - 1.0) < reach
