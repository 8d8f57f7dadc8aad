"""A sweep against its baseline: the same machine, recorded when it was sound."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from vibecheck.diagnosis.findings import Fact, Finding, fact
from vibecheck.diagnosis.readings.listened import Listened, Progress, listen
from vibecheck.diagnosis.since.changes import changes
from vibecheck.diagnosis.since.findings import with_changes
from vibecheck.diagnosis.suspects.gathered import every_suspect, readings_of
from vibecheck.diagnosis.suspects.joint import judge
from vibecheck.diagnosis.verdicts.company import in_company
from vibecheck.diagnosis.verdicts.grouping import named
from vibecheck.errors import RecordingError
from vibecheck.recording import Take

SHOWN = 0.98


def since_baseline(
    heard: Listened, sound: Sequence[Take], findings: Sequence[Finding], progress: Progress
) -> tuple[list[Finding], list[Fact]]:
    """Findings as what has changed leaves them, and what is to be said of the baseline.

    Raises
    ------
    RecordingError
        When the two were recorded with different kinds of sensor.
    """
    _same_kind(heard, sound)
    before = listen(heard.machine, heard.turnings, sound, progress)
    changed = changes(heard, before)
    if not changed.places:
        return list(findings), [fact("baseline_apart")]
    every = list(dict.fromkeys(take.label for take in heard.takes))
    notes = [fact("baseline_heard", count=len(changed.places), of=len(every))]
    lacking = [label for label in every if label not in changed.places]
    if lacking:
        notes.append(fact("baseline_lacks", positions=lacking))
    told = named(in_company(judge(every_suspect(before), readings_of(before))))
    notes += [
        fact("baseline_not_sound", part=group.parts[0], fault=group.fault)
        for group in told
        if group.probability >= SHOWN
    ]
    return with_changes(findings, changed, heard), notes


def _same_kind(heard: Listened, sound: Sequence[Take]) -> None:
    kinds = {take.take.recording.quantity for take in heard.ready}
    others = {take.recording.quantity for take in sound}
    if kinds != others:
        raise RecordingError(
            f"a baseline of {_words(others)} against takes of {_words(kinds)}",
            "Record both with the same sensor, fixed at the same place.",
        )


def _words(kinds: Collection[str]) -> str:
    return " and ".join(sorted(kinds))
