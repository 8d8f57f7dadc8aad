"""A picture of how far probabilities may be believed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure

Bin = tuple[float, float, int]
COLOURS = {"findings": "#0b5394", "suspects": "#b45f06"}


def diagram(bins: Mapping[str, Sequence[Bin]]) -> Figure:
    """Share that came true against probability said, with 95 % intervals (Wilson 1927)."""
    figure = Figure(figsize=(5.2, 5.0), layout="constrained")
    axes = figure.subplots()
    axes.plot([0, 1], [0, 1], color="0.6", linewidth=1, label="what is said comes true")
    for name, rows in bins.items():
        said = [row[0] for row in rows]
        came = [row[1] for row in rows]
        spans = [interval(row[1], row[2]) for row in rows]
        below = [max(0.0, c - low) for c, (low, _) in zip(came, spans, strict=True)]
        above = [max(0.0, high - c) for c, (_, high) in zip(came, spans, strict=True)]
        axes.errorbar(
            said,
            came,
            yerr=[below, above],
            fmt="o-",
            capsize=3,
            color=COLOURS.get(name),
            label=f"{name} ({sum(row[2] for row in rows)})",
        )
    axes.set(
        xlim=(0, 1),
        ylim=(0, 1),
        xlabel="probability said",
        ylabel="share that came true",
        title="Reliability of the sweep's probabilities",
    )
    axes.legend(loc="upper left", frameon=False)
    return figure


def interval(share: float, count: int, z: float = 1.96) -> tuple[float, float]:
    """Wilson's interval for a share.

    >>> [round(end, 3) for end in interval(0.5, 100)]
    [0.404, 0.596]
    """
    scale = 1 + z * z / count
    middle = (share + z * z / (2 * count)) / scale
    reach = z / scale * (share * (1 - share) / count + z * z / (4 * count * count)) ** 0.5
    return middle - reach, middle + reach
