"""Machines without known teeth, or a single recording: one shaft, its bearings, its balance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.chance.families import Family, bearing_families
from vibecheck.diagnosis.findings import (
    Cell,
    Diagnosis,
    EvidenceRow,
    EvidenceTable,
    Fact,
    Finding,
    TakeReport,
    fact,
    verdict_for,
)
from vibecheck.diagnosis.readings.listened import Progress
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.single.odds import as_said
from vibecheck.diagnosis.single.one_take import OneTake, hear_bearing
from vibecheck.diagnosis.verdicts.take_reports import LONG_ENOUGH_S, TOO_SHORT_S, sound_remarks
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing, Machine
from vibecheck.machine.train import Turning
from vibecheck.recording import Take
from vibecheck.units import hz, rpm

ELEMENT_FAULT = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "rolling element",
    "cage": "cage",
}
ELEMENT_WORDS = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "ball or roller",
    "cage": "cage",
}
SURE_LINE = 1e-3
MOST_POSSIBLE = 0.84
"""What one take without a comparison says at the most of what needs one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Told:
    """One take, one bearing (or the bare shaft), and what was told."""

    take: Ready
    shaft: str
    bearing: Bearing | None
    told: OneTake


def diagnose_single(
    machine: Machine,
    turnings: Mapping[str, Turning],
    takes: Sequence[Take],
    progress: Progress,
) -> Diagnosis:
    """Judge every take against every bearing with known numbers, and add the takes up.

    Returns
    -------
    Diagnosis
        With one take a finding rests on that take alone and says so.
    """
    told: list[_Told] = []
    for number, take in enumerate(takes):
        progress(f"take {number + 1} of {len(takes)}", number / len(takes))
        told += _hear(machine, turnings, take)
    findings = [*_bearing_findings(told), *_other_numbers(told), *_shaft_findings(told)]
    findings = sorted((f for f in findings if f), key=lambda f: -f.probability)
    return Diagnosis(
        machine=machine.name,
        takes=tuple(_report(t, told, machine, turnings) for t in _takes(told)),
        findings=tuple(findings),
        warnings=tuple(_warnings(machine, told)),
        next_test=_next(findings, told),
        table=_table(told),
    )


def _hear(machine: Machine, turnings: Mapping[str, Turning], take: Take) -> list[_Told]:
    ready = made_ready(take)
    turning = turnings.get(take.position or "") or next(iter(turnings.values()))
    known = [(b, orders_of(b)) for b in machine.bearings]
    rows: list[tuple[Bearing | None, str, list[Family]]] = [
        (
            bearing,
            bearing.shaft,
            bearing_families(
                elements=orders.elements or round(orders.outer + orders.inner),
                orders=dict(orders.items()),
                part=bearing.name,
            ),
        )
        for bearing, orders in known
        if orders is not None and bearing.shaft in turning.rotors
    ]
    if not rows:
        rows = [(None, machine.spindle, [])]
    return [
        _Told(
            take=ready,
            shaft=shaft,
            bearing=bearing,
            told=hear_bearing(
                ready.samples,
                ready.rate_hz,
                shaft_hz=hz(take.tach_rpm)
                if take.tach_rpm and shaft == machine.spindle
                else turning.nominal_hz(shaft),
                families=families,
                low_hz=take.recording.support.low_hz,
                high_hz=take.recording.support.high_hz,
                quantity=take.recording.quantity,
            ),
        )
        for bearing, shaft, families in rows
    ]


def _takes(told: Sequence[_Told]) -> list[Ready]:
    return list({id(t.take): t.take for t in told}.values())


def _bearing_findings(told: Sequence[_Told]) -> list[Finding]:
    found = []
    by_bearing: dict[str, list[_Told]] = {}
    for one in told:
        if one.bearing is not None:
            by_bearing.setdefault(one.bearing.name, []).append(one)
    for name, rows in by_bearing.items():
        for element in ELEMENT_FAULT:
            heard = [(r, e) for r in rows for e in r.told.elements if e.name == element]
            if not heard:
                continue
            probability = _together([e.probability for _, e in heard])
            best_row, best = max(heard, key=lambda pair: pair[1].probability)
            told_cannot = all(e.verdict == "cannot tell" for _, e in heard)
            if probability < 0.3 and not told_cannot:
                continue
            facts = [_family_fact(name, element, best_row.told, best_row)]
            facts += _whole_facts(best_row, best_row.told, element)
            facts += [fact("engine_note", text=text) for text in best.score.rivals]
            if len(rows) == 1:
                facts.append(fact("one_take_only"))
            found.append(
                Finding(
                    part=name,
                    parts=(name,),
                    part_kind="bearing",
                    fault=ELEMENT_FAULT[element],
                    verdict="cannot tell" if told_cannot else verdict_for(probability),
                    probability=probability,
                    evidence=tuple(facts),
                    ruled_out=tuple(_fallen(name, element, best_row.told)),
                    next_test=_bearing_test(best_row),
                    heard=tuple(_label(r) for r, e in heard if e.probability > 0.5),
                    expected=tuple(_label(r) for r, _ in heard),
                    rates_hz={_label(r): e.score.order_found * r.told.shaft_hz for r, e in heard},
                    per_spindle_turn={_label(r): e.score.order_found for r, e in heard},
                )
            )
    return found


