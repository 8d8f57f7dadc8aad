"""What a bearing's size alone allows: at which orders one of known bore and outside may strike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from vibecheck.machine.parts import Bearing

SHARES: Mapping[str, tuple[float, float]] = {
    "ball": (0.50, 0.65),
    "angular contact": (0.50, 0.65),
    "double row": (0.40, 0.65),
    "cylindrical roller": (0.42, 0.60),
    "tapered roller": (0.28, 0.44),
    "unknown": (0.28, 0.65),
}
"""Element diameter over half the difference of outside and bore (common proportions, memory)."""
FILL = (0.55, 0.85)
"""Part of the pitch circle that the elements fill (common proportions, memory)."""
STEEPEST = 0.90
"""Cosine of the steepest usual contact angle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a bearing's size allows: counts of elements, and orders of its outer and inner race."""

    fewest: int
    most: int
    outer: tuple[float, float]
    inner: tuple[float, float]


def expected_orders(bearing: Bearing) -> Expected | None:
    """Orders a bearing of known bore and outside may have; None when they are not known.

    >>> from vibecheck.machine.parts import Bearing, Known
    >>> front = Bearing(name="front", shaft="spindle", kind="tapered roller",
    ...     elements=Known.between(20, 26), bore_mm=Known.exactly(75),
    ...     outside_mm=Known.exactly(130))
    >>> low, high = expected_orders(front).outer
    >>> round(low, 1), round(high, 1)
    (8.8, 12.1)
    """
    bore, outside = bearing.bore_mm.middle, bearing.outside_mm.middle
    if not bore or not outside:
        return None
    pitch, section = (bore + outside) / 2, (outside - bore) / 2
    sizes = [share * section for share in SHARES.get(bearing.kind, SHARES["unknown"])]
    around = [pi * pitch * fill / size for fill, size in zip(FILL, sizes[::-1], strict=True)]
    low, high = bearing.elements.low, bearing.elements.high
    fewest = int(low) if low else max(5, int(np.ceil(around[0])))
    most = int(high) if high else int(around[1])
    found = [
        count / 2 * (1 + way * share)
        for way in (-1, 1)
        for count in (fewest, most)
        for share in _shares(pitch, sizes, count, known=bool(low))
    ]
    half = len(found) // 2
    return Expected(
        fewest=fewest,
        most=most,
        outer=(min(found[:half]), max(found[:half])),
        inner=(min(found[half:]), max(found[half:])),
    )


def _shares(
    pitch: float, sizes: Sequence[float], count: int, *, known: bool
) -> tuple[float, float]:
    """Least and most of (element / pitch) * cos(angle); a counted bearing must hold its count."""
    low, high = sizes
    if known:
        low, high = (float(np.clip(pi * pitch * fill / count, sizes[0], sizes[1])) for fill in FILL)
    return STEEPEST * low / pitch, high / pitch
