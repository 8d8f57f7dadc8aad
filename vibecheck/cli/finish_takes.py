"""Takes named on the command line of `vibecheck finish`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from vibecheck.diagnosis.verdicts.cutting_lines import listen, tapped_modes
from vibecheck.diagnosis.verdicts.work_marks import spindle_rpm
from vibecheck.errors import SpeedError, UsageError
from vibecheck.files.audio import read_recording
from vibecheck.finish.chatter import Listening
from vibecheck.finish.readings import Reading
from vibecheck.finish.tap import Mode

if TYPE_CHECKING:
    from vibecheck.machine.parts import Machine
    from vibecheck.recording import Recording

CHART_ERROR = 0.03


def heard(text: str, machine: Machine | None) -> Listening:
    """The take "FILE@RPM" or "FILE@LEVER POSITION"."""
    name, at, where = text.rpartition("@")
    if not at:
        raise UsageError(f"take {text!r}", "Write FILE@RPM, such as bore.wav@925.")
    recording = read_recording(name, channel=0)
    try:
        rpm = float(where)
    except ValueError:
        return _at_position(name, where, machine, recording=recording)
    if not 0 < rpm < float("inf"):
        raise SpeedError(f"spindle speed {where}", "Give a speed above 0.", name)
    return listen(recording, rpm, shafts=_near(machine, rpm))


def _at_position(
    name: str, label: str, machine: Machine | None, *, recording: Recording
) -> Listening:
    if machine is None:
        raise UsageError(f"lever position {label!r} without a gear table", "Give --table.")
    rpm = spindle_rpm(machine, label)
    if rpm is None:
        raise SpeedError("the gear table gives no speed there", "Write FILE@RPM.", name)
    return listen(recording, rpm, rpm_uncertainty=CHART_ERROR, shafts=_shafts(machine, label, rpm))


def _near(machine: Machine | None, rpm: float) -> tuple[tuple[str, float], ...]:
    """Shaft speeds at the chart position whose speed is within 3 % of the one measured."""
    if machine is None:
        return ()
    speeds = [(p.label, spindle_rpm(machine, p.label)) for p in machine.positions]
    fitting = [
        (abs(speed / rpm - 1), label)
        for label, speed in speeds
        if speed and abs(speed / rpm - 1) <= CHART_ERROR
    ]
    return _shafts(machine, min(fitting)[1], rpm) if fitting else ()


def _shafts(machine: Machine, label: str, rpm: float) -> tuple[tuple[str, float], ...]:
    from vibecheck.machine.turning import turning
    from vibecheck.units import hz

    turn = turning(machine, machine.position(label))
    nominal = turn.nominal_hz(machine.spindle)
    scale = hz(rpm) / nominal if nominal else 1.0
    speeds = ((name, turn.nominal_hz(name)) for name in turn.rotors if name != machine.spindle)
    return tuple((name, speed * scale) for name, speed in speeds if speed)


def modes_of(taps: Sequence[str]) -> tuple[Mode, ...]:
    """Modes of all tap takes, strongest of each first."""
    found = [mode for name in taps for mode in tapped_modes(read_recording(name, channel=0))]
    return tuple(sorted(found, key=lambda mode: -mode.strength))


def mains(machine: Machine | None) -> float | None:
    """Frequency of the mains by the gear table."""
    return None if machine is None else machine.supply.mains_hz


def readings_of(folder: Path) -> tuple[Reading, ...]:
    """Indicator readings kept with a job."""
    from vibecheck.files.job import load_job

    return load_job(folder).readings