def _other_numbers(told: Sequence[_Told]) -> list[Finding]:
    """A bearing that is worn but is not the one whose numbers were given; never surer than
    possible, and only where no take explains its bearing by the numbers given."""
    found = []
    for name in dict.fromkeys(t.bearing.name for t in told if t.bearing):
        rows = [t for t in told if t.bearing and t.bearing.name == name]
        heard = [t for t in rows if t.told.other_numbers > 0]
        if not heard or any(t.told.named for t in rows):
            continue
        best = max(heard, key=lambda t: t.told.other_numbers)
        probability = min(as_said(best.told.other_numbers), MOST_POSSIBLE)
        found.append(
            Finding(
                part=name,
                parts=(name,),
                part_kind="bearing",
                fault="bearing worn, race not known",
                verdict=verdict_for(probability),
                probability=probability,
                evidence=(fact("engine_note", text=best.told.reasons[-1]),),
                next_test=_bearing_test(best),
                heard=tuple(_label(t) for t in heard),
                expected=tuple(_label(t) for t in rows),
                rates_hz={_label(t): t.told.other_order * t.told.shaft_hz for t in heard},
                per_spindle_turn={_label(t): t.told.other_order for t in heard},
            )
        )
    return found


def _together(probabilities: Sequence[float]) -> float:
    """Odds of several takes multiplied, each held to a hundred to one either way."""
    logs = [np.clip(np.log(max(p, 1e-6) / max(1 - p, 1e-6)), -4.6, 4.6) for p in probabilities]
    return as_said(1.0 / (1.0 + np.exp(-np.sum(logs)))) if len(logs) > 1 else probabilities[0]


def _family_fact(name: str, element: str, told: OneTake, row: _Told) -> Fact:
    score = told.element(element).score
    seen = sum(1 for line in score.lines if line.offset_order == 0 and line.chance < SURE_LINE)
    return fact(
        "bearing_family",
        lines=max(1, seen),
        order=score.order_found,
        element=ELEMENT_WORDS[element],
        bearing=name,
        order_error=100 * score.slip,
    )


def _whole_facts(row: _Told, told: OneTake, element: str) -> list[Fact]:
    order = told.element(element).score.order_found
    apart = abs(order - round(order))
    if round(order) < 1 or apart < 0.005:
        return []
    return [
        fact(
            "order_not_whole",
            order=order,
            rotor=row.shaft,
            apart_hz=apart * told.shaft_hz,
            position=_label(row),
        )
    ]


def _fallen(name: str, element: str, told: OneTake) -> list[Fact]:
    best = told.element(element).probability
    return [
        fact(
            "weaker_fit",
            part=name,
            fault=ELEMENT_FAULT[other.name],
            odds=float(min(best / max(other.probability, 1e-4), 999.0)),
        )
        for other in told.elements
        if other.name != element and other.probability < 0.3 * best
    ]


def _bearing_test(row: _Told) -> Fact:
    return fact("record_longer", positions=[_label(row)], seconds=max(30.0, 4 * row.take.seconds))


def _shaft_findings(told: Sequence[_Told]) -> list[Finding]:
    """Imbalance and looseness as one take can show them: never more than possible alone."""
    found = []
    for name, fault_name in (
        ("imbalance", "imbalance"),
        ("looseness", "loose on its shaft or in its seat"),
    ):
        rows = [r for r in told if name in r.told.posterior]
        if not rows:
            continue
        probability = as_said(rows[0].told.posterior[name])
        if probability < 0.3:
            continue
        row = rows[0]
        lines = row.told.shaft
        evidence = (
            fact("engine_note", text=_share_text(lines.once_share))
            if name == "imbalance"
            else fact(
                "many_turn_tones",
                rotor=row.shaft,
                count=lines.multiples,
                halves=f"{lines.halves} halves of a turn among them",
            )
        )
        found.append(
            Finding(
                part=row.shaft,
                parts=(row.shaft,),
                part_kind="shaft",
                fault=fault_name,
                verdict=verdict_for(min(probability, MOST_POSSIBLE)),
                probability=min(probability, MOST_POSSIBLE),
                evidence=(evidence, fact("one_take_only")),
                next_test=fact("record_again", positions=[_label(row)]),
                heard=(_label(row),),
                expected=(_label(row),),
                rates_hz={_label(row): row.told.shaft_hz},
                per_spindle_turn={_label(row): 1.0},
            )
        )
    return found


