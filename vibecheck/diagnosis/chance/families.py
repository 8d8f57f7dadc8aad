"""What a fault sounds like as a family of lines: harmonics of one order, and their sidebands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

Element = Literal["outer", "inner", "roller", "cage", "shaft", "half shaft"]

OUTER_SLIP_LOW, OUTER_SLIP_HIGH = -0.03, 0.01
"""How far the outer-race order may lie from its computed value: slip makes the cage lag, never
lead; a little the other way is for geometry read off a catalogue and for contact angle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Lines that stand or fall together, in orders of one shaft.

    Attributes
    ----------
    name : str
        "outer", "inner", "roller", "cage", ...
    part : str
        Which part of the machine, as the user calls it.
    order : float
        Of the fundamental; for a roller twice the spin, since a flaw strikes both races each turn.
    slip_low, slip_high : float
        The fundamental may lie anywhere from order * (1 + slip_low) to order * (1 + slip_high).
    harmonics : int
    sidebands : tuple of float
        Spacings, in orders, that flank the harmonics on both sides.
    sideband_harmonics : int
        How many harmonics carry sidebands that are looked for.
    elements : int
        Number of rolling elements when known, else 0.
    """

    name: str
    part: str = ""
    order: float
    slip_low: float = 0.0
    slip_high: float = 0.0
    harmonics: int = 6
    sidebands: tuple[float, ...] = ()
    sideband_harmonics: int = 4
    elements: int = 0

    @property
    def lowest_order(self) -> float:
        """Where the fundamental may lie at the least."""
        return self.order * (1 + self.slip_low)

    @property
    def highest_order(self) -> float:
        """Where the fundamental may lie at the most."""
        return self.order * (1 + self.slip_high)

    def lines(self) -> list[tuple[int, float]]:
        """Every line as (harmonic, offset in orders); the harmonics themselves come first.

        >>> Family(name="x", order=5.4, harmonics=2, sidebands=(1.0,), sideband_harmonics=1).lines()
        [(1, 0.0), (2, 0.0), (1, -1.0), (1, 1.0)]
        """
        own = [(harmonic, 0.0) for harmonic in range(1, self.harmonics + 1)]
        flanks = [
            (harmonic, way * spacing)
            for harmonic in range(1, self.sideband_harmonics + 1)
            for spacing in self.sidebands
            for way in (-1, 1)
        ]
        return own + flanks

    def moved(self, order: float) -> Family:
        """The same structure at another order."""
        return replace(self, order=order)


def bearing_orders(
    elements: int, ball_mm: float, pitch_mm: float, angle_deg: float = 0.0
) -> dict[str, float]:
    """Orders of the turning inner ring: outer, inner, roller (twice the spin), cage.

    >>> {k: round(v, 4) for k, v in bearing_orders(9, 7.94, 39.04).items()}
    {'outer': 3.5848, 'inner': 5.4152, 'roller': 4.7135, 'cage': 0.3983}
    """
    ratio = ball_mm / pitch_mm * float(np.cos(np.radians(angle_deg)))
    return {
        "outer": elements / 2 * (1 - ratio),
        "inner": elements / 2 * (1 + ratio),
        "roller": pitch_mm / ball_mm * (1 - ratio**2),
        "cage": (1 - ratio) / 2,
    }


def bearing_families(
    *,
    elements: int,
    ball_mm: float | None = None,
    pitch_mm: float | None = None,
    angle_deg: float = 0.0,
    orders: Mapping[str, float] | None = None,
    part: str = "bearing",
    slip_low: float = OUTER_SLIP_LOW,
    slip_high: float = OUTER_SLIP_HIGH,
) -> list[Family]:
    """The four families of one bearing, from its geometry or from its published multipliers.

    The slip window belongs to the outer race; the inner moves the other way, because
    outer + inner = number of elements whatever the slip; cage moves with the outer.
    """
    if orders is None:
        if ball_mm is None or pitch_mm is None:
            raise ValueError("give ball and pitch diameters, or the published orders")
        orders = bearing_orders(elements, ball_mm, pitch_mm, angle_deg)
    outer, inner = orders.get("outer"), orders.get("inner")
    if outer is None:
        if inner is None:
            raise ValueError("give the order of the outer or the inner race")
        outer = elements - inner
    inner = elements - outer if inner is None else inner
    cage = orders.get("cage", outer / elements)
    plain = Family(
        name="outer",
        part=part,
        order=outer,
        slip_low=slip_low,
        slip_high=slip_high,
        elements=elements,
    )
    families = [
        plain,
        replace(
            plain,
            name="inner",
            order=inner,
            slip_low=-slip_high * outer / inner,
            slip_high=-slip_low * outer / inner,
            sidebands=(1.0, 2.0),
        ),
        replace(plain, name="cage", order=cage, harmonics=5),
    ]
    if "roller" in orders:
        families.append(
            replace(
                plain,
                name="roller",
                order=orders["roller"],
                slip_low=0.7 * slip_low,
                slip_high=max(slip_high, 0.01),
                sidebands=(cage,),
            )
        )
    return families


def shaft_family(*, part: str = "shaft", step: float = 1.0, harmonics: int = 20) -> Family:
    """Whole (or with ``step`` 0.5, half) multiples of the shaft: looseness, rub, unbalance."""
    return Family(
        name="shaft" if step == 1.0 else "half shaft", part=part, order=step, harmonics=harmonics
    )


def seconds_to_separate(order: float, other_order: float, shaft_hz: float) -> float:
    """How long a take must be for two orders to show as two lines (Hann window, 3 bins apart).

    >>> round(seconds_to_separate(10.947, 11.0, 5.0), 1)
    11.3
    """
    apart_hz = abs(order - other_order) * shaft_hz
    return float("inf") if apart_hz == 0 else 3.0 / apart_hz
