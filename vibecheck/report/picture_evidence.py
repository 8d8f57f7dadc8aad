"""The evidence as a picture: one row a part and fault, one column a lever position."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from vibecheck.diagnosis.findings import Cell, EvidenceRow, EvidenceTable
from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure
from vibecheck.report.words import capital
from vibecheck.report.writers import Names

STEPS_DB = (3.0, 6.0, 9.0, 12.0, 16.0)
"""Strengths at which the shade changes."""
MOST_ROWS = 14
MARKS = {"idling": "o", "not heard": "?"}


def evidence_figure(
    table: EvidenceTable,
    *,
    suspects: Sequence[tuple[str, str]] = (),
    names: Names | None = None,
    scheme: Scheme = LIGHT,
    most_rows: int = MOST_ROWS,
) -> Figure:
    """The evidence table, strength by shade.

    Parameters
    ----------
    suspects : sequence of (part, fault)
        Rows to put first and mark.
    most_rows : int
        Rows beyond this, the weakest, are left out and counted in a note.
    """
    rows = chosen_rows(table, suspects, most_rows)
    figure = new_figure(2.0 + 0.28 * len(rows), scheme)
    draw_evidence(figure.add_subplot(), table, rows, suspects, names, scheme)
    return figure


def chosen_rows(
    table: EvidenceTable, suspects: Sequence[tuple[str, str]], most_rows: int = MOST_ROWS
) -> list[EvidenceRow]:
    """The suspects' rows, then the others by their strongest working cell."""
    rows = sorted(table.rows, key=lambda row: ((row.part, row.fault) not in suspects, -_top(row)))
    return rows[:most_rows]


def _top(row: EvidenceRow) -> float:
    return max((c.strength_db for c in row.cells if c.state == "working"), default=-99.0)


def draw_evidence(
    axes: Axes,
    table: EvidenceTable,
    rows: Sequence[EvidenceRow],
    suspects: Sequence[tuple[str, str]] = (),
    names: Names | None = None,
    scheme: Scheme = LIGHT,
) -> None:
    """Draw chosen rows of the table on axes."""
    columns = len(table.takes)
    for down, row in enumerate(rows):
        for across, cell in enumerate(row.cells):
            _draw_cell(axes, across, down, cell, scheme)
        if (row.part, row.fault) in suspects:
            axes.add_patch(
                Rectangle((-0.06, down - 0.0), columns + 0.12, 1.0, fill=False, lw=1.8,
                          edgecolor=scheme.suspect, zorder=4)
            )  # fmt: skip
    _label(axes, table, rows, suspects, names, scheme)
    _legend(axes, columns, len(rows), len(table.rows) - len(rows), scheme)


def _draw_cell(axes: Axes, across: int, down: int, cell: Cell, scheme: Scheme) -> None:
    at_work = cell.state in ("working", "idling")
    inset = 0.06 if at_work else 0.32
    axes.add_patch(
        Rectangle(
            (across + inset, down + inset),
            1 - 2 * inset,
            1 - 2 * inset,
            facecolor=scheme.shades[shade(cell.strength_db)],
            edgecolor=scheme.quiet if at_work else "none",
            linewidth=0.5,
        )
    )
    mark = MARKS.get(cell.state)
    if mark:
        axes.text(across + 0.5, down + 0.52, mark, ha="center", va="center", color=scheme.quiet,
                  fontsize=SMALL_PT - 1)  # fmt: skip


def shade(strength_db: float) -> int:
    """Which of the six shades a strength gets.

    >>> [shade(value) for value in (-4.0, 3.0, 17.0)]
    [0, 1, 5]
    """
    return sum(strength_db >= step for step in STEPS_DB)


def _label(
    axes: Axes,
    table: EvidenceTable,
    rows: Sequence[EvidenceRow],
    suspects: Sequence[tuple[str, str]],
    names: Names | None,
    scheme: Scheme,
) -> None:
    axes.set_xlim(-0.15, len(table.takes) + 0.15)
    axes.set_ylim(len(rows) + 3.2, -0.1)
    for side in axes.spines.values():
        side.set_visible(False)
    axes.set_facecolor(scheme.paper)
    axes.xaxis.tick_top()
    axes.set_xticks([k + 0.5 for k in range(len(table.takes))])
    axes.set_xticklabels(
        [p or t for p, t in zip(table.positions, table.takes, strict=True)],
        rotation=90,
        fontsize=SMALL_PT,
        color=scheme.ink,
    )
    axes.set_yticks([k + 0.5 for k in range(len(rows))])
    axes.set_yticklabels([row_name(row, names) for row in rows], fontsize=SMALL_PT)
    for row, label in zip(rows, axes.get_yticklabels(), strict=True):
        named = (row.part, row.fault) in suspects
        label.set_color(scheme.suspect if named else scheme.ink)
        label.set_fontweight("bold" if named else "normal")
    axes.tick_params(length=0)


SHORT_FAULTS = {
    "broken or damaged tooth": "tooth",
    "eccentric or worn gear": "eccentric",
    "gear worn or damaged": "worn or tooth",
    "gear worn, damaged or loose": "the gear",
    "outer race": "outer",
    "inner race": "inner",
    "rolling element": "rollers",
    "bearing worn, race not known": "race not known",
    "bent or misaligned": "bent",
    "loose on its shaft or in its seat": "loose",
    "shaft out of balance, bent or loose": "turns unevenly",
    "lumpy or set belt": "lump",
    "mains hum": "hum",
    "fixed tone of structure or room": "fixed tone",
    "pump pulsation": "pump",
    "something not in the table": "not in table",
}


def row_name(row: EvidenceRow, names: Names | None = None) -> str:
    """Short enough for a phone: "62T on III, tooth"."""
    said = (names or {}).get(row.part, row.part)
    said = said.replace("the ", "").replace("-tooth gear", "T").replace("shaft ", "")
    return f"{capital(said)}, {SHORT_FAULTS.get(row.fault, row.fault)}"


def _legend(axes: Axes, columns: int, down: int, left_out: int, scheme: Scheme) -> None:
    wide = columns / 12
    place = 0.06
    words = ["under 3", *(f"{step:g}" for step in STEPS_DB)]
    for number, word in enumerate(words):
        left = place + number * 1.75 * wide
        axes.add_patch(
            Rectangle((left, down + 0.35), 0.7 * wide, 0.5, facecolor=scheme.shades[number],
                      edgecolor=scheme.quiet, linewidth=0.5)
        )  # fmt: skip
        axes.text(left + 0.35 * wide, down + 1.2, word, fontsize=SMALL_PT - 0.5, ha="center",
                  va="center", color=scheme.quiet)  # fmt: skip
    said = (
        "Strength in dB. Framed: in mesh; o: idling;\nsmall: out of mesh; ?: the take cannot tell."
    )
    if left_out > 0:
        said += f"\n{left_out} weaker row{'s' if left_out > 1 else ''} left out."
    axes.text(0.06, down + 1.75, said, fontsize=SMALL_PT - 0.5, ha="left", va="top",
              color=scheme.quiet, linespacing=1.35)  # fmt: skip
