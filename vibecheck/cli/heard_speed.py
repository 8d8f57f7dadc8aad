"""The speed check of a take just recorded, from the machine's table."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vibecheck.capture.check import Heard, SpeedCheck
    from vibecheck.diagnosis.speeds.found import TakeSpeed
    from vibecheck.machine.parts import Machine
    from vibecheck.recording import Recording

FAR_SURER = 1.4
"""How much surer another position must be than the one set before the levers are doubted: a few
positions share most of their lines, and the one set has the first word."""


def speed_check(machine: Machine) -> SpeedCheck:
    """A check that tells the spindle speed, and the position whose lines the take fits.

    A take is held against the position set and against all of them; the one set is believed
    unless its lines are missing or another's are far surer.
    """
    from vibecheck.diagnosis.ready import made_ready
    from vibecheck.diagnosis.speeds.fit import fit_speeds
    from vibecheck.machine.turning import sweep
    from vibecheck.recording import Take

    turnings = {turning.label: turning for turning in sweep(machine)}

    def found_as(recording: Recording, position: str | None) -> TakeSpeed:
        ready = made_ready(Take(recording=recording, position=position))
        return fit_speeds(turnings, [ready]).takes[0]

    def check(recording: Recording, position: str | None) -> Heard | None:
        free = found_as(recording, None)
        if position is None:
            return _heard(machine, free)
        filed = found_as(recording, position)
        doubted = free.found and free.sureness > FAR_SURER * filed.sureness
        return _heard(machine, free if doubted or not filed.found else filed)

    return check


def _heard(machine: Machine, found: TakeSpeed) -> Heard | None:
    from vibecheck.capture.check import Heard
    from vibecheck.units import rpm

    turning = found.turning
    if not found.found or turning is None or machine.spindle not in turning.rotors:
        return None
    rotor = turning.rotors[machine.spindle]
    track = found.tracks.get(rotor.group)
    if track is None:
        return None
    return Heard(rpm=rpm(track.mean_hz * rotor.ratio), position=turning.label, drift=track.drift)
