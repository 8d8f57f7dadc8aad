"""A comparison as plain text, 80 columns wide; positions that did not improve come first."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from vibecheck.diagnosis.compared.change import Comparison, LineChange, PositionChange
from vibecheck.diagnosis.compared.severity import SCOPE, Limits
from vibecheck.report.comparison_words import (
    SAID,
    also,
    control_said,
    headline,
    interval,
    repeatability_said,
    shaking_said,
    smallest_said,
    why_same,
)

WIDTH = 80
MOST_LINES = 6
"""Changed lines printed at a position; the JSON holds all."""


def comparison_text(
    comparison: Comparison,
    *,
    width: int = WIDTH,
    judged: Sequence[str] = (),
    cautions: Sequence[str] = (),
    limits: Limits | None = None,
) -> str:
    """Everything a comparison says.

    Parameters
    ----------
    comparison : Comparison
    width : int
        Columns.
    judged : sequence of str
        Lines about an agreed criterion, printed before the positions.
    cautions : sequence of str
        Safety text, printed at the end where something should be recorded again.
    limits : Limits, optional
        Severity limits someone named, with their source.
    """
    blocks = [_wrapped(headline(comparison), width)]
    blocks += ["\n".join(_wrapped(line, width) for line in judged)] if judged else []
    blocks += [_position(position, width, limits) for position in comparison.positions]
    blocks.append(_about(comparison, width))
    if cautions:
        blocks.append("Before recording again:\n" + _points(cautions, width))
    return "\n\n".join(blocks) + "\n"


def _position(position: PositionChange, width: int, limits: Limits | None) -> str:
    head = f"{position.position or 'The one position'}: {SAID[position.outcome]}"
    rows = [head + _speeds(position, width - len(head))]
    for obstacle in position.obstacles:
        rows.append(_point(f"{obstacle.what}.", width))
        rows.append(_point(f"Still stands: {obstacle.survives}.", width))
        rows.append(_point(obstacle.remedy, width))
    if position.shaking is not None:
        rows.append(_point(shaking_said(position, limits), width))
    if position.outcome == "same":
        rows.append(_point(why_same(position), width))
    changed = [*position.called("worse"), *position.called("better")]
    rows += [_line(line, width) for line in changed[:MOST_LINES]]
    if len(changed) > MOST_LINES:
        rows.append(_point(f"and {len(changed) - MOST_LINES} more line(s).", width))
    rows += [_point(f"Not used: {text}.", width) for text in position.left_out]
    return "\n".join(rows)


def _speeds(position: PositionChange, room: int) -> str:
    takes = f"{position.before_takes} + {position.after_takes} takes"
    if position.before_rpm and position.after_rpm:
        takes = f"{position.before_rpm:.1f} and {position.after_rpm:.1f} rpm, {takes}"
    return f"  ({takes})" if len(takes) + 4 <= room else ""


def _line(line: LineChange, width: int) -> str:
    text = f"{line.outcome}: {line.name}, {interval(line)}"
    extra = also(line)
    return _point(f"{text}; {extra}" if extra else text, width)


def _about(comparison: Comparison, width: int) -> str:
    told = [
        repeatability_said(comparison),
        smallest_said(comparison),
        control_said(comparison),
        "Overall levels are not judged: a level can fall while a knock stays.",
        *comparison.notes,
    ]
    if any(position.shaking for position in comparison.positions):
        told.append(SCOPE)
    if comparison.missing:
        told.append(f"Recorded on one side only: {', '.join(comparison.missing)}.")
    if comparison.not_told:
        told.append(
            "Not written down on both sides, taken to be the same: "
            f"{', '.join(comparison.not_told)}."
        )
    return "How this was judged\n" + _points(told, width)


def _points(texts: Sequence[str], width: int) -> str:
    return "\n".join(_point(text, width) for text in texts)


def _point(text: str, width: int) -> str:
    return textwrap.fill(text, width, initial_indent="  - ", subsequent_indent="    ")


def _wrapped(text: str, width: int) -> str:
    return textwrap.fill(text, width)
