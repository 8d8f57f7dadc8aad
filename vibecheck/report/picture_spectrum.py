"""The tones of one take, with a name at every line the table predicts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vibecheck.report.ink import LIGHT, SMALL_PT, Scheme, new_figure, plain_axes
from vibecheck.report.picture_orders import thinned


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedLine:
    """One predicted tone."""

    name: str
    hz: float
    suspect: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedSpectrum:
    """Strength against frequency for one take, in decibels over its own background."""

    take: str
    places_hz: NDArray[np.float64]
    strengths_db: NDArray[np.float64]
    lines: tuple[NamedLine, ...] = ()
    axis: str = "frequency, Hz"


def spectrum_figure(heard: NamedSpectrum, *, scheme: Scheme = LIGHT) -> Figure:
    """The take's tones; names stand over the lines they belong to."""
    figure = new_figure(2.9, scheme)
    draw_spectrum(figure.add_subplot(), heard, scheme)
    return figure


def draw_spectrum(axes: Axes, heard: NamedSpectrum, scheme: Scheme = LIGHT) -> None:
    """Draw it on axes."""
    plain_axes(axes, scheme)
    places, heights = thinned(heard.places_hz, heard.strengths_db, 1200)
    tall = max(20.0, float(np.max(heights, initial=0.0)))
    axes.fill_between(places, 0.0, np.clip(heights, 0.0, None), color=scheme.shade2, lw=0)
    axes.plot(places, np.clip(heights, 0.0, None), color=scheme.shade5, lw=0.7)
    first, last = float(heard.places_hz[0]), float(heard.places_hz[-1])
    lines = [line for line in heard.lines if first <= line.hz <= last]
    for line, shown_at in zip(lines, spread([k.hz for k in lines], first, last), strict=True):
        _draw_name(axes, line, shown_at, tall, scheme)
    axes.set_xlim(first, last)
    axes.set_ylim(0.0, 1.95 * tall)
    axes.set_yticks([y for y in (0, 10, 20, 30, 40, 50, 60) if y <= tall])
    axes.set_xlabel(heard.axis, fontsize=SMALL_PT, color=scheme.quiet)
    axes.set_ylabel("over the background, dB", fontsize=SMALL_PT, color=scheme.quiet, loc="bottom")


def _draw_name(axes: Axes, line: NamedLine, shown_at: float, tall: float, scheme: Scheme) -> None:
    colour = scheme.suspect if line.suspect else scheme.cool
    axes.plot([line.hz, line.hz, shown_at], [0.0, 1.03 * tall, 1.13 * tall], color=colour,
              lw=1.2 if line.suspect else 0.6, ls="-" if line.suspect else (0, (2, 2)))  # fmt: skip
    axes.text(shown_at, 1.15 * tall, line.name, rotation=90, ha="center", va="bottom",
              fontsize=SMALL_PT - 0.5, color=colour if line.suspect else scheme.ink,
              fontweight="bold" if line.suspect else "normal")  # fmt: skip


def spread(places: Sequence[float], first: float, last: float, apart: float = 0.035) -> list[float]:
    """Places moved apart so that upright names do not overlap; order is kept.

    >>> [round(p, 1) for p in spread([50.0, 50.0], 0.0, 100.0, apart=0.1)]
    [45.0, 55.0]
    """
    gap = apart * (last - first)
    order = sorted(range(len(places)), key=lambda k: places[k])
    groups: list[tuple[list[int], float]] = []
    for index in order:
        groups.append(([index], places[index]))
        while len(groups) > 1 and _overlap(groups[-2], groups[-1], gap):
            (left, a), (right, b) = groups[-2], groups[-1]
            middle = (a * len(left) + b * len(right)) / (len(left) + len(right))
            groups[-2:] = [(left + right, middle)]
    shown = list(places)
    for members, middle in groups:
        half = gap * (len(members) - 1) / 2
        middle = min(max(middle, first + half + gap / 2), last - half - gap / 2)
        for number, index in enumerate(members):
            shown[index] = middle - half + gap * number
    return shown


def _overlap(left: tuple[list[int], float], right: tuple[list[int], float], gap: float) -> bool:
    room = gap * (len(left[0]) + len(right[0])) / 2
    return right[1] - left[1] < room
