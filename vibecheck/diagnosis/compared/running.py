"""The takes of a sweep with the speeds found in them, ready to be compared or followed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.found import TakeSpeed
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Take
from vibecheck.spectra.speed import speed_from_comb
from vibecheck.units import hz


def running(machine: Machine, takes: Sequence[Take]) -> list[TakeAtSpeed]:
    """Find the speeds of every idle take of one sweep; others pass through without.

    Returns
    -------
    list of TakeAtSpeed
        In the order of ``takes``. A take whose speed was neither heard nor measured, or that
        sounds like another lever position, carries the doubt in words.
    """
    takes = [_placed(machine, take) for take in takes]
    turnings = {each.label: turning(machine, each) for each in machine.positions}
    idle = [take for take in takes if take.kind == "idle" and take.position in turnings]
    if not idle:
        return [TakeAtSpeed(take=take, speeds_hz={}) for take in takes]
    fitted = fit_speeds(turnings, [made_ready(take) for take in idle])
    found = {id(take): speed for take, speed in zip(idle, fitted.takes, strict=True)}
    return [
        _at_speed(take, found[id(take)], turnings[str(take.position)], machine.spindle)
        if id(take) in found
        else TakeAtSpeed(take=take, speeds_hz={})
        for take in takes
    ]


def _at_speed(take: Take, speed: TakeSpeed, filed: Turning, spindle: str) -> TakeAtSpeed:
    if speed.misfiled:
        assert speed.turning is not None
        doubt = f"filed under {speed.filed}, but it sounds like {speed.turning.label}"
        return TakeAtSpeed(take=take, speeds_hz={}, doubt=doubt)
    if speed.found:
        means = {group: track.mean_hz for group, track in speed.tracks.items()}
        return TakeAtSpeed(take=take, speeds_hz=means, tracks=speed.tracks)
    if take.tach_rpm:
        rotor = filed.rotors[spindle]
        return TakeAtSpeed(take=take, speeds_hz={rotor.group: hz(take.tach_rpm) / rotor.ratio})
    alone = _one_shaft_speed(take, filed)
    if alone:
        return TakeAtSpeed(take=take, speeds_hz=alone)
    return TakeAtSpeed(take=take, speeds_hz={}, doubt="its speed could not be found")


def _placed(machine: Machine, take: Take) -> Take:
    """A machine without levers has one position; takes need not name it."""
    if take.position is None and [each.label for each in machine.positions] == [""]:
        return replace(take, position="")
    return take


def _one_shaft_speed(take: Take, filed: Turning) -> dict[str, float]:
    """Speed of a lone shaft from its whole multiples near the speed told, else the speed told."""
    group = next(iter(filed.groups.values()))
    if len(filed.groups) > 1 or group.nominal_hz is None:
        return {}
    recording = take.recording
    found = speed_from_comb(
        recording.channel(0), recording.rate_hz, nominal_hz=group.nominal_hz, search=0.05
    )
    if found.found:
        return {group.name: found.hz}
    motor = filed.machine.motor
    told = motor is not None and motor.plate_rpm.how == "measured"
    return {group.name: group.nominal_hz} if told else {}
