"""Colours and type of every picture, and how a picture becomes SVG or PNG.

Teal for what the table predicts and for strength, burnt orange for the suspect: far apart in
lightness and hue for every common kind of colour blindness, and never the only sign.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, fields
from html import escape

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

PHONE_INCHES = 5.0
"""Width of a picture: 360 points, one to one on a phone."""
TYPE_PT = 10.5
SMALL_PT = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scheme:
    """One set of colours; every picture is drawn from these and nothing else."""

    paper: str
    ink: str
    quiet: str
    rule: str
    suspect: str
    suspect_soft: str
    cool: str
    shade0: str
    shade1: str
    shade2: str
    shade3: str
    shade4: str
    shade5: str

    @property
    def shades(self) -> tuple[str, ...]:
        """From nothing to strong."""
        return (
            self.shade0,
            self.shade1,
            self.shade2,
            self.shade3,
            self.shade4,
            self.shade5,
        )

    def tokens(self) -> dict[str, str]:
        """Colour name -> colour."""
        return {each.name.replace("_", "-"): getattr(self, each.name) for each in fields(self)}


LIGHT = Scheme(
    paper="#fcfaf5",
    ink="#1b272c",
    quiet="#5b6a70",
    rule="#cfd6d3",
    suspect="#b8400a",
    suspect_soft="#f6d9c4",
    cool="#17677f",
    shade0="#f0f2ee",
    shade1="#cfe3e4",
    shade2="#9cc8ce",
    shade3="#5ba3b0",
    shade4="#257a8c",
    shade5="#0a4554",
)
DARK = Scheme(
    paper="#12181a",
    ink="#e9eeeb",
    quiet="#9dadb1",
    rule="#374347",
    suspect="#ff9e5e",
    suspect_soft="#57301a",
    cool="#6fc6dd",
    shade0="#1c2528",
    shade1="#21414a",
    shade2="#2b626f",
    shade3="#3c8c9d",
    shade4="#6bbccb",
    shade5="#c4eef4",
)


def new_figure(height_inches: float, scheme: Scheme = LIGHT) -> Figure:
    """An empty picture of phone width."""
    figure = Figure(figsize=(PHONE_INCHES, height_inches), layout="constrained")
    figure.set_facecolor(scheme.paper)
    return figure


def plain_axes(axes: Axes, scheme: Scheme = LIGHT) -> Axes:
    """Axes without a box: two rules, quiet ticks, small type."""
    axes.set_facecolor(scheme.paper)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(scheme.rule)
    axes.tick_params(colors=scheme.quiet, labelsize=SMALL_PT, length=2.5, width=0.6)
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set_color(scheme.quiet)
        label.set_fontsize(SMALL_PT)
    axes.title.set_color(scheme.ink)
    axes.title.set_fontsize(TYPE_PT)
    return axes


def png(figure: Figure, *, dots_per_inch: float = 200.0) -> bytes:
    """The picture as PNG."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=dots_per_inch, metadata={"Software": None})
    return buffer.getvalue()


def svg(figure: Figure, *, label: str, name: str = "picture", live: bool = True) -> str:
    """The picture as an ``<svg>`` element that carries its own description.

    Parameters
    ----------
    label : str
        What the picture shows, for those who cannot see it.
    name : str
        Prefix of the ids inside, so that several pictures may share a page.
    live : bool
        Colours become CSS variables (``--ink`` ...), so that a page can turn them dark; the
        picture must have been drawn in :data:`LIGHT`.
    """
    buffer = io.StringIO()
    with mpl.rc_context(
        {"svg.hashsalt": name, "svg.fonttype": "none", "path.simplify_threshold": 0.3}
    ):
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    text = re.sub(r'id="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r"(url\(#|href=\"#)", rf"\1{name}-", text)
    text = re.sub(r'<svg [^>]*?viewBox="([^"]+)"[^>]*>', _opening(label), text, count=1)
    text = text.replace("'DejaVu Sans', 'Bitstream Vera Sans'", "system-ui")
    text = re.sub(r"font: ([^;\"]*?)px [^;\"]*", r"font: \1px system-ui, sans-serif", text)
    if live:
        for token, colour in LIGHT.tokens().items():
            text = text.replace(colour, f"var(--{token})")
    return text


def _opening(label: str) -> str:
    said = escape(label).replace("\\", "\\\\")
    return rf'<svg xmlns="http://www.w3.org/2000/svg" viewBox="\1" role="img" aria-label="{said}">'


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2, "contrast ratio").

    >>> round(contrast("#000000", "#ffffff"), 1)
    21.0
    """
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
