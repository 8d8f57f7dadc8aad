"""The speed check of a take just recorded, from the machine's table."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from vibecheck.capture.check import Heard, SpeedCheck
    from vibecheck.machine.parts import Machine
    from vibecheck.recording import Recording


def speed_check(machine: Machine) -> SpeedCheck:
    """A check that tells the spindle speed, and the position whose lines the take fits.

    The position set is believed when its lines are there; only when they are not is the take held
    against all the others.
    """
    from vibecheck.diagnosis.ready import made_ready
    from vibecheck.diagnosis.speed_fit import fit_speeds
    from vibecheck.machine.train import sweep
    from vibecheck.recording import Take
    from vibecheck.units import rpm

    turnings = {turning.label: turning for turning in sweep(machine)}

    def check(recording: Recording, position: str | None) -> Heard | None:
        from vibecheck.capture.check import Heard

        for label in dict.fromkeys((position, None)):
            ready = made_ready(Take(recording=recording, position=label))
            found = fit_speeds(turnings, [ready]).takes[0]
            if found.found:
                break
        spindle = machine.spindle
        if not found.found or found.turning is None or spindle not in found.turning.rotors:
            return None
        rotor = found.turning.rotors[spindle]
        track = found.tracks.get(rotor.group)
        if track is None:
            return None
        return Heard(
            rpm=rpm(track.mean_hz * rotor.ratio),
            position=found.turning.label,
            drift=track.drift,
        )

    return check
