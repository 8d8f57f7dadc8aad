"""Pictures of marks on the work: the skin unrolled or a face, at real scale."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vibecheck.finish.marks import Cut
from vibecheck.finish.prediction import Prediction
from vibecheck.finish.surface import Shake, Surface, turned_surface
from vibecheck.report.finish_shading import Picture, by_eye, depth_mm, stretched
from vibecheck.report.finish_words import prediction_lines
from vibecheck.units import MM_PER_INCH

PAGE_MM = (297.0, 210.0)
"""A4 on its side; everything also falls within a US letter page."""
ROWS_A_FEED = 16
WIDEST_MM = 255.0
TALLEST_MM = 30.0
LEAST_VISIBLE_MM = 0.0001
"""Marks shallower than this are drawn even: no eye sees them."""
INK = "#222222"
LEFT_MM = 22.0
TOP_MM = 166.0


def marks_figure(
    prediction: Prediction, cut: Cut, *, name: str = "", amplitude_mm: float = 0.001,
    nose_mm: float = 0.8,
) -> Figure:  # fmt: skip
    """The marks one tone would leave, drawn from the path of the tool.

    Parameters
    ----------
    prediction : Prediction
        Of the tone.
    cut : Cut
        With its diameter.
    name : str
        What makes the tone.
    amplitude_mm, nose_mm : float
        How far the tool swings either way, and its nose radius.

    Returns
    -------
    matplotlib.figure.Figure
        297 by 210 mm. Save it as PDF or SVG and print at 100 % for real scale.
    """
    shakes = [Shake(hz=prediction.hz, amplitude_mm=amplitude_mm)]
    title = f"{name + ': ' if name else ''}{prediction.hz:.1f} Hz at {cut.rpm:.1f} rpm"
    if cut.facing:
        return _face(prediction, cut, shakes, title, nose_mm)
    return _bar(prediction, cut, shakes, title, nose_mm)


def _page(title: str, below: str) -> Figure:
    figure = Figure(figsize=(PAGE_MM[0] / MM_PER_INCH, PAGE_MM[1] / MM_PER_INCH))
    figure.text(LEFT_MM / PAGE_MM[0], 1 - 14 / PAGE_MM[1], title, size=14, color=INK)
    figure.text(LEFT_MM / PAGE_MM[0], 1 - 20 / PAGE_MM[1], below, size=9, color=INK, va="top")
    return figure


def _axes_mm(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Axes placed in millimetres of the page."""
    across, up = PAGE_MM
    return figure.add_axes((left / across, bottom / up, width / across, height / up))


def _bar(
    prediction: Prediction, cut: Cut, shakes: Sequence[Shake], title: str, nose_mm: float
) -> Figure:
    assert cut.diameter_mm is not None
    skin = pi * cut.diameter_mm
    shown = min(skin, WIDEST_MM)
    length = min(TALLEST_MM, max(80 * cut.feed_mm, 8.0))
    surface = turned_surface(
        cut, shakes, nose_mm=nose_mm, length_mm=length, part_of_turn=shown / skin,
        rows_a_feed=ROWS_A_FEED, columns=_columns(shown, prediction, skin),
    )  # fmt: skip
    seen = by_eye(surface.standing, ROWS_A_FEED)
    figure = _page(title, _about(cut, shakes, nose_mm, depth_mm(seen)))
    whole = "once round" if shown == skin else f"{shown:.0f} of {skin:.0f} mm round"
    axes = _axes_mm(figure, LEFT_MM, TOP_MM - length, shown, length)
    _show(axes, seen, (0, shown, 0, length))
    axes.set_title(
        f"The skin unrolled, bar on end, headstock end down: {whole}, real size", size=10,
        loc="left",
    )  # fmt: skip
    axes.set_xlabel("round the work, mm", size=9)
    axes.set_ylabel("along, mm", size=9)
    tall = TOP_MM - length - 24 - 20
    _glass(figure, surface, surface.standing, seen, prediction, (LEFT_MM, 20, 165, tall))
    _panel(figure, prediction, cut, 196, 20 + tall, 40)
    return figure


def _columns(shown_mm: float, prediction: Prediction, skin_mm: float) -> int:
    """Enough for 24 points a crest, never fewer than 4 a millimetre."""
    crests = prediction.waves * shown_mm / skin_mm
    return int(min(max(4 * shown_mm, 24 * crests, 360), 4000))


