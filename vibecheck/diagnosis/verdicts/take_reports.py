"""What each take was worth, and what the speeds say about the table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.clipping import badly_clipped
from vibecheck.diagnosis.findings import Fact, Finding, TakeReport, fact, verdict_for
from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import SweepSpeeds, TakeSpeed
from vibecheck.diagnosis.speeds.table_doubts import Doubt, doubt_of
from vibecheck.diagnosis.verdicts.false_lines import false_lines
from vibecheck.machine.mains import mains_by_plate, true_mains_hz
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.units import hz, rpm

SHORT_S, SHORT_TURNS = 8.0, 10.0
TOO_SHORT_S, SHORT_LIMIT = 5.0, 0.95
LONG_ENOUGH_S = 20.0
MOST_CLIPPED, CLIPPED_LIMIT = 0.5, 0.84
"""Share of badly clipped takes from which findings are held, and the probability they are held
to."""
DIFFERS = 0.08
DRIFTS = 0.01
CLIPPED = 1e-4
USUAL_RATES_HZ = (8000.0, 11025.0, 16000.0, 22050.0, 32000.0, 44100.0, 48000.0)
IDLES_FASTER, RATE_REACH = 1.02, 0.03
"""How much faster than its plate a motor idles, and how far from that it may be."""


def take_reports(
    machine: Machine,
    takes: Sequence[Ready],
    speeds: SweepSpeeds,
    turnings: Mapping[str, Turning],
    doubts: Sequence[Doubt] = (),
) -> tuple[TakeReport, ...]:
    """A report for every take, in the order given."""
    return tuple(
        _report(machine, take, speed, turnings, doubt_of(take, speed, doubts))
        for take, speed in zip(takes, speeds.takes, strict=True)
    )


def _report(
    machine: Machine,
    take: Ready,
    speed: TakeSpeed,
    turnings: Mapping[str, Turning],
    doubt: Doubt | None,
) -> TakeReport:
    name, remarks = take.take.name, list(sound_remarks(take))
    spindle = _spindle_rpm(machine, speed)
    chart = None
    label = speed.turning.label if speed.turning else take.take.position
    if label is not None and label in turnings:
        chart = turnings[label].position.chart_rpm.middle
    remarks += false_lines(take, turnings.get(label or ""))
    if speed.found and speed.misfiled and speed.turning is not None:
        remarks.append(
            fact(
                "wrong_position",
                take=name,
                position=take.take.position or "",
                heard=speed.turning.label,
            )
        )
    elif speed.found and take.take.position is None and speed.turning is not None:
        remarks.append(fact("position_found", take=name, heard=speed.turning.label))
    if doubt is not None:
        reason = f"it rests on the table's teeth of {doubt.pair}"
        remarks.append(fact("take_set_aside", take=name, reason=reason))
    elif not speed.found:
        kind = "no_speed" if take.take.position else "position_not_found"
        remarks.append(fact(kind, take=name))
    if spindle and chart and abs(spindle / chart - 1) > DIFFERS:
        remarks.append(
            fact("speed_differs", position=label or name, chart_rpm=chart, heard_rpm=spindle)
        )
    stated = take.take.tach_rpm
    if spindle and stated and abs(spindle / stated - 1) > 0.01:
        remarks.append(fact("stated_speed_wrong", take=name, stated_rpm=stated, heard_rpm=spindle))
    drift = max((track.drift for track in speed.tracks.values()), default=0.0)
    if drift > DRIFTS:
        remarks.append(fact("speed_drifts", take=name, percent=100 * drift))
    if spindle:
        needed = max(20.0, 20.0 / hz(spindle))
        if take.seconds >= SHORT_S and take.seconds * hz(spindle) < SHORT_TURNS:
            remarks.append(fact("take_too_short", take=name, seconds=take.seconds, needed_s=needed))
    return TakeReport(
        name=name,
        position=take.take.position,
        kind=take.take.kind,
        seconds=take.seconds,
        speeds_hz={group: track.mean_hz for group, track in speed.tracks.items()},
        speed_error=dict(speed.errors),
        spindle_rpm=spindle,
        chart_rpm=chart,
        drift=drift,
        heard_position=speed.turning.label if speed.found and speed.turning else None,
        remarks=tuple(remarks),
    )


def held_when_short(takes: Sequence[Ready], findings: Sequence[Finding]) -> list[Finding]:
    """Takes that are all too short show nothing: likely at most, and longer ones are asked for."""
    if not takes or max(take.seconds for take in takes) >= TOO_SHORT_S:
        return list(findings)
    labels = list(dict.fromkeys(take.take.position or take.take.name for take in takes))
    test = fact("record_longer", positions=labels[:4], seconds=LONG_ENOUGH_S)
    return [_held(finding, SHORT_LIMIT, test) for finding in findings]


def held_when_clipped(takes: Sequence[Ready], findings: Sequence[Finding]) -> list[Finding]:
    """Where most takes are cut off at the top, anything is possible at most: beats of sound teeth
    cut off so can knock once a turn. They are to be made again."""
    test = clipped_again(takes, MOST_CLIPPED)
    if test is None:
        return list(findings)
    return [_held(finding, CLIPPED_LIMIT, test) for finding in findings]


def clipped_again(takes: Sequence[Ready], share: float) -> Fact | None:
    """The test to record takes again when more than a share of them are badly clipped."""
    clipped = [take.take for take in takes if badly_clipped(take.take.recording)]
    if len(clipped) <= share * len(takes):
        return None
    where = list(dict.fromkeys(take.position or take.name for take in clipped))
    return fact("record_again", positions=where[:4], reason="they are clipped; turn the gain down")


def _held(finding: Finding, limit: float, test: Fact) -> Finding:
    """A finding no surer than a limit, with the test that would make it so."""
    probability = min(finding.probability, limit)
    return replace(
        finding,
        probability=probability,
        verdict=finding.verdict if finding.verdict == "cannot tell" else verdict_for(probability),
        next_test=test,
    )


def sound_remarks(take: Ready) -> list[Fact]:
    """Clipping, silence, and what the file itself cannot support."""
    name, samples = take.take.name, take.samples
    remarks: list[Fact] = []
    peak = float(np.abs(samples).max())
    told = any("clipped" in reason for reason in take.take.recording.support.reasons)
    if peak > 0 and not told:
        held = float(np.mean(np.abs(samples) >= 0.9999 * peak))
        if held > CLIPPED and held * samples.size >= 8:
            remarks.append(fact("clipped", take=name, percent=100 * held))
    remarks += [
        fact("processed", take=name, reason=reason)
        for reason in take.take.recording.support.reasons
    ]
    if take.seconds < SHORT_S:
        remarks.append(
            fact("take_too_short", take=name, seconds=take.seconds, needed_s=LONG_ENOUGH_S)
        )
    return remarks


def _spindle_rpm(machine: Machine, speed: TakeSpeed) -> float | None:
    if not speed.found or speed.turning is None:
        return None
    rotor = speed.turning.rotors.get(machine.spindle)
    if rotor is None or rotor.group not in speed.tracks:
        return None
    return rpm(speed.tracks[rotor.group].mean_hz * rotor.ratio)


def speed_warnings(machine: Machine, takes: Sequence[Ready], speeds: SweepSpeeds) -> list[Fact]:
    """A scale that no slip explains, takes exchanged, and positions not recorded."""
    warnings: list[Fact] = []
    if not any(speed.found for speed in speeds.takes):
        found = [fact("no_speed_anywhere")]
        return [*found, fact("table_does_not_fit")] if len(takes) >= 3 else found
    off = speeds.scale - 1.0
    if not -0.06 < off < 0.08:
        warnings.append(fact("scale_differs", percent=100 * off, likely_cause=_cause(off)))
    warnings += _mains_doubted(machine, speeds.scale)
    swapped: set[str] = set()
    moved = {
        speed.filed: (speed.turning.label, take.take.name)
        for speed, take in zip(speeds.takes, takes, strict=True)
        if speed.found and speed.misfiled and speed.turning is not None and speed.filed
    }
    for filed, (label, name) in moved.items():
        if label in moved and moved[label][0] == filed and name not in swapped:
            other = moved[label][1]
            swapped.update((name, other))
            warnings.append(fact("swapped", first=name, second=other))
    heard = {speed.turning.label for speed in speeds.takes if speed.turning}
    told = {take.take.position for take in takes}
    missing = [p.label for p in machine.positions if p.label not in heard | told]
    if missing and len(heard) < len(machine.positions):
        warnings.append(
            fact("few_positions", count=len(heard), of=len(machine.positions))
            if len(missing) > 6
            else fact("positions_missing", positions=missing)
        )
    return warnings


def _mains_doubted(machine: Machine, scale: float) -> list[Fact]:
    """The motor's plate needs another mains than the table states, and the speeds bear it out."""
    needed, stated = mains_by_plate(machine), machine.supply.mains_hz
    if machine.motor is None or needed is None or true_mains_hz(machine, scale) == stated:
        return []
    plate = machine.motor.plate_rpm.value
    return [fact("mains_by_plate", plate_rpm=plate, stated_hz=stated, needed_hz=needed)]


def _cause(off: float) -> str:
    if abs(off - 0.2) < 0.05:
        cause = "the supply is 60 Hz and the table says 50, or a drive runs the motor faster"
    elif abs(off + 1 / 6) < 0.05:
        cause = "the supply is 50 Hz and the table says 60, or a drive runs the motor slower"
    else:
        cause = "another pulley, another motor, or a drive that is not at mains frequency"
    return f"{cause}; or the files state a wrong sample rate" if _like_a_rate(off) else cause


def _like_a_rate(off: float) -> bool:
    """Whether files that state another usual sample rate than their own would shift speeds so."""
    idle = (1.0 + off) / IDLES_FASTER
    return any(
        abs(idle / (stated / true) - 1.0) < RATE_REACH
        for stated in USUAL_RATES_HZ
        for true in USUAL_RATES_HZ
        if stated != true
    )
