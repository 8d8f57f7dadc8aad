"""A named group becomes a finding: its evidence, its fallen rivals, the next test."""

from __future__ import annotations

from collections.abc import Sequence

from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.finding_case import (
    Case,
    loud_takes,
    rates_hz_of,
    rotor_hz,
    working_takes,
)
from vibecheck.diagnosis.verdicts.finding_evidence import evidence_of
from vibecheck.diagnosis.verdicts.grouping import Named
from vibecheck.diagnosis.verdicts.inspections import inspection
from vibecheck.machine.signature import indistinguishable


def finding_of(case: Case, group: Named) -> Finding:
    """The finding for one named group."""
    suspect = group.lead.suspect
    working, loud = working_takes(case, suspect), loud_takes(case, suspect)
    evidence = evidence_of(case, suspect)
    if group.fault != suspect.fault:
        evidence += evidence_of(case, group.rival)
    if len(case.heard.takes) == 1:
        evidence.append(fact("one_take_only"))
    evidence += _alikes(case, group)
    rates = rates_hz_of(case, suspect, working)
    spindle = case.heard.machine.spindle
    per_turn = {
        label: hz / turn
        for label, hz in rates.items()
        if (turn := rotor_hz(case, label, spindle)) is not None and turn > 0
    }
    return Finding(
        part=suspect.parts[0],
        parts=group.parts,
        part_kind=suspect.part_kind,
        fault=group.fault,
        verdict=verdict_for(group.probability),
        probability=group.probability,
        evidence=tuple(evidence),
        ruled_out=tuple(_ruled_out(case, suspect, group, loud)),
        next_test=_next_test(case, group),
        heard=tuple(dict.fromkeys(case.heard.takes[k].label for k in loud)),
        expected=tuple(dict.fromkeys(case.heard.takes[k].label for k in working)),
        rates_hz=rates,
        per_spindle_turn=per_turn,
    )


def _alikes(case: Case, group: Named) -> list[Fact]:
    if len(group.parts) < 2:
        return []
    machine = case.heard.machine
    every = indistinguishable(machine, machine.positions)
    together = any(set(group.parts) <= set(one) for one in every)
    return [fact("same_by_design" if together else "same_everywhere", parts=group.parts)]


def _ruled_out(case: Case, suspect: Suspect, group: Named, loud: Sequence[int]) -> list[Fact]:
    """Other gears of the same rotor, and the mating gears, each with its reason."""
    if suspect.part_kind != "gear" or suspect.fault != "broken or damaged tooth":
        return []
    facts: list[Fact] = []
    mine = {case.heard.takes[k].label for k in loud}
    for gear in case.heard.machine.gears:
        if gear.name in group.parts:
            continue
        works = {t.label for t in case.heard.takes if _works(gear.name, t)}
        if gear.shaft == suspect.rotor and works:
            missing = sorted(mine - works)
            silent = sorted(works - mine)
            if missing:
                facts.append(fact("not_in_mesh", part=gear.name, positions=missing))
            elif silent:
                facts.append(fact("silent_where_it_works", part=gear.name, positions=silent))
        elif works and _mates(case, suspect.parts[0], gear.name) and loud:
            take = case.heard.takes[loud[0]]
            would, heard = take.rotor_hz(gear.shaft), take.rotor_hz(suspect.rotor)
            if would and heard:
                facts.append(
                    fact(
                        "turns_elsewhere",
                        part=gear.name,
                        rotor=gear.shaft,
                        would_hz=would,
                        heard_hz=heard,
                    )
                )
    return facts


def _works(gear: str, take: Heard) -> bool:
    return any(gear in (m.mesh.driver, m.mesh.driven) and m.loaded for m in take.turning.meshes)


def _mates(case: Case, one: str, other: str) -> bool:
    return any({m.driver, m.driven} == {one, other} for m in case.heard.machine.meshes)


def _next_test(case: Case, group: Named) -> Fact:
    suspect = group.lead.suspect
    labels = [take.label for take in case.heard.takes]
    if group.probability < 0.85:
        missing = [p.label for p in case.heard.machine.positions if p.label not in labels]
        if missing:
            return fact("record_positions", positions=missing[:4], seconds=30.0)
    if len(group.parts) > 1:
        return fact("inspect_both", parts=group.parts)
    part = suspect.parts[0]
    if suspect.part_kind == "bearing" and group.probability < 0.98:
        fast = sorted(case.heard.takes, key=lambda t: -(t.rotor_hz(suspect.rotor) or 0.0))
        return fact("record_longer", positions=[t.label for t in fast[:2]], seconds=60.0)
    return inspection(part, suspect.part_kind, suspect.fault, case.heard.machine.spindle)
