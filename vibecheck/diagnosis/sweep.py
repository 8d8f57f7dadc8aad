"""Diagnose a sweep: listen to all takes, suspect every part, weigh them together, report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from vibecheck.diagnosis.findings import Diagnosis, Fact, Finding, fact
from vibecheck.diagnosis.readings.listened import Listened, Progress, listen, portion
from vibecheck.diagnosis.since.baseline import since_baseline
from vibecheck.diagnosis.speeds.table_doubts import doubt_findings, doubt_warnings
from vibecheck.diagnosis.suspects.gathered import every_suspect, readings_of
from vibecheck.diagnosis.suspects.joint import judge
from vibecheck.diagnosis.suspects.unknown_rolling import unknown_rolling
from vibecheck.diagnosis.verdicts.company import in_company
from vibecheck.diagnosis.verdicts.evidence_table import evidence_table
from vibecheck.diagnosis.verdicts.finding_case import Case
from vibecheck.diagnosis.verdicts.fixed_findings import fixed_findings, modest_hum, modest_tones
from vibecheck.diagnosis.verdicts.grouping import named
from vibecheck.diagnosis.verdicts.howls import chatter_findings
from vibecheck.diagnosis.verdicts.special_takes import special_reports, with_specials
from vibecheck.diagnosis.verdicts.sweep_findings import finding_of
from vibecheck.diagnosis.verdicts.take_reports import (
    clipped_again,
    held_when_clipped,
    held_when_short,
    speed_warnings,
    take_reports,
)
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.recording import Take

MODEST_DB = -30.0
MANY_CLIPPED = 0.25
"""Share of the takes from which a sweep is better recorded again before anything else is done."""


def diagnose_sweep(
    machine: Machine,
    turnings: Mapping[str, Turning],
    takes: Sequence[Take],
    progress: Progress,
    specials: Sequence[Take] = (),
    sound: Sequence[Take] = (),
) -> Diagnosis:
    """Name what is wrong from takes at several lever positions.

    Parameters
    ----------
    machine : Machine
    turnings : mapping of position label to Turning
    takes : sequence of Take
        Ordinary takes (idle or cutting).
    progress : callable
        Told what is being done, and how far it is (0 to 1).
    specials : sequence of Take
        Machine off, motor alone, coast-down and so on: they uphold or refute what is found.
    sound : sequence of Take
        Ordinary takes of the same machine when it was sound, its baseline: what has risen since
        decides.
    """
    heard = listen(machine, turnings, takes, portion(progress, 0.0, 0.5) if sound else progress)
    machine = heard.machine
    reports = take_reports(machine, heard.ready, heard.speeds, heard.turnings, heard.doubts)
    reports += special_reports(specials)
    warnings = doubt_warnings(heard.doubts)
    warnings += [
        fact("teeth_heard", part=gear, teeth=teeth, count=pair.takes)
        for pair in heard.counted
        for gear, teeth in pair.counts.items()
    ]
    warnings += speed_warnings(machine, heard.ready, heard.speeds)
    if not heard.takes:
        return Diagnosis(
            machine=machine.name,
            takes=reports,
            findings=tuple(doubt_findings(heard.doubts)),
            warnings=tuple(warnings),
            next_test=fact("measure_rpm", positions=[r.position or r.name for r in reports[:3]]),
        )
    progress("weighing the suspects", 0.96)
    readings = readings_of(heard)
    judged = judge(every_suspect(heard), readings)
    case = Case(heard=heard, readings=readings, judged=judged)
    findings = [finding_of(case, group) for group in named(in_company(judged))]
    findings += fixed_findings(heard)
    findings += [each for each in unknown_rolling(heard) if not _told(each, findings)]
    findings = chatter_findings(heard, findings, specials)
    if sound:
        findings, notes = since_baseline(heard, sound, findings, portion(progress, 0.5, 0.95))
        warnings += notes
    findings, told = with_specials(heard, findings, specials)
    findings = held_when_clipped(heard.ready, held_when_short(heard.ready, findings))
    findings += doubt_findings(heard.doubts)
    warnings += told
    warnings += _notes(heard, findings)
    return Diagnosis(
        machine=machine.name,
        takes=reports,
        findings=tuple(findings),
        warnings=tuple(warnings),
        next_test=_next(findings, heard),
        table=evidence_table(heard, readings, judged),
    )


def _told(finding: Finding, others: Sequence[Finding]) -> bool:
    """Whether another finding names the same parts for the same fault."""
    return any(
        other.fault == finding.fault and set(finding.parts) <= set(other.parts) for other in others
    )


def _notes(heard: Listened, findings: Sequence[Finding]) -> list[Fact]:
    notes: list[Fact] = []
    unknown = [b.name for b in heard.machine.bearings if not _known(heard, b.name)]
    if unknown:
        notes.append(fact("bearing_unknown", parts=unknown))
    uncounted = [gear.name for gear in heard.machine.gears if gear.teeth.value is None]
    if uncounted:
        notes.append(fact("teeth_unknown", parts=uncounted))
    hum = modest_hum(heard, findings)
    if hum is not None and hum.above_mesh_db > MODEST_DB:
        notes.append(fact("modest_hum", hz=hum.hz, heard=len(hum.takes), expected=len(heard.ready)))
    for tone in modest_tones(heard, findings)[:2]:
        if tone.above_mesh_db > MODEST_DB:
            notes.append(
                fact(
                    "engine_note",
                    text=f"a tone at {tone.hz:.1f} Hz stays put at {len(tone.takes)} of "
                    f"{len(heard.ready)} takes and follows no shaft; it does not rule the sound",
                )
            )
    return notes


def _known(heard: Listened, bearing: str) -> bool:
    return any(score.bearing == bearing for score in heard.rolling)


def _next(findings: Sequence[Finding], heard: Listened) -> Fact:
    for doubt in heard.doubts:
        return doubt.next_test()
    for finding in findings:
        if finding.next_test is not None:
            return finding.next_test
    again = clipped_again(heard.ready, MANY_CLIPPED)
    if again is not None:
        return again
    mute = [
        take for take, speed in zip(heard.ready, heard.speeds.takes, strict=True) if not speed.found
    ]
    if len(mute) > 0.25 * len(heard.ready) or not -0.06 < heard.speeds.scale - 1.0 < 0.08:
        where = [take.take.position or take.take.name for take in (mute or list(heard.ready))]
        return fact("measure_rpm", positions=where[:4])
    recorded = {take.take.position for take in heard.ready} | {take.label for take in heard.takes}
    missing = [p.label for p in heard.machine.positions if p.label not in recorded]
    if missing:
        return fact("record_positions", positions=missing[:4], seconds=30.0)
    return fact("repeat_sweep")
