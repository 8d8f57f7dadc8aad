"""Speeds of the shafts behind the belts, by their own turns: countershafts and belted spindles.

They are sought on the motor's angle; takes on one belt step share its slip, and so support one
another. Where teeth tell the slip of a step, they are believed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.speeds.belted_shaft import (
    BELT_WINDOW,
    RIVAL,
    belt_curve,
    belt_speed,
    expected_hz,
)
from vibecheck.diagnosis.speeds.motor_turns import motors_steadied
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.diagnosis.speeds.turn_combs import spread_out
from vibecheck.diagnosis.speeds.turn_takes import (
    ALONE,
    CHANCE,
    COMPANY,
    DECOYS_BEYOND,
    LEAD,
    MOST_PER_TAKE,
    SCALES,
    STEP,
    SweepTurns,
    TurnTake,
    chance_among,
)
from vibecheck.machine.parts import BeltStep
from vibecheck.machine.train import BeltAtWork, Turning

Floats = NDArray[np.float64]
BeltSteps = tuple[BeltStep, ...]

SLIP_VARIES, STEPS_DIFFER = 0.003, 0.012
"""How far a belt's slip differs from take to take, and from one belt or step to another."""
FIRM, LIKE_OTHERS, MORE_SLIP = 2, 0.005, 0.012
"""So many takes sure of their own place say where others of the sweep have theirs, this nearly; a
belt that drives more slips more, each by so much."""
OWN = 3.5
"""Surprise a take must show itself (nats)."""


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
    made = motors_steadied(turns.takes, known)
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
            curve = belt_curve(take, name, turns.motor_scale)
            if curve is not None:
                curves[number] = curve
        for number, (place, sureness) in _placed(made, curves, name, told).items():
            take = made[number]
            assert take is not None
            speed = belt_speed(take, name, place, turns.motor_scale)
            if speed is not None:
                speeds = {**take.speeds, name: replace(speed, sureness=sureness)}
                made[number] = replace(take, speeds=speeds)
    return replace(turns, takes=tuple(made))


def _told_by_teeth(
    turns: SweepTurns, known: Sequence[Mapping[str, SpeedTrack]], name: str
) -> dict[BeltSteps, float]:
    """Belt steps to the scale of a group over the motor's, where teeth tell it."""
    told: dict[BeltSteps, list[float]] = {}
    for take, tracks in zip(turns.takes, known, strict=True):
        if take is None or name not in tracks or name not in take.turning.groups:
            continue
        expected = expected_hz(take, name, turns.motor_scale)
        if expected is not None:
            deviation = float(np.log(tracks[name].mean_hz / expected))
            if abs(deviation) < 1.5 * BELT_WINDOW:
                told.setdefault(_belts_into(take.turning, name), []).append(deviation)
    return {key: float(np.median(values)) for key, values in told.items()}


def _belts_into(turning: Turning, name: str) -> BeltSteps:
    """The slipping belts between the motor and a group: takes that share them share the slip."""
    chain: list[BeltStep] = []
    group = name
    for _ in turning.belts:
        work = next((w for w in turning.belts if _drives(turning, w, group)), None)
        if work is None:
            break
        chain.append(work.belt.step)
        group = turning.rotors[work.driver].group
    return tuple(chain)


def _drives(turning: Turning, work: BeltAtWork, group: str) -> bool:
    """Whether a belt drives a group from another; a toothed one drives its own."""
    groups = [turning.rotors[n].group for n in (work.driver, work.driven) if n in turning.rotors]
    return len(groups) == 2 and groups[1] == group != groups[0]


def _placed(
    made: Sequence[TurnTake | None],
    curves: Mapping[int, Floats],
    name: str,
    told: Mapping[BeltSteps, float],
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
        if chance_among(float(total[best]), decoys, float(window.sum()) * STEP / 1e-3) > CHANCE:
            continue
        high = np.flatnonzero(inside >= total[best] - 1e-9)
        placed[number] = float(SCALES[high].mean()), float(curve[best])
    return placed | _placed_by_others(held, keys, placed, told)


def _placed_by_others(
    curves: Mapping[int, Floats],
    keys: Mapping[int, BeltSteps],
    placed: Mapping[int, tuple[float, float]],
    told: Mapping[BeltSteps, float],
) -> dict[int, tuple[float, float]]:
    """Takes whose best place by themselves, without a rival, is about where others have theirs:
    those on the same step if teeth tell of one, else all.

    The shaft turns somewhere in the window; what others say leaves chance little of it.
    """
    known = [*told.values(), *(place for place, _ in placed.values())]
    if len(known) < FIRM:
        return {}
    middle = float(np.median(known))
    found = {}
    for number, curve in curves.items():
        if number in placed:
            continue
        inside = np.where(np.abs(SCALES) <= BELT_WINDOW, curve, -1.0)
        best = int(inside.argmax())
        rivals = inside[np.abs(SCALES - SCALES[best]) > RIVAL]
        alone = inside[best] >= OWN and inside[best] - float(rivals.max()) >= LEAD
        beyond = float(SCALES[best]) - told.get(keys[number], middle)
        if alone and -MORE_SLIP * len(keys[number]) <= beyond <= LIKE_OTHERS:
            high = np.flatnonzero(inside >= inside[best] - 1e-9)
            found[number] = float(SCALES[high].mean()), float(inside[best])
    return found
