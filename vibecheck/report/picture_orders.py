"""What is heard against lever position: one strip a position, the expected rates joined up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure, plain_axes

MOST_POINTS = 450


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedLine:
    """Where one source should show in each strip; None where it does not turn or work."""

    name: str
    places: tuple[float | None, ...]
    suspect: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrderMap:
    """Strips to draw, one a lever position.

    Attributes
    ----------
    places : ndarray, shape (points,)
        The common axis, rising.
    strengths_db : ndarray, shape (positions, points)
        Over each strip's own background.
    axis : str
        What the axis counts, with its unit.
    """

    positions: tuple[str, ...]
    places: NDArray[np.float64]
    strengths_db: NDArray[np.float64]
    axis: str
    lines: tuple[ExpectedLine, ...] = ()


def order_figure(heard: OrderMap, *, scheme: Scheme = LIGHT) -> Figure:
    """The strips, strongest lines tallest, expected rates marked."""
    figure = new_figure(1.0 + 0.34 * len(heard.positions), scheme)
    draw_orders(figure.add_subplot(), heard, scheme)
    return figure


def draw_orders(axes: Axes, heard: OrderMap, scheme: Scheme = LIGHT) -> None:
    """Draw the strips on axes."""
    plain_axes(axes, scheme)
    tall = max(12.0, float(np.nanmax(heard.strengths_db, initial=0.0)))
    count = len(heard.positions)
    for row in range(count):
        places, heights = thinned(heard.places, heard.strengths_db[row])
        line = row - 0.92 * np.clip(heights, 0.0, None) / tall
        axes.fill_between(places, row, line, color=scheme.shade2, lw=0, zorder=2 + row)
        axes.plot(places, line, color=scheme.shade5, lw=0.7, zorder=2 + row)
    for number, expected in enumerate(heard.lines):
        _draw_expected(axes, expected, number, count, scheme)
    axes.set_yticks(range(count))
    axes.set_yticklabels(heard.positions, fontsize=SMALL_PT, color=scheme.ink)
    axes.set_ylim(count - 0.7, -1.1)
    axes.set_xlim(float(heard.places[0]), float(heard.places[-1]))
    axes.set_xlabel(heard.axis, fontsize=SMALL_PT, color=scheme.quiet)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _draw_expected(
    axes: Axes, expected: ExpectedLine, number: int, count: int, scheme: Scheme
) -> None:
    colour = scheme.suspect if expected.suspect else scheme.cool
    label = expected.name
    for row, place in enumerate(expected.places):
        if place is None:
            continue
        axes.plot([place, place], [row, row + 0.12], color=colour, zorder=3 + count,
                  lw=2.4 if expected.suspect else 1.2, solid_capstyle="butt",
                  label=label)  # fmt: skip
        axes.plot([place, place], [row - 0.95, row], color=colour, lw=0.6, zorder=1,
                  ls=(0, (1.5, 2.5)))  # fmt: skip
        label = "_nolegend_"
    shown = axes.legend(
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=2,
        frameon=False,
        fontsize=SMALL_PT,
        borderaxespad=0.0,
        handlelength=0.8,
        columnspacing=1.0,
    )
    for text in shown.get_texts():
        text.set_color(scheme.ink)


def thinned(
    places: NDArray[np.float64], heights: NDArray[np.float64], most: int = MOST_POINTS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Fewer points that keep every peak: the largest of each stretch, at its own place.

    >>> thinned(np.arange(6.0), np.array([0, 9, 0, 0, 0, 7.0]), most=2)[0].tolist()
    [1.0, 5.0]
    """
    if places.size <= most:
        return places, heights
    step = -(-places.size // most)
    starts = np.arange(0, places.size, step)
    best = [at + int(np.argmax(heights[at : at + step])) for at in starts]
    return places[best], heights[best]
