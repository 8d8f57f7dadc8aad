"""The roughness that feed and nose radius leave even when nothing vibrates.

A round-nosed tool fed ``feed_mm`` a turn leaves a row of circular grooves that meet in cusps.
Nothing a machine does can make the surface smoother than this with that tool and feed, so it is
the first thing to compare a complaint with.
"""

from __future__ import annotations

from math import asin, sqrt

from vibecheck.errors import UsageError

SHORT_RA = 1 / (18 * sqrt(3))
"""Ra of a row of parabolas over feed^2 / nose: 0.032075. The shop form 1/32 is 2.6 % low."""
SAFE_FEED_OF_NOSE = 0.8
"""Above this feed / nose radius the straight edges beside the nose usually cut too (common
practice, from memory)."""


def peak_to_valley_mm(feed_mm: float, nose_mm: float) -> float:
    """Depth of the grooves, Rt, for a true circular nose: r - sqrt(r^2 - f^2/4), in mm.

    Raises
    ------
    UsageError
        When the feed is more than twice the nose radius: the nose alone cannot make the surface.

    Examples
    --------
    >>> round(1000 * peak_to_valley_mm(0.2, 0.8), 3)
    6.275
    """
    check(feed_mm, nose_mm)
    half = feed_mm / 2
    return half * half / (nose_mm + sqrt(nose_mm * nose_mm - half * half))


def peak_to_valley_short_mm(feed_mm: float, nose_mm: float) -> float:
    """Rt by the short form f^2 / (8 r), in mm.

    >>> round(1000 * peak_to_valley_short_mm(0.2, 0.8), 3)
    6.25
    """
    check(feed_mm, nose_mm)
    return feed_mm * feed_mm / (8 * nose_mm)


def average_mm(feed_mm: float, nose_mm: float) -> float:
    """Ra of the row of circular grooves about its own mean line, in mm (closed form).

    >>> round(1000 * average_mm(0.2, 0.8), 3)
    1.609
    """
    check(feed_mm, nose_mm)
    if feed_mm < 0.02 * nose_mm:  # the closed form loses its digits; the short one is exact here
        return average_short_mm(feed_mm, nose_mm)
    half = feed_mm / 2
    mean = _area(half, nose_mm) / half
    crossing = sqrt(nose_mm * nose_mm - mean * mean)
    return 2 * (_area(crossing, nose_mm) - mean * crossing) / half


def average_short_mm(feed_mm: float, nose_mm: float) -> float:
    """Ra by the short form f^2 / (18 sqrt(3) r), in mm.

    >>> round(1000 * average_short_mm(0.2, 0.8), 3)
    1.604
    """
    check(feed_mm, nose_mm)
    return SHORT_RA * feed_mm * feed_mm / nose_mm


def rubbing_peak_to_valley_mm(feed_mm: float, nose_mm: float, least_chip_mm: float) -> float:
    """Rt when a chip thinner than ``least_chip_mm`` is rubbed down instead of cut, in mm.

    Brammertz 1961: f^2/(8r) + h/2 (1 + r h / f^2), formula from memory. It has a least value: below
    some feed a finer feed makes the finish worse.

    >>> round(1000 * rubbing_peak_to_valley_mm(0.2, 0.8, 0.0), 2)
    6.25
    """
    if least_chip_mm < 0:
        raise UsageError(f"least chip thickness {least_chip_mm:g} mm", "Give 0 or more.")
    rubbed = least_chip_mm / 2 * (1 + nose_mm * least_chip_mm / (feed_mm * feed_mm))
    return peak_to_valley_short_mm(feed_mm, nose_mm) + rubbed


def feed_for_average_mm(wanted_ra_mm: float, nose_mm: float) -> float:
    """Largest feed a turn, in mm, whose grooves alone stay within ``wanted_ra_mm`` (short form).

    >>> round(feed_for_average_mm(0.0016, 0.8), 3)
    0.2
    """
    check(wanted_ra_mm, nose_mm, "wanted Ra")
    return sqrt(wanted_ra_mm * nose_mm / SHORT_RA)


def check(feed_mm: float, nose_mm: float, name: str = "feed") -> None:
    """Raise UsageError unless both are above 0 and the nose alone can make the surface."""
    if not (0 < feed_mm < float("inf") and 0 < nose_mm < float("inf")):
        raise UsageError(
            f"{name} {feed_mm:g} mm and nose radius {nose_mm:g} mm", "Give both above 0."
        )
    if feed_mm > 2 * nose_mm:
        raise UsageError(
            f"{name} {feed_mm:g} mm is more than twice the nose radius {nose_mm:g} mm",
            "The nose alone cannot make this surface; give a smaller feed or a larger radius.",
        )


def _area(x: float, radius: float) -> float:
    """Area under a circle of ``radius`` from its centre line to x."""
    return (x * sqrt(radius * radius - x * x) + radius * radius * asin(x / radius)) / 2
