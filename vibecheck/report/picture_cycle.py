"""One turn of a part, averaged over many: how loud each tooth is as it comes round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure, plain_axes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cycle:
    """Loudness over one turn of a rotor.

    Attributes
    ----------
    levels : ndarray, shape (points,)
        Mean loudness at evenly spaced angles of one turn, over its own median.
    teeth : int or None
        Teeth of the part, to count the turn by; degrees when there are none.
    turns : int
        How many turns were averaged.
    take, name : str
        Which take, and what turns.
    """

    levels: NDArray[np.float64]
    teeth: int | None
    turns: int
    take: str
    name: str


def cycle_figure(cycle: Cycle, *, scheme: Scheme = LIGHT) -> Figure:
    """The turn on a straight axis of teeth, and the same turn as it goes round."""
    figure = new_figure(2.1, scheme)
    grid = figure.add_gridspec(1, 2, width_ratios=(1.7, 1.0))
    draw_cycle(figure.add_subplot(grid[0]), cycle, scheme)
    draw_ring(figure.add_subplot(grid[1]), cycle, scheme)
    return figure


def loudest(cycle: Cycle) -> tuple[float, float]:
    """Where in the turn it is loudest (teeth or degrees), and how many times the median."""
    at = int(np.argmax(cycle.levels))
    return at / cycle.levels.size * (cycle.teeth or 360), float(cycle.levels[at])


def draw_cycle(axes: Axes, cycle: Cycle, scheme: Scheme = LIGHT) -> None:
    """Draw the turn on a straight axis."""
    plain_axes(axes, scheme)
    end = float(cycle.teeth or 360)
    places = np.arange(cycle.levels.size + 1) / cycle.levels.size * end
    levels = np.append(cycle.levels, cycle.levels[0])
    axes.fill_between(places, 0.0, levels, color=scheme.shade2, lw=0)
    axes.plot(places, levels, color=scheme.shade5, lw=0.9)
    at, value = loudest(cycle)
    if value > 2.0:
        axes.plot([at], [value], "v", color=scheme.suspect, ms=6, clip_on=False, zorder=5)
    axes.axhline(1.0, color=scheme.quiet, lw=0.7, ls=(0, (3, 2)))
    axes.set_xlim(0.0, end)
    axes.set_ylim(0.0, max(2.2, 1.12 * float(cycle.levels.max())))
    unit = "tooth" if cycle.teeth else "degrees"
    axes.set_xlabel(f"{unit}, counted from the start of the take", fontsize=SMALL_PT,
                    color=scheme.quiet)  # fmt: skip
    axes.set_ylabel("loudness, median = 1", fontsize=SMALL_PT, color=scheme.quiet)


def draw_ring(axes: Axes, cycle: Cycle, scheme: Scheme = LIGHT) -> None:
    """Draw the turn as a gear blank that bulges where it is loud."""
    axes.axis("off")
    axes.set_aspect("equal")
    angles = np.linspace(0.0, 2.0 * np.pi, cycle.levels.size + 1)
    levels = np.append(cycle.levels, cycle.levels[0])
    out = 1.0 + 0.7 * np.clip(levels - 1.0, 0.0, None) / max(1.0, float(levels.max()) - 1.0)
    axes.fill(out * np.sin(angles), out * np.cos(angles), color=scheme.shade2, lw=0)
    axes.plot(out * np.sin(angles), out * np.cos(angles), color=scheme.shade5, lw=0.9)
    axes.fill(0.94 * np.sin(angles), 0.94 * np.cos(angles), color=scheme.paper, lw=0)
    for tooth in range(cycle.teeth or 0):
        angle = 2.0 * np.pi * tooth / (cycle.teeth or 1)
        axes.plot(*(np.array([[0.84, 0.93]]) * [[np.sin(angle)], [np.cos(angle)]]),
                  color=scheme.quiet, lw=0.5)  # fmt: skip
    at, value = loudest(cycle)
    if value > 2.0:
        angle = 2.0 * np.pi * at / (cycle.teeth or 360)
        axes.plot(
            [0, 0.78 * np.sin(angle)], [0, 0.78 * np.cos(angle)], color=scheme.suspect, lw=1.6
        )
    axes.set_xlim(-1.75, 1.75)
    axes.set_ylim(-1.75, 1.75)