def _glass(
    figure: Figure,
    surface: Surface,
    heights: NDArray[np.float32],
    seen: Picture,
    prediction: Prediction,
    box: tuple[float, float, float, float],
) -> None:
    """A small piece under the glass, stretched along the feed, with its own scales."""
    feed, skin = surface.cut.feed_mm, pi * (surface.cut.diameter_mm or 1.0)
    wide = min(2.5 * skin / max(prediction.waves, 0.5), surface.round_mm)
    spacing = min(prediction.spacing_mm, surface.along_mm / 4)
    tall = min(max(4 * spacing, 12 * feed), surface.along_mm)
    rows, columns = int(tall / surface.along_step_mm), int(wide / surface.round_step_mm)
    piece = (0.5 * seen + 0.5 * heights)[:rows, : max(columns, 2)]
    axes = _axes_mm(figure, *box)
    _show(axes, piece, (0, wide, 0, tall), equal=False)
    axes.set_title("Under the glass, feed grooves too (read the axes)", size=10, loc="left")
    axes.set_xlabel("round the work, mm" + (" at the rim" if surface.cut.facing else ""), size=9)
    axes.set_ylabel("along the feed, mm", size=9)


def _panel(
    figure: Figure, prediction: Prediction, cut: Cut, left: float, top: float, width: int
) -> None:
    text = "\n".join(prediction_lines(prediction, cut, width=width))
    figure.text(left / PAGE_MM[0], top / PAGE_MM[1], text, size=9, va="top", color=INK)


def _show(
    axes: Axes, picture: Picture, extent: tuple[float, float, float, float], equal: bool = True
) -> None:
    axes.imshow(
        stretched(picture, LEAST_VISIBLE_MM),
        cmap="gray",
        vmin=-0.1,
        vmax=1.15,
        origin="lower",
        extent=extent,
        aspect="equal" if equal else "auto",
        interpolation="antialiased",
    )
    axes.tick_params(labelsize=8)


def _face(
    prediction: Prediction, cut: Cut, shakes: Sequence[Shake], title: str, nose_mm: float
) -> Figure:
    """A face seen from the tailstock."""
    assert cut.diameter_mm is not None
    radius = cut.diameter_mm / 2
    length = min(radius * 0.95, 60.0)
    columns = 1440
    rows = int(max(min(ROWS_A_FEED, 15_000_000 / columns * cut.feed_mm / length), 4))
    surface = turned_surface(
        cut, shakes, nose_mm=nose_mm, length_mm=length, rows_a_feed=rows, columns=columns
    )
    seen = by_eye(surface.heights_mm, rows)
    figure = _page(title, _about(cut, shakes, nose_mm, depth_mm(seen)))
    across = min(2 * radius, 138.0)
    axes = _axes_mm(figure, LEFT_MM + 3, TOP_MM - across, across, across)
    axes.imshow(
        _polar(stretched(seen, LEAST_VISIBLE_MM), cut, radius, length), cmap="gray", vmin=-0.1,
        vmax=1.15, origin="lower", extent=(-radius, radius, -radius, radius),
    )  # fmt: skip
    size = "real size" if across == 2 * radius else f"drawn {across / (2 * radius):.2f} of size"
    axes.set_title(f"The face seen from the tailstock, {size}", size=10, loc="left")
    axes.set_xlabel("mm", size=9)
    axes.tick_params(labelsize=8)
    _glass(figure, surface, surface.heights_mm, seen, prediction, (190, 76, 92, 90))
    _panel(figure, prediction, cut, 186, 60, 48)
    return figure


def _polar(seen: Picture, cut: Cut, radius: float, length: float) -> Picture:
    """The (along, round) map laid on the face; nan off it."""
    side = np.linspace(-radius, radius, 1400)
    x, y = np.meshgrid(side, side)
    distance = np.hypot(x, y)
    along = radius - distance if cut.direction == "to centre" else distance - (radius - length)
    sense = -1 if cut.spindle == "forward" else 1
    turn = (sense * np.arctan2(y, x) / (2 * pi)) % 1.0
    rows, columns = seen.shape
    row = np.clip((along / length * rows).astype(int), 0, rows - 1)
    picture = seen[row, np.minimum((turn * columns).astype(int), columns - 1)]
    return np.where((along >= 0) & (along <= length), picture, np.nan)


def _about(cut: Cut, shakes: Sequence[Shake], nose_mm: float, depth: float) -> str:
    swing = 1000 * 2 * sum(s.amplitude_mm for s in shakes)
    faint = "; too faint to see" if depth < LEAST_VISIBLE_MM else ""
    return (
        f"{cut.diameter_mm:g} mm diameter, {cut.feed_mm:g} mm a turn {cut.direction}, spindle "
        f"{cut.spindle}, nose radius {nose_mm:g} mm.\n"
        f"Supposed: the tool swings {swing:.3g} µm in all; {1000 * depth:.2g} µm of it is left "
        f"after the nose has wiped{faint}.\n"
        "Light is high, dark is low; contrast stretched as by tilting the work in the light. "
        "Print at 100 % for real size."
    )
