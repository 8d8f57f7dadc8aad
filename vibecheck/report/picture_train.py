"""The head drawn as a gear train, the suspect filled and those ruled out struck through.

Gears are drawn from the side, as high as their teeth make them, so that the two of a pair touch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from vibecheck.machine.parts import Machine
from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure
from vibecheck.report.train_layout import Layout, Pair, Wheel, laid_out

HALF_WIDE = 0.27
"""Half the width of a gear, in columns."""


def train_figure(
    machine: Machine,
    *,
    suspects: Sequence[str] = (),
    excluded: Mapping[str, int] | None = None,
    scheme: Scheme = LIGHT,
) -> Figure:
    """The head from its table alone.

    Parameters
    ----------
    suspects : sequence of str
        Names of gears, pairs, shafts, bearings or belts to fill.
    excluded : mapping of str to int
        Name -> number of its reason, in a list that goes beside the picture.
    """
    layout = laid_out(machine)
    figure = new_figure(0.3 + 0.8 * max(len(layout.rows), 2), scheme)
    draw_train(figure.add_subplot(), machine, layout, suspects, excluded or {}, scheme)
    return figure


def draw_train(
    axes: Axes,
    machine: Machine,
    layout: Layout,
    suspects: Sequence[str] = (),
    excluded: Mapping[str, int] | None = None,
    scheme: Scheme = LIGHT,
) -> None:
    """Draw the head on axes."""
    axes.axis("off")
    for shaft in layout.rows:
        _draw_shaft(axes, shaft, layout, shaft in suspects, scheme)
    for pair in layout.pairs:
        _draw_pair(axes, pair, suspects, excluded or {}, scheme)
    _draw_bearings(axes, machine, layout, suspects, excluded or {}, scheme)
    _draw_nose(axes, machine, layout, machine.spindle in suspects, scheme)
    wheels = [wheel for pair in layout.pairs for wheel in (pair.driver, pair.driven)]
    last = max((pair.column for pair in layout.pairs), default=0)
    lowest = max((w.row + w.half_high for w in wheels), default=0.0)
    axes.set_xlim(-1.6, last + 1.15)
    axes.set_ylim(max(lowest, *layout.rows.values()) + 0.15, -0.62)


def _draw_shaft(axes: Axes, shaft: str, layout: Layout, named: bool, scheme: Scheme) -> None:
    row, (first, last) = layout.rows[shaft], layout.spans[shaft]
    colour = scheme.suspect if named else scheme.quiet
    axes.plot([first, last], [row, row], color=colour, lw=3.5 if named else 1.6, zorder=1)
    axes.text(first - 0.08, row, shaft, ha="right", va="center", fontsize=SMALL_PT,
              color=scheme.suspect if named else scheme.ink)  # fmt: skip


def _draw_nose(axes: Axes, machine: Machine, layout: Layout, named: bool, scheme: Scheme) -> None:
    """The spindle nose with a chuck on it, so that one sees which way the work sits."""
    row, last = layout.rows[machine.spindle], layout.spans[machine.spindle][1]
    colour = scheme.suspect if named else scheme.quiet
    axes.add_patch(
        Rectangle((last, row - 0.26), 0.2, 0.52, facecolor=colour, edgecolor=colour, zorder=2)
    )
    for aside in (-0.2, 0.1):
        axes.add_patch(
            Rectangle((last + 0.2, row + aside), 0.12, 0.1, facecolor=colour, edgecolor=colour)
        )


def _draw_pair(
    axes: Axes, pair: Pair, suspects: Sequence[str], excluded: Mapping[str, int], scheme: Scheme
) -> None:
    top = min(pair.driver.row - pair.driver.half_high, pair.driven.row - pair.driven.half_high)
    axes.text(pair.column, top - 0.06, pair.setting, ha="center", va="bottom",
              fontsize=SMALL_PT - 0.5, color=scheme.quiet)  # fmt: skip
    if pair.style in ("belt", "coupling") or not _touch(pair):
        _draw_strand(axes, pair, pair.name in suspects, scheme)
    if pair.style == "coupling":
        return
    for wheel in (pair.driver, pair.driven):
        named = wheel.name in suspects or pair.name in suspects
        _draw_wheel(axes, pair, wheel, named, excluded.get(wheel.name), scheme)


def _touch(pair: Pair) -> bool:
    return abs(pair.driver.row - pair.driven.row) == 1


def _draw_strand(axes: Axes, pair: Pair, named: bool, scheme: Scheme) -> None:
    colour = scheme.suspect if named else scheme.quiet
    style = "-" if pair.style == "belt" else ":"
    for aside in (-0.16, 0.16) if pair.style == "belt" else (0.0,):
        axes.plot([pair.column + aside] * 2, [pair.driver.row, pair.driven.row], style,
                  color=colour, lw=2.2 if named else 1.0, zorder=1.5)  # fmt: skip


def _draw_wheel(
    axes: Axes, pair: Pair, wheel: Wheel, named: bool, reason: int | None, scheme: Scheme
) -> None:
    low, column = wheel.row - wheel.half_high, pair.column
    box = Rectangle(
        (column - HALF_WIDE, low),
        2 * HALF_WIDE,
        2 * wheel.half_high,
        facecolor=scheme.suspect if named else scheme.shade1 if reason is None else scheme.paper,
        edgecolor=scheme.suspect if named else scheme.quiet,
        linewidth=1.4 if named else 0.7,
        zorder=2,
    )
    axes.add_patch(box)
    axes.text(column, wheel.row, wheel.words, ha="center", va="center", fontsize=SMALL_PT,
              fontweight="bold" if named else "normal", zorder=4,
              color=scheme.paper if named else scheme.ink)  # fmt: skip
    if reason is not None and not named:
        axes.plot([column - HALF_WIDE, column + HALF_WIDE], [low, low + 2 * wheel.half_high],
                  color=scheme.quiet, lw=1.1, zorder=3)  # fmt: skip
        _draw_number(axes, column + HALF_WIDE, wheel.row - 0.16, reason, scheme)


def _draw_number(axes: Axes, column: float, row: float, reason: int, scheme: Scheme) -> None:
    axes.text(column + 0.03, row, f"({reason})", ha="left", va="center",
              fontsize=SMALL_PT - 0.5, color=scheme.ink, zorder=5)  # fmt: skip


def _draw_bearings(
    axes: Axes,
    machine: Machine,
    layout: Layout,
    suspects: Sequence[str],
    excluded: Mapping[str, int],
    scheme: Scheme,
) -> None:
    count: dict[str, int] = {}
    for bearing in machine.bearings:
        if bearing.shaft not in layout.rows:
            continue
        turn = count.get(bearing.shaft, 0)
        count[bearing.shaft] = turn + 1
        first, last = layout.spans[bearing.shaft]
        ends = (last - 0.14, first + 0.1)
        column = ends[turn % 2] + (-0.22, 0.22)[turn % 2] * (turn // 2)
        _draw_bearing(axes, column, layout.rows[bearing.shaft], bearing.name in suspects, scheme)
        reason = excluded.get(bearing.name)
        if reason is not None:
            _draw_number(axes, column + 0.05, layout.rows[bearing.shaft] + 0.2, reason, scheme)


def _draw_bearing(axes: Axes, column: float, row: float, named: bool, scheme: Scheme) -> None:
    colour = scheme.suspect if named else scheme.ink
    for aside in (-1, 1):
        axes.add_patch(
            Rectangle((column - 0.07, row + aside * 0.14 - 0.07), 0.14, 0.14,
                      facecolor=colour if named else scheme.paper, edgecolor=colour,
                      linewidth=0.9, zorder=3)
        )  # fmt: skip
