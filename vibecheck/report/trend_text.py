"""The history of a machine's lines as text and as JSON (schema ``vibecheck.trend/1``)."""

from __future__ import annotations

import textwrap
from typing import Any

from vibecheck.diagnosis.compared.trend import History, Trend

WIDTH = 80
MOST = 12
"""Histories printed without a change point, the JSON holds all."""


def trend_text(trend: Trend, *, width: int = WIDTH) -> str:
    """Lines that changed first, each with the sweep it changed at; then the steadiest news."""
    changed = [history for history in trend.histories if history.changed_at]
    steady = len(trend.histories) - len(changed)
    blocks = [
        textwrap.fill(
            f"{len(trend.sweeps)} sweeps, {trend.sweeps[0]} to {trend.sweeps[-1]}: "
            f"{len(changed)} line(s) changed, {steady} did not move beyond their spread.",
            width,
        )
    ]
    blocks += [_history(history, width) for history in changed]
    if trend.left_out:
        rows = [_point(text, width) for text in trend.left_out]
        blocks.append("\n".join(["Not comparable with the first sweep:", *rows]))
    blocks.append(
        textwrap.fill(
            "Changes are against the first sweep, each with its 95 % interval. Change points are "
            "controlled over all lines together; a steady line is no proof of health.",
            width,
        )
    )
    return "\n\n".join(blocks) + "\n"


def _history(history: History, width: int) -> str:
    steps = ", ".join(
        f"{step:+.1f} dB from {name} on"
        for name, step in zip(history.changed_at, history.step_db, strict=True)
    )
    rows = [textwrap.fill(f"{history.position}, {history.line}: {steps}", width)]
    for name, change, low, high in zip(
        history.sweeps[1:],
        history.change_db[1:],
        history.low_db[1:],
        history.high_db[1:],
        strict=True,
    ):
        rows.append(f"  {name[:30]:30s} {change:+6.1f} dB  ({low:+.1f} to {high:+.1f})")
    return "\n".join(rows)


def _point(text: str, width: int) -> str:
    return textwrap.fill(text, width, initial_indent="  - ", subsequent_indent="    ")


def trend_json(trend: Trend) -> dict[str, Any]:
    """Everything a trend says: sweeps, histories, change points, what was left out."""
    return {
        "schema": "vibecheck.trend/1",
        "machine": trend.machine,
        "sweeps": list(trend.sweeps),
        "histories": [
            {
                "position": history.position,
                "line": history.line,
                "sweeps": list(history.sweeps),
                "change_db": [round(value, 3) for value in history.change_db],
                "low_db": [round(value, 3) for value in history.low_db],
                "high_db": [round(value, 3) for value in history.high_db],
                "changed_at": list(history.changed_at),
                "step_db": [round(value, 3) for value in history.step_db],
            }
            for history in trend.histories
        ],
        "left_out": list(trend.left_out),
    }
