"""Every line's change with its interval, one strip a lever position, worst positions on top."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibecheck.diagnosis.compared.change import Comparison, LineChange, PositionChange
from vibecheck.report.comparison_words import SAID
from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure, plain_axes

MOST_LINES = 24
"""Lines drawn at a position, the most telling first."""


def comparison_figure(comparison: Comparison, *, scheme: Scheme = LIGHT) -> Figure:
    """The changes of all positions.

    Better is drawn filled and cool, worse filled in the suspect's colour with a square, the same
    as an open ring; a bar is the 95 % interval of that line by itself.
    """
    positions = comparison.positions
    figure = new_figure(1.2 + 0.75 * len(positions), scheme)
    axes = figure.add_subplot()
    plain_axes(axes, scheme)
    axes.axvline(0.0, color=scheme.rule, linewidth=1)
    for row, position in enumerate(positions):
        _strip(axes, row, position, scheme)
    axes.set_ylim(len(positions) - 0.4, -0.6)
    axes.set_yticks(
        range(len(positions)),
        [
            f"{p.position}\n{SAID[p.outcome].replace(' within', chr(10) + 'within')}"
            for p in positions
        ],
        fontsize=SMALL_PT,
    )
    axes.set_xlabel("change after the repair, dB (left is quieter)", color=scheme.ink)
    return figure


def _strip(axes: Axes, row: int, position: PositionChange, scheme: Scheme) -> None:
    if position.obstacles:
        axes.text(
            0.02,
            row,
            "levels cannot be compared",
            transform=axes.get_yaxis_transform(),
            color=scheme.quiet,
            fontsize=SMALL_PT,
            va="center",
        )
        return
    shown = [line for line in position.lines if line.outcome in ("better", "worse", "same")]
    shown = shown[:MOST_LINES]
    offsets = np.linspace(-0.36, 0.36, max(len(shown), 2))
    for offset, line in zip(offsets, shown, strict=False):
        _mark(axes, row + float(offset), line, scheme)


def _mark(axes: Axes, height: float, line: LineChange, scheme: Scheme) -> None:
    colour = {"better": scheme.cool, "worse": scheme.suspect}.get(line.outcome, scheme.quiet)
    axes.plot([line.low_db, line.high_db], [height, height], color=colour, linewidth=0.8)
    axes.plot(
        line.change_db,
        height,
        marker="s" if line.outcome == "worse" else "o",
        markersize=3.5,
        color=colour,
        markerfacecolor=scheme.paper if line.outcome == "same" else colour,
    )
