"""Speeds by teeth and speeds by turns, put together.

Shafts behind belts, and those on which no teeth mesh, are heard by their own turns. What the motor
says so also bounds the scale that teeth may claim, and refutes a take that says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.speeds.belt_turns import belts_heard
from vibecheck.diagnosis.speeds.found import TakeSpeed, not_used
from vibecheck.diagnosis.speeds.lines import anchor_group
from vibecheck.diagnosis.speeds.scale import (
    BETWEEN_TAKES,
    MANY_PAIRS,
    Likely,
    pairs_under_load,
)
from vibecheck.diagnosis.speeds.turn_takes import SweepTurns, motor_group
from vibecheck.diagnosis.speeds.turn_tracks import TurnSpeed
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning

IN_STEP = 5e-4
"""Two rates this near a ratio of small whole numbers keep step."""
MANY, PLAIN = 3, 8.0
"""Takes that make it no accident that teeth are silent, or that shafts turn as the table says; and
the sureness of a speed by teeth that a motor must not speak against in most takes."""
BELT_WIDTH = 0.022
"""How far a belt may set a shaft from the speed that the table gives it behind the heard motor."""
MOTOR_HEARD_COST = 25.0
"""What a scale that the heard motor speaks against must have more than one at home."""


def needs_turns(machine: Machine, filed: Sequence[Turning | None]) -> bool:
    """Whether some shaft's speed cannot be had from teeth: behind a belt, or where none mesh."""
    bare = any(turning is not None and anchor_group(turning) is None for turning in filed)
    return bare or any(not belt.toothed for belt in machine.belts)


def likely_scale(machine: Machine, turns: SweepTurns) -> Likely:
    """Where the common scale is to be expected; the more surely where the motor is heard."""
    if turns.motor_scale is None:
        return Likely()
    width = BELT_WIDTH * max(1, len(_belt_stages(machine))) ** 0.5
    return Likely(middle=float(np.log(turns.motor_scale)), width=width, cost=MOTOR_HEARD_COST)


def _belt_stages(machine: Machine) -> set[tuple[str, str]]:
    """Pairs of shafts that slipping belts join; the steps of one cone are one stage."""
    return {(belt.driver, belt.driven) for belt in machine.belts if not belt.toothed}


def with_turns(
    fitted: Sequence[TakeSpeed], turns: SweepTurns, filed: Sequence[Turning | None]
) -> list[TakeSpeed]:
    """Speeds of shafts heard by their own turns, where teeth tell none; and those that they refute.

    Where teeth should tell and do in no take, the machine may be another: nothing is used then,
    unless shafts behind its belts are heard where the table has them.
    """
    given = [
        _refuted(speed, heard.speeds if heard is not None else {})
        for speed, heard in zip(fitted, turns.takes, strict=True)
    ]
    if _outvoted(fitted, given):
        given, turns = list(fitted), _without_motor(turns)
    toothed = [
        speed
        for speed, turning in zip(given, filed, strict=True)
        if turning is not None and anchor_group(turning) is not None
    ]
    mute = len(toothed) >= MANY and not any(speed.found for speed in toothed)
    known = [speed.tracks if speed.found and not speed.misfiled else {} for speed in given]
    turns = belts_heard(turns, known, [not speed.found for speed in given])
    joined = [
        speed if heard is None else _joined(speed, heard.turning, heard.speeds)
        for speed, heard in zip(given, turns.takes, strict=True)
    ]
    belted = sum(
        heard is not None and bool(set(heard.speeds) - {motor_group(heard.turning)})
        for heard in turns.takes
    )
    return given if mute and belted < MANY else joined


def _outvoted(fitted: Sequence[TakeSpeed], given: Sequence[TakeSpeed]) -> bool:
    """Whether what passes for the motor speaks against most takes that many plain teeth tell.

    It is something else then: a belt's multiples lie as evenly.
    """
    plain = [
        not left.found
        for speed, left in zip(fitted, given, strict=True)
        if speed.found
        and speed.turning is not None
        and speed.sureness >= PLAIN
        and len(pairs_under_load(speed.turning)) >= MANY_PAIRS
    ]
    return len(plain) >= MANY and 2 * sum(plain) > len(plain)


def _without_motor(turns: SweepTurns) -> SweepTurns:
    silent = tuple(take and replace(take, speeds={}) for take in turns.takes)
    return replace(turns, takes=silent, motor_scale=None)


def _refuted(speed: TakeSpeed, heard: Mapping[str, TurnSpeed]) -> TakeSpeed:
    """Not used when the motor, plainly heard in the same take, says otherwise."""
    if not speed.found or speed.turning is None or speed.misfiled:
        return speed
    groups = speed.turning.groups
    first, group = next(iter(groups)), next(iter(speed.tracks))
    nominal = groups[first].nominal_hz
    if first not in heard or nominal is None:
        return speed
    apart = abs(float(np.log(speed.scale * nominal / heard[first].track.mean_hz)))
    stages = max(1, len(_belt_stages(speed.turning.machine)))
    allowed = BETWEEN_TAKES / 3 if group == first else 1.5 * BELT_WIDTH * stages**0.5
    return speed if apart <= allowed else not_used(speed)


def _joined(speed: TakeSpeed, turning: Turning, heard: Mapping[str, TurnSpeed]) -> TakeSpeed:
    """Tracks by teeth first; where there are none the spindle's own, then the motor's."""
    if not heard or (speed.found and (speed.misfiled or speed.turning is not turning)):
        return speed
    if speed.found:
        heard = {name: own for name, own in heard.items() if not _in_step(own, speed, turning)}
    spindle = turning.rotors.get(turning.machine.spindle)
    order = sorted(heard, key=lambda name: spindle is None or name != spindle.group)
    tracks = {
        **speed.tracks,
        **{name: heard[name].track for name in order if name not in speed.tracks},
    }
    errors = {
        **speed.errors,
        **{name: heard[name].error for name in order if name not in speed.errors},
    }
    if speed.found:
        return replace(speed, tracks=tracks, errors=errors)
    first = next(iter(tracks))
    nominal = turning.groups[first].nominal_hz
    return replace(
        speed,
        turning=turning,
        found=True,
        sureness=heard[first].sureness,
        support=0.0,
        by_turns=True,
        scale=tracks[first].mean_hz / nominal if nominal else 1.0,
        tracks=tracks,
        errors=errors,
    )


def _in_step(heard: TurnSpeed, speed: TakeSpeed, turning: Turning) -> bool:
    """Whether what passes for a further shaft keeps step with one that teeth drive: it is that one.

    A belt slips, and holds no ratio of small numbers to this part of one.
    """
    group, track = next(iter(speed.tracks.items()))
    for rotor in turning.rotors.values():
        if rotor.group != group:
            continue
        times = heard.track.mean_hz / (rotor.ratio * track.mean_hz)
        if any(
            round(times * q) in range(1, 7) and abs(times * q / round(times * q) - 1.0) < IN_STEP
            for q in (1, 2, 3)
        ):
            return True
    return False
