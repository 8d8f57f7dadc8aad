"""A paper gauge to hold against the work: count crests and measure their spacing by eye.

Everything is drawn in millimetres of the page. Print at 100 %, check the bar with a rule, cut the
strips out, and lay them against the marks with the spindle stopped and locked out.
"""

from __future__ import annotations

from math import cos, floor, isfinite, pi, sin

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from vibecheck.finish.hand import Hand
from vibecheck.units import MM_PER_INCH

PAGE_MM = (297.0, 210.0)
WIDEST_MM = 250.0
INK = "black"
THIN, THICK = 0.35, 0.9
FINEST_MM = 0.8
"""A patch of lines closer than this cannot be judged by eye on paper."""
LEFT_MM = 20.0


def gauge_figure(
    counts: tuple[int, ...],
    diameter_mm: float,
    *,
    spacing_mm: float | None = None,
    hand: Hand = "unknown",
    facing: bool = False,
) -> Figure:
    """The gauge for work of one diameter.

    Parameters
    ----------
    counts : tuple of int
        Crests round to draw a strip (or a star of spokes) for; the likely one and its neighbours.
    diameter_mm : float
        Of the surface; strips are as long as its skin.
    spacing_mm : float or None
        Also a ladder of that spacing along the work, and a patch of lines leaning by ``hand``.
    facing : bool
        Stars for a face instead of strips for a bar.

    Returns
    -------
    matplotlib.figure.Figure
        297 by 210 mm, axes in millimetres of the page.
    """
    figure = Figure(figsize=(PAGE_MM[0] / MM_PER_INCH, PAGE_MM[1] / MM_PER_INCH))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, PAGE_MM[0])
    axes.set_ylim(0, PAGE_MM[1])
    axes.set_axis_off()
    _heading(axes, diameter_mm)
    if facing:
        _stars(axes, counts, diameter_mm)
    else:
        _strips(axes, counts, diameter_mm)
    if spacing_mm is not None and isfinite(spacing_mm):
        _ladder(axes, spacing_mm)
        if hand in ("right", "left") and not facing and counts and spacing_mm >= FINEST_MM:
            _patch(axes, spacing_mm, pi * diameter_mm / max(counts[len(counts) // 2], 1), hand)
    return figure


def _line(
    axes: Axes, x: tuple[float, float], y: tuple[float, float], wide: float = THIN, tag: str = ""
) -> None:
    axes.plot(x, y, color=INK, linewidth=wide, solid_capstyle="butt", gid=tag or None)


def _text(axes: Axes, x: float, y: float, words: str, size: float = 8) -> None:
    axes.text(x, y, words, size=size, color=INK, va="bottom")


def _heading(axes: Axes, diameter_mm: float) -> None:
    _text(axes, LEFT_MM, 193, f"Gauge for marks on {diameter_mm:g} mm work", 13)
    _text(
        axes, LEFT_MM, 187,
        "Print at 100 %. Check the bar with a rule before use. Stop and lock out the spindle "
        "before holding paper to the work.",
    )  # fmt: skip
    _line(axes, (LEFT_MM, LEFT_MM + 100), (180, 180), THICK, "bar-100-mm")
    for tenth in range(11):
        _line(axes, (LEFT_MM + 10 * tenth,) * 2, (180, 183 if tenth % 5 else 184.5))
    _text(axes, LEFT_MM + 102, 179.5, "100 mm")
    start = LEFT_MM + 130
    _line(axes, (start, start + 4 * MM_PER_INCH), (180, 180), THICK, "bar-4-in")
    for quarter in range(17):
        _line(axes, (start + quarter * MM_PER_INCH / 4,) * 2, (180, 182 if quarter % 4 else 184.5))
    _text(axes, start + 4 * MM_PER_INCH + 2, 179.5, "4 in")


def _strips(axes: Axes, counts: tuple[int, ...], diameter_mm: float) -> None:
    """One strip a count, crests ticked, as long as the skin or as much of it as fits."""
    skin = pi * diameter_mm
    bottom = 158.0
    for count in counts:
        pitch = skin / count
        crests = count if skin <= WIDEST_MM else floor(WIDEST_MM / pitch)
        if crests < 1:
            _text(axes, LEFT_MM, bottom, f"{count} round: {pitch:.1f} mm apart, too long to print")
            bottom -= 17
            continue
        whole = crests == count
        end = LEFT_MM + crests * pitch
        for y in (bottom, bottom + 9):
            _line(axes, (LEFT_MM, end), (y, y), THIN, f"strip-{count}" if y == bottom else "")
        for tick in range(crests + 1):
            edge = tick in (0, crests)
            _line(axes, (LEFT_MM + tick * pitch,) * 2, (bottom, bottom + (9 if edge else 6)))
        part = "wraps once round" if whole else f"{crests} of {count}: lay on, do not wrap"
        _text(
            axes,
            LEFT_MM + 2,
            bottom + 9.6,
            f"{count} crest{'s' * (count > 1)} round, {pitch:.2f} mm, {part}",
            8,
        )
        bottom -= 17


def _ladder(axes: Axes, spacing_mm: float) -> None:
    """Ten spacings beside a millimetre rule, upright: lay it along the bar."""
    spaces = min(10, floor(70 / spacing_mm))
    if spaces < 1:
        return
    bottom, left = 16.0, LEFT_MM
    for space in range(spaces + 1):
        y = bottom + space * spacing_mm
        end = left + (14 if space in (0, spaces) else 8)
        _line(axes, (left, end), (y, y), min(THIN, spacing_mm), f"rung-{space}")
    tall = max(spaces * spacing_mm, 10.0)
    for step in range(int(tall) + 1):
        wide = 8 if step % 10 == 0 else 6 if step % 5 == 0 else 4
        _line(axes, (left + 18, left + 18 + wide), (bottom + step,) * 2)
    _text(
        axes, left, bottom + tall + 1.5,
        f"{spaces} spacing{'s' * (spaces > 1)} of {spacing_mm:.3f} mm along the work; "
        "beside them, millimetres",
    )  # fmt: skip


def _patch(axes: Axes, spacing_mm: float, pitch_mm: float, hand: Hand) -> None:
    """Lines at the lean they have on a bar stood on end; print on clear film to lay over."""
    left, bottom, wide, tall = 150.0, 16.0, 90.0, 40.0
    rise = spacing_mm / pitch_mm * (1 if hand == "right" else -1)
    first = floor(min(0.0, -rise * wide) / spacing_mm)
    last = floor((tall + max(0.0, -rise * wide)) / spacing_mm) + 1
    for number in range(first, last + 1):
        start = number * spacing_mm
        piece = _clip(start, rise, wide, tall)
        if piece:
            x0, x1 = piece
            _line(
                axes, (left + x0, left + x1),
                (bottom + start + rise * x0, bottom + start + rise * x1),
                min(THIN, spacing_mm * 0.8),
            )  # fmt: skip
    _text(axes, left, bottom + tall + 1.5, f"{hand}-hand lean, bar on end; copy to clear film")


def _clip(start: float, rise: float, wide: float, tall: float) -> tuple[float, float] | None:
    """The part of y = start + rise x that lies in the patch."""
    low, high = 0.0, wide
    if rise:
        ends = sorted((-start / rise, (tall - start) / rise))
        low, high = max(low, ends[0]), min(high, ends[1])
    elif not 0 <= start <= tall:
        return None
    return (low, high) if high > low else None


def _stars(axes: Axes, counts: tuple[int, ...], diameter_mm: float) -> None:
    """Stars of straight spokes to lay on a face."""
    radius = min(diameter_mm / 2, 40.0)
    for place, count in enumerate(counts[:3]):
        x, y = LEFT_MM + radius + place * (2 * radius + 6), 165 - radius
        for spoke in range(count):
            turn = 2 * pi * spoke / count
            _line(
                axes, (x + 3 * cos(turn), x + radius * cos(turn)),
                (y + 3 * sin(turn), y + radius * sin(turn)),
            )  # fmt: skip
        _text(axes, x - 12, y - radius - 6, f"{count} spokes")
