"""How often each part of a rolling bearing is struck, per turn of its shaft.

Outer ring still, inner ring turning, no slip::

    g = element_mm / pitch_mm * cos(angle)
    outer = n/2 (1 - g)    inner = n/2 (1 + g)    cage = (1 - g)/2
    spin  = pitch/(2 element) (1 - g^2)           a roller defect strikes twice a spin

so that ``outer + inner = n`` and ``outer = n * cage`` whatever the slip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, radians
from typing import Literal

from vibecheck.machine.parts import Bearing

Element = Literal["outer", "inner", "roller", "cage"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingOrders:
    """Strikes per turn of the shaft; ``roller`` is twice the spin, the line a struck roller makes.

    >>> orders = BearingOrders.of_geometry(9, 7.94, 39.04, 0.0)
    >>> round(orders.outer, 3), round(orders.inner, 3), orders.outer + orders.inner
    (3.585, 5.415, 9.0)
    """

    outer: float
    inner: float
    roller: float
    cage: float
    elements: int | None = None

    @classmethod
    def of_geometry(
        cls, elements: int, element_mm: float, pitch_mm: float, angle_deg: float
    ) -> BearingOrders:
        """From element count, element and pitch diameter (same unit) and contact angle."""
        g = element_mm / pitch_mm * cos(radians(angle_deg))
        return cls(
            outer=elements / 2 * (1 - g),
            inner=elements / 2 * (1 + g),
            roller=pitch_mm / element_mm * (1 - g * g),
            cage=(1 - g) / 2,
            elements=elements,
        )

    @classmethod
    def of_multipliers(cls, published: Mapping[str, float]) -> BearingOrders:
        """From a maker's list: outer, inner, spin (once) or roller (twice), cage."""
        outer, inner = published["outer"], published["inner"]
        elements = round(outer + inner)
        roller = published.get("roller", 2.0 * published.get("spin", 0.0))
        return cls(
            outer=outer,
            inner=inner,
            roller=roller,
            cage=published.get("cage", outer / (outer + inner)),
            elements=elements,
        )

    def items(self) -> tuple[tuple[Element, float], ...]:
        """(element, order) of those that are known."""
        every: tuple[tuple[Element, float], ...] = (
            ("outer", self.outer),
            ("inner", self.inner),
            ("roller", self.roller),
            ("cage", self.cage),
        )
        return tuple((element, order) for element, order in every if order > 0)


def orders_of(bearing: Bearing) -> BearingOrders | None:
    """The orders of a bearing whose numbers are known; None when they are not."""
    if "outer" in bearing.multipliers and "inner" in bearing.multipliers:
        return BearingOrders.of_multipliers(bearing.multipliers)
    count, size, pitch = bearing.elements.value, bearing.element_mm.value, bearing.pitch_mm.value
    if bearing.kind == "plain" or not (count and size and pitch):
        return None
    angle = bearing.angle_deg.middle
    if angle is None:
        angle = 90.0 if bearing.kind == "thrust" else 0.0
    return BearingOrders.of_geometry(int(count), size, pitch, angle)
