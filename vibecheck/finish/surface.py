"""The turned surface itself: a round-nosed tool, its path, its shake, and what later turns wipe.

Every turn of the work the tool passes once; where passes overlap the deepest cut wins. The height
left at angle t round the work and distance x along it is the least, over all passes m, of the
nose's own shape about the place where pass m went by, raised by how far the tool was pushed away
at that moment. Nothing here knows about counts, spacings or hands: they come out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import UsageError
from vibecheck.finish.marks import Cut

Heights = NDArray[np.float32]
MOST_POINTS = 20_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Shake:
    """One motion of the tool toward and away from the work.

    Attributes
    ----------
    amplitude_mm : float
        Half the distance from nearest to farthest.
    hz : float
        Rate in time; 0 for a motion that repeats along the carriage instead.
    every_mm : float
        Distance of carriage travel between repeats; 0 for a motion in time.
    phase : float
        In turns.
    """

    amplitude_mm: float
    hz: float = 0.0
    every_mm: float = 0.0
    phase: float = 0.0

    def at(self, turns: NDArray[np.float64], cut: Cut) -> NDArray[np.float64]:
        """Tool displacement away from the work after that many turns of the work, in mm."""
        waves = turns * (self.hz / cut.turns_hz)
        if self.every_mm:
            waves = waves + turns * (cut.feed_mm / self.every_mm)
        return self.amplitude_mm * np.sin(2 * pi * (waves + self.phase))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """The unrolled surface.

    Attributes
    ----------
    heights_mm : ndarray of float32, shape (along, round)
        Read-only. Row 0 is where the tool began; rows go on in the direction of feed. Columns go
        round the way the tool went over the work. Height 0 is the bottom of an undisturbed groove.
    along_step_mm, round_step_mm : float
        Distance between rows, and between columns on the skin.
    cut : Cut
        The cut that made it; its diameter is set.
    """

    heights_mm: Heights
    along_step_mm: float
    round_step_mm: float
    cut: Cut

    @property
    def along_mm(self) -> float:
        """Length along the feed."""
        return float(self.heights_mm.shape[0] * self.along_step_mm)

    @property
    def round_mm(self) -> float:
        """Length round the skin."""
        return float(self.heights_mm.shape[1] * self.round_step_mm)

    @property
    def standing(self) -> Heights:
        """The skin as seen from outside with the bar on end, headstock end down.

        Shape (along, round), row 0 at the bottom, columns from left to right. Right-hand marks
        rise to the right in it.
        """
        rows = self.heights_mm
        if self.cut.direction in ("to headstock", "to centre"):
            rows = rows[::-1]
        # Seen so, a forward spindle carries the skin to the right and the tool's trace to the left.
        return rows[:, ::-1] if self.cut.spindle == "forward" else rows


def turned_surface(
    cut: Cut,
    shakes: Sequence[Shake],
    *,
    nose_mm: float = 0.8,
    length_mm: float = 2.0,
    part_of_turn: float = 1.0,
    rows_a_feed: int = 16,
    columns: int = 1440,
) -> Surface:
    """Turn a surface.

    Parameters
    ----------
    cut : Cut
        With its diameter.
    shakes : sequence of Shake
        Motions of the tool; none gives a perfect surface.
    nose_mm : float
        Nose radius.
    length_mm, part_of_turn : float
        How much of the surface to return.
    rows_a_feed, columns : int
        Grid: rows in one feed, columns in the part of a turn.

    Raises
    ------
    UsageError
        Without a diameter, or for a grid of more than 20 million points.
    """
    if cut.diameter_mm is None:
        raise UsageError("a surface without a diameter", "Give the diameter of the work.")
    if cut.feed_mm > 2 * nose_mm:
        raise UsageError(
            f"feed {cut.feed_mm:g} mm with nose radius {nose_mm:g} mm",
            "The nose alone cannot make this surface; give a larger nose radius.",
        )
    rows = max(round(length_mm / cut.feed_mm * rows_a_feed), 2)
    if rows * columns > MOST_POINTS:
        raise UsageError(
            f"a surface of {rows} by {columns} points",
            "Ask for a shorter length, or fewer rows and columns.",
        )
    reach = _reach(cut, shakes, nose_mm)
    angle = np.arange(columns) / columns * part_of_turn
    heights = np.full((rows, columns), np.inf, dtype=np.float32)
    step = cut.feed_mm / rows_a_feed
    _sweep(heights, angle, cut, shakes, nose_mm, reach, step)
    heights.flags.writeable = False
    return Surface(
        heights_mm=heights,
        along_step_mm=step,
        round_step_mm=pi * cut.diameter_mm * part_of_turn / columns,
        cut=cut,
    )


def _reach(cut: Cut, shakes: Sequence[Shake], nose_mm: float) -> int:
    """How many passes away the nose can still be the deepest."""
    swing = 2 * sum(s.amplitude_mm for s in shakes)
    cusp = cut.feed_mm**2 / (8 * nose_mm)
    side = sqrt(2 * nose_mm * (swing + cusp))
    return min(ceil(side / cut.feed_mm) + 1, 60)


def _sweep(
    heights: Heights,
    angle: NDArray[np.float64],
    cut: Cut,
    shakes: Sequence[Shake],
    nose_mm: float,
    reach: int,
    step_mm: float,
) -> None:
    """Cut pass after pass into ``heights``, each over the rows it can touch."""
    rows = heights.shape[0]
    x = np.arange(rows) * step_mm
    passes = ceil(rows * step_mm / cut.feed_mm)
    for turn in range(-reach - 1, passes + reach + 1):
        turns = turn + angle
        centre = turns * cut.feed_mm
        first = max(int((centre.min() - reach * cut.feed_mm) / step_mm), 0)
        last = min(int((centre.max() + reach * cut.feed_mm) / step_mm) + 2, rows)
        if first >= last:
            continue
        away = np.zeros_like(turns)
        for shake in shakes:
            away += shake.at(turns, cut)
        offset = x[first:last, np.newaxis] - centre[np.newaxis, :]
        depth = _nose(offset, nose_mm) + away[np.newaxis, :]
        np.minimum(heights[first:last], depth.astype(np.float32), out=heights[first:last])


def _nose(offset: NDArray[np.float64], nose_mm: float) -> NDArray[np.float64]:
    """Height of the nose's own outline, continued as straight flanks beyond 60 degrees."""
    side = np.abs(offset)
    edge = nose_mm * sqrt(3) / 2
    inside = np.minimum(side, edge)
    return nose_mm - np.sqrt(nose_mm**2 - inside**2) + (side - inside) * sqrt(3)
