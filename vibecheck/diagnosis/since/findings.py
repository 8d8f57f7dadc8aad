"""What has changed since the machine was sound becomes findings, and is joined to the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.changes import Changes
from vibecheck.diagnosis.since.groups import Group
from vibecheck.diagnosis.since.levels import STRANGE, Trace
from vibecheck.diagnosis.since.places import places_of
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature
from vibecheck.diagnosis.verdicts.finding_evidence import ELEMENT_WORDS
from vibecheck.diagnosis.verdicts.grouping import LIKELY, MEANT, faults_meant, open_name
from vibecheck.diagnosis.verdicts.inspections import inspection

TOLD_BEFORE, AS_BEFORE = 0.85, 0.3
"""What a sweep by itself makes likely, and that was so when the machine was sound, is possible at
most; what it makes no more than possible is not spoken of."""
RIVALLED = 0.84
"""Most that is said of what has risen where another fault is likely to explain it better."""
NO_PARTS = ("mains", "structure", "tool")
"""What is no part and was so before is not spoken of at all."""
ROSE_DB = 3.0
"""A trace has risen at a position from here on."""
RISEN = {
    "once": "The push once a turn",
    "twice": "What comes twice a turn",
    "thrice": "What comes three times a turn",
    "halves": "What comes with half turns",
    "many": "What comes with many multiples of the turning",
    "once at work": "The push once a turn, where it works,",
    "many at work": "The rattle, where it works,",
    "halves at work": "The rattle with half turns, where it works,",
    "knock": "The knock once a turn",
    "slow knock": "The knock every other turn",
    "blow": "The knock once a turn",
    "sides": "The swelling and fading of the tooth tone, with the turning",
    "mesh": "The tooth tone",
    "belt": "The bump at the rate of going round",
    "vane": "The pulsing",
}
TOLD_DB = 2.0
"""Rises smaller than this are not spoken of."""


def with_changes(findings: Sequence[Finding], changes: Changes, heard: Listened) -> list[Finding]:
    """The findings of a sweep, and what has risen; what was so before is possible at most."""
    risen = [_finding(group, changes, heard) for group in changes.groups]
    kept = list(risen)
    for finding in findings:
        same = next((n for n, new in enumerate(risen) if _same(finding, new)), None)
        if same is not None:
            if not _outvoted(risen[same], finding, risen):
                kept[same] = _both(kept[same], finding)
        elif _has_risen(finding, changes):
            other, name = _named_otherwise(finding, risen)
            if other is not None:
                kept[other] = replace(_both(kept[other], finding), fault=name)
            else:
                better = any(new.probability >= LIKELY for new in risen)
                kept.append(_rivalled(finding) if better else finding)
        elif _compared(finding, changes):
            told = finding.probability >= TOLD_BEFORE and finding.part_kind not in NO_PARTS
            kept += [_as_before(finding)] if told else []
        else:
            kept.append(finding)
    return sorted(kept, key=lambda each: -each.probability)


def _same(finding: Finding, risen: Finding) -> bool:
    faults = set(faults_meant(finding.fault)) & set(faults_meant(risen.fault))
    return bool(faults) and bool(set(finding.parts or (finding.part,)) & set(risen.parts))


def _outvoted(mine: Finding, finding: Finding, risen: Sequence[Finding]) -> bool:
    """Whether the sweep leaves open which of several parts it is, and another of them has risen
    more surely."""
    return any(
        set(other.parts) & set(finding.parts) and other.probability > mine.probability
        for other in risen
        if other is not mine
    )


def _named_otherwise(finding: Finding, risen: Sequence[Finding]) -> tuple[int | None, str]:
    """Which finding of what has risen is of the same part, where the sweep is as likely to be right
    that it is another fault of it, and the name for either: then that is open."""
    for number, new in enumerate(risen):
        name = open_name((finding.fault, new.fault), MEANT)
        if finding.probability >= LIKELY and finding.part == new.part and name is not None:
            return number, name
    return None, finding.fault


def _both(risen: Finding, finding: Finding) -> Finding:
    """One finding of what has risen and what the sweep tells by itself, the surer of the two."""
    probability = max(risen.probability, finding.probability)
    return replace(
        risen,
        probability=probability,
        verdict=verdict_for(probability),
        evidence=(*risen.evidence, *_told(finding)),
    )


def _told(finding: Finding) -> tuple[Fact, ...]:
    """What a sweep by itself tells of the same; its doubts, which a comparison settles, not."""
    doubts = ("bearing_shallow", "belt_may_be_sound", "belt_lump_short", "one_speed", "none_beside")
    return tuple(each for each in finding.evidence if each.kind not in doubts)


def _compared(finding: Finding, changes: Changes) -> bool:
    """Whether both sweeps can tell of what a finding names."""
    faults, parts = set(faults_meant(finding.fault)), set(finding.parts or (finding.part,))
    return any(
        each.signature.fault in faults and parts & set(each.signature.parts)
        for each in changes.weighed
    )


def _has_risen(finding: Finding, changes: Changes) -> bool:
    """Whether what tells of a finding has risen, though something else explains it better."""
    faults, parts = set(faults_meant(finding.fault)), set(finding.parts or (finding.part,))
    return any(
        size.sure and changes.moved.get(trace, 0.0) >= ROSE_DB
        for each in changes.weighed
        if each.signature.fault in faults and parts & set(each.signature.parts)
        for trace, size in each.signature.raises.items()
    )


def _rivalled(finding: Finding) -> Finding:
    """What has risen is explained better by another finding: possible at most."""
    probability = min(finding.probability, RIVALLED)
    return replace(finding, probability=probability, verdict=verdict_for(probability))


def _as_before(finding: Finding) -> Finding:
    probability = min(finding.probability, AS_BEFORE)
    return replace(
        finding,
        probability=probability,
        verdict=verdict_for(probability),
        evidence=(*finding.evidence, fact("as_when_sound")),
    )


def _finding(group: Group, changes: Changes, heard: Listened) -> Finding:
    lead = group.lead.signature
    own = [(trace, changes.found[trace]) for trace in lead.raises if trace in changes.found]
    told = [(trace, rise) for trace, rise in own if rise.db >= TOLD_DB and not _again(trace, lead)]
    evidence = [_risen(trace, rise, lead.parts[0]) for trace, rise in told]
    evidence.append(_unmoved(group, changes))
    if len(group.parts) > 1:
        evidence.append(fact("same_everywhere", parts=group.parts))
    rose: dict[str, list[float]] = {}
    for trace, rise in own:
        if lead.raises[trace].sure:
            for (label, _), db in rise.by_place.items():
                rose.setdefault(label, []).append(db)
    rates = _rates_hz(own[0], lead, heard.takes) if own else {}
    spindle = heard.machine.spindle
    turns = {take.label: take.rotor_hz(spindle) for take in heard.takes}
    return Finding(
        part=lead.parts[0],
        parts=group.parts,
        part_kind=lead.part_kind,
        fault=group.fault,
        verdict=verdict_for(group.probability),
        probability=group.probability,
        evidence=tuple(evidence),
        next_test=(
            fact("inspect_both", parts=group.parts)
            if len(group.parts) > 1
            else inspection(lead.parts[0], lead.part_kind, lead.fault, spindle)
        ),
        heard=tuple(label for label, all_db in rose.items() if max(all_db) >= ROSE_DB),
        expected=tuple(rose),
        rates_hz=rates,
        per_spindle_turn={
            label: hz / turn for label, hz in rates.items() if (turn := turns.get(label))
        },
    )


def _again(trace: Trace, lead: Signature) -> bool:
    """What a shaft raises, read at a gear's positions once more: told already."""
    mine = (lead.rotor, *lead.parts)
    return lead.part_kind in ("shaft", "gear") and trace[1] not in mine