def _share_text(share: float) -> str:
    return f"the push once a turn carries {100 * share:.0f} % of all that was recorded"


def _label(row: _Told) -> str:
    return row.take.take.position or row.take.take.name or "the take"


def _spindle_rpm(machine: Machine, turning: Turning | None, shaft: str, hz: float) -> float | None:
    """The spindle's speed by that of a shaft; None where a belt lies between them."""
    if shaft == machine.spindle:
        return rpm(hz)
    rotors = turning.rotors if turning is not None else {}
    mine, spindle = rotors.get(shaft), rotors.get(machine.spindle)
    if mine is None or spindle is None or mine.group != spindle.group:
        return None
    return rpm(hz * spindle.ratio / mine.ratio)


def _report(
    take: Ready, told: Sequence[_Told], machine: Machine, turnings: Mapping[str, Turning]
) -> TakeReport:
    mine = next(t for t in told if t.take is take)
    one, speed = mine.told, mine.told.speed
    remarks = sound_remarks(take)
    if one.contradiction and one.stated_hz:
        remarks.append(
            fact(
                "stated_speed_wrong",
                take=take.take.name,
                stated_rpm=rpm(one.stated_hz),
                heard_rpm=rpm(speed.hz),
            )
        )
    if not speed.found:
        remarks.append(fact("no_speed", take=take.take.name))
    found = {mine.shaft: speed.hz} if speed.found else {}
    return TakeReport(
        name=take.take.name,
        position=take.take.position,
        kind=take.take.kind,
        seconds=take.seconds,
        speeds_hz=found,
        speed_error={mine.shaft: speed.uncertainty_hz / speed.hz} if speed.found else {},
        spindle_rpm=(
            _spindle_rpm(machine, turnings.get(take.take.position or ""), mine.shaft, speed.hz)
            if speed.found
            else None
        ),
        chart_rpm=take.take.tach_rpm,
        drift=abs(speed.drift_hz) / speed.hz if speed.found else 0.0,
        heard_position=take.take.position,
        remarks=tuple(remarks),
    )


def _warnings(machine: Machine, told: Sequence[_Told]) -> list[Fact]:
    warnings = []
    unknown = [b.name for b in machine.bearings if orders_of(b) is None]
    if unknown:
        warnings.append(fact("bearing_unknown", parts=unknown))
    if not any(t.told.speed.found for t in told):
        warnings.append(fact("no_speed_anywhere"))
    for one in told:
        if not one.told.elements and one.told.reasons and one.bearing is not None:
            warnings.append(fact("engine_note", text="; ".join(one.told.reasons)))
    return warnings


def _next(findings: Sequence[Finding], told: Sequence[_Told]) -> Fact:
    if findings and findings[0].next_test is not None:
        return findings[0].next_test
    if not any(t.told.speed.found for t in told):
        if max(t.take.seconds for t in told) < TOO_SHORT_S:
            labels = list(dict.fromkeys(_label(t) for t in told))
            return fact("record_longer", positions=labels[:4], seconds=LONG_ENOUGH_S)
        return fact("state_speed")
    return fact("repeat_sweep")


def _table(told: Sequence[_Told]) -> EvidenceTable | None:
    takes = _takes(told)
    names = list(dict.fromkeys(t.bearing.name for t in told if t.bearing))
    rows = []
    for name in names:
        for element, fault_name in ELEMENT_FAULT.items():
            cells = []
            for take in takes:
                one = next(
                    t for t in told if t.take is take and t.bearing and t.bearing.name == name
                )
                heard = next((e for e in one.told.elements if e.name == element), None)
                cells.append(
                    _cell(heard.score.depth if heard else 0.0, heard.probability if heard else 0.0)
                )
            rows.append(
                EvidenceRow(part=name, fault=fault_name, part_kind="bearing", cells=tuple(cells))
            )
    if not rows:
        return None
    return EvidenceTable(
        takes=tuple(t.take.name for t in takes),
        positions=tuple(t.take.position or t.take.name for t in takes),
        rows=tuple(rows),
    )


def _cell(depth: float, probability: float) -> Cell:
    odds = np.log10(max(probability, 1e-6) / max(1 - probability, 1e-6))
    return Cell(
        strength_db=float(20 * np.log10(max(depth, 1e-3))),
        error_db=2.0,
        log10_odds=float(odds),
        state="working",
    )
