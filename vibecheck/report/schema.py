"""A diagnosis as JSON that other programs can rely on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from vibecheck import __version__
from vibecheck.diagnosis.findings import Diagnosis, EvidenceTable, Fact, Finding, TakeReport
from vibecheck.machine.parts import Machine
from vibecheck.report.scope import examined, not_examined
from vibecheck.report.words import effort, headline, part_names, sentence
from vibecheck.report.writers import Names

SCHEMA = "vibecheck.diagnosis/1"
"""Name and version; the number rises when a key changes its meaning or goes."""


def to_json(diagnosis: Diagnosis, machine: Machine | None = None) -> dict[str, Any]:
    """Everything a diagnosis says, as plain dicts, lists, strings and numbers.

    Returns
    -------
    dict
        Safe for ``json.dumps(..., allow_nan=False)``: numbers that are not finite become None.
    """
    names = part_names(machine)
    made = {
        "schema": SCHEMA,
        "vibecheck": __version__,
        "machine": diagnosis.machine,
        "headline": headline(diagnosis, names),
        "findings": [_finding(finding, names) for finding in diagnosis.findings],
        "warnings": _facts(diagnosis.warnings, names),
        "next_test": _test(diagnosis.next_test, names),
        "examined": list(examined(diagnosis, machine)),
        "not_examined": list(not_examined(diagnosis, machine, names)),
        "takes": [_take(take, names) for take in diagnosis.takes],
        "evidence_table": _table(diagnosis.table),
    }
    plain = _plain(made)
    assert isinstance(plain, dict)
    return plain


def _finding(finding: Finding, names: Names) -> dict[str, Any]:
    return {
        "part": finding.part,
        "parts": list(finding.parts or (finding.part,)),
        "called": names.get(finding.part, finding.part),
        "part_kind": finding.part_kind,
        "fault": finding.fault,
        "verdict": finding.verdict,
        "probability": finding.probability,
        "evidence": [sentence(fact, names) for fact in finding.evidence],
        "ruled_out": [sentence(fact, names) for fact in finding.ruled_out],
        "next_test": _test(finding.next_test, names),
        "heard": list(finding.heard),
        "expected": list(finding.expected),
        "rates_hz": dict(finding.rates_hz),
        "per_spindle_turn": dict(finding.per_spindle_turn),
        "facts": _facts((*finding.evidence, *finding.ruled_out), names),
    }


def _facts(facts: Sequence[Fact], names: Names) -> list[dict[str, Any]]:
    return [
        {"kind": fact.kind, "values": dict(fact.values), "sentence": sentence(fact, names)}
        for fact in facts
    ]


def _test(fact: Fact | None, names: Names) -> dict[str, Any] | None:
    if fact is None:
        return None
    return {
        "kind": fact.kind,
        "values": dict(fact.values),
        "sentence": sentence(fact, names),
        "effort": effort(fact),
    }


def _take(take: TakeReport, names: Names) -> dict[str, Any]:
    return {
        "name": take.name,
        "position": take.position,
        "heard_position": take.heard_position,
        "kind": take.kind,
        "seconds": take.seconds,
        "spindle_rpm": take.spindle_rpm,
        "chart_rpm": take.chart_rpm,
        "speeds_hz": dict(take.speeds_hz),
        "speed_error": dict(take.speed_error),
        "drift": take.drift,
        "remarks": _facts(take.remarks, names),
    }


def _table(table: EvidenceTable | None) -> dict[str, Any] | None:
    if table is None:
        return None
    return {
        "takes": list(table.takes),
        "positions": list(table.positions),
        "rows": [
            {
                "part": row.part,
                "part_kind": row.part_kind,
                "fault": row.fault,
                "strength_db": [cell.strength_db for cell in row.cells],
                "error_db": [cell.error_db for cell in row.cells],
                "log10_odds": [cell.log10_odds for cell in row.cells],
                "state": [cell.state for cell in row.cells],
            }
            for row in table.rows
        ],
    }


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(each) for each in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float):
        return _rounded(value)
    if value is None or isinstance(value, str | int):
        return value
    return str(value)


def _rounded(value: float) -> float | None:
    """Eight figures, so that two computers write the same file."""
    return float(f"{value:.8g}") if isfinite(value) else None