def _risen(trace: Trace, rise: Rise, part: str) -> Fact:
    what, name = trace
    count = len({label for label, _ in rise.by_place})
    if what in ELEMENT_WORDS:
        return fact(
            "risen_element", part=part, element=ELEMENT_WORDS[what], db=rise.db, count=count
        )
    if what == STRANGE:
        return fact("risen_strange", rotor=name, order=rise.order, db=rise.db, count=count)
    if what in ("tone", "howl"):
        return fact("risen_tone", hz=float(name), db=rise.db, count=count)
    if what == "hum":
        return fact("risen_hum", db=rise.db, count=count)
    if what == "buzz":
        return fact("risen_buzz", db=rise.db, count=count)
    return fact("risen", what=RISEN[what], part=name, db=rise.db, count=count)


def _unmoved(group: Group, changes: Changes) -> Fact:
    """How far the least steady of everything moved that has nothing to do with the finding."""
    apart = [
        abs(moved)
        for trace, moved in changes.moved.items()
        if not any(trace in member.touches for member in group.members)
    ]
    return fact("unmoved", count=len(apart), db=float(np.quantile(apart, 0.95)) if apart else 0.0)


def _rates_hz(
    own: tuple[Trace, Rise], lead: Signature, takes: Sequence[Heard]
) -> Mapping[str, float]:
    """How often the fault comes, a second, by lever position."""
    trace, rise = own
    labels = {label for label, _ in rise.by_place}
    found = {}
    for take in takes:
        if take.label not in labels:
            continue
        turning = lead.parts[0] if lead.parts[0] in take.turning.rotors else lead.rotor
        orders = places_of(take, {trace: rise}).get(trace)
        if lead.part_kind in ("gear", "shaft"):
            turns = take.ratio(turning)
            orders = None if turns is None else np.array([turns])
        if orders is not None:
            found[take.label] = float(orders[0]) * take.base_hz
    return found
