"""A comparison as JSON that other programs can rely on.

Schema ``vibecheck.comparison/1``. Top: ``schema``, ``vibecheck``, ``machine``, ``headline``,
``counts`` (outcome -> number of positions), ``positions``, ``repeatability``, ``compared``,
``smallest_db`` and ``smallest_with`` (takes a side -> dB), ``missing``, ``not_told``, ``notes``,
``criterion`` (null when none was given), ``findings`` (of the first sweep, when asked for:
``part``, ``fault``, ``verdict``, ``positions``: label -> outcome).

A position: ``position``, ``outcome``, ``before_takes``, ``after_takes``, ``before_rpm``,
``after_rpm``, ``overall_db`` (information only), ``smallest_db``, ``obstacles`` (``what``,
``survives``, ``remedy``), ``left_out``, ``shaking`` (calibrated r.m.s. of
both sides, or null), ``lines``. A line: ``name``, ``sort``, ``parts``,
``same_as``, ``before_db``, ``after_db``, ``change_db``, ``interval_db`` (two numbers, 95 %),
``standard_uncertainty_db``, ``degrees_of_freedom``, ``chance``, ``bound``, ``outcome``,
``reason``, ``band_hz``. Outcomes: better, same, worse, not comparable, not heard.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isfinite
from typing import Any

from vibecheck import __version__
from vibecheck.diagnosis.compared.change import Comparison, LineChange, PositionChange
from vibecheck.diagnosis.compared.finding_change import FindingChange
from vibecheck.report.comparison_words import headline

SCHEMA = "vibecheck.comparison/1"
"""Name and version; the number rises when a key changes its meaning or goes."""


def comparison_json(
    comparison: Comparison,
    criterion: Mapping[str, Any] | None = None,
    became: Sequence[FindingChange] = (),
) -> dict[str, Any]:
    """Everything a comparison says, safe for ``json.dumps(..., allow_nan=False)``."""
    spread = comparison.repeatability
    outcomes = ("better", "same", "worse", "not comparable")
    return {
        "schema": SCHEMA,
        "vibecheck": __version__,
        "machine": comparison.machine,
        "headline": headline(comparison),
        "counts": {outcome: comparison.count(outcome) for outcome in outcomes},  # type: ignore[arg-type]
        "positions": [_position(position) for position in comparison.positions],
        "repeatability": {
            "measured": spread.measured,
            "standard_deviation_db": _number(spread.standard_deviation_db),
            "limit_db": _number(spread.limit_db),
            "take_db": _number(spread.take_db),
            "take_degrees_of_freedom": _number(spread.take_dof),
            "line_db": _number(spread.line_db),
            "reseated": comparison.reseated,
        },
        "compared": comparison.compared,
        "smallest_db": _number(comparison.smallest_db),
        "smallest_with": {str(n): _number(value) for n, value in comparison.smallest_with},
        "missing": list(comparison.missing),
        "not_told": list(comparison.not_told),
        "notes": list(comparison.notes),
        "criterion": dict(criterion) if criterion is not None else None,
        "findings": [
            {
                "part": change.finding.part,
                "fault": change.finding.fault,
                "verdict": change.finding.verdict,
                "positions": {label: outcome for label, outcome, _ in change.at},
            }
            for change in became
        ],
    }


def _position(position: PositionChange) -> dict[str, Any]:
    return {
        "position": position.position,
        "outcome": position.outcome,
        "before_takes": position.before_takes,
        "after_takes": position.after_takes,
        "before_rpm": _number(position.before_rpm),
        "after_rpm": _number(position.after_rpm),
        "overall_db": _number(position.overall_db),
        "smallest_db": _number(position.smallest_db),
        "obstacles": [
            {"what": each.what, "survives": each.survives, "remedy": each.remedy}
            for each in position.obstacles
        ],
        "left_out": list(position.left_out),
        "shaking": None
        if position.shaking is None
        else {
            "before_mm_s": _number(position.shaking.before_mm_s),
            "after_mm_s": _number(position.shaking.after_mm_s),
            "before_um": _number(position.shaking.before_um),
            "after_um": _number(position.shaking.after_um),
            "band_hz": _pair(position.shaking.band_hz),
        },
        "lines": [_line(line) for line in position.lines],
    }


def _line(line: LineChange) -> dict[str, Any]:
    heard = line.outcome != "not heard"
    return {
        "name": line.name,
        "sort": line.sort,
        "parts": list(line.parts),
        "same_as": list(line.same_as),
        "before_db": _number(line.before_db) if heard else None,
        "after_db": _number(line.after_db) if heard else None,
        "change_db": _number(line.change_db) if heard else None,
        "interval_db": _pair((line.low_db, line.high_db)) if heard else None,
        "standard_uncertainty_db": _number(line.standard_db),
        "degrees_of_freedom": _number(line.dof),
        "chance": _number(line.chance),
        "bound": line.bound or None,
        "outcome": line.outcome,
        "reason": line.reason or None,
        "band_hz": None if line.band_hz is None else _pair(line.band_hz),
    }


def _pair(values: Sequence[float]) -> list[float | None]:
    return [_number(value) for value in values]


def _number(value: float | None) -> float | None:
    if value is None or not isfinite(value):
        return None
    return float(f"{value:.5g}")
