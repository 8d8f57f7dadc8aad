"""One machine out of the many its table describes: everything the table does not say.

Two lathes of one model differ in every eccentricity, casting and pulley. An individual settles
all of that by its seed, part by part and whatever the order of asking, so that the same gear runs
out by the same amount in every take of one sweep.
"""

from __future__ import annotations

from dataclasses import dataclass
from zlib import crc32

import numpy as np

from vibecheck.machine.bearings import BearingOrders, orders_of
from vibecheck.machine.parts import Bearing, BearingKind, Belt
from vibecheck.synth.random_bearings import inside

_HIDDEN_KINDS: tuple[BearingKind, ...] = (
    "ball",
    "cylindrical roller",
    "tapered roller",
    "angular contact",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Individual:
    """One machine of its kind.

    Attributes
    ----------
    seed : int
        Settles every hidden trait.
    loudness : float
        Factor on all mesh levels: a healthy machine may whine.
    roughness : float
        Factor on gear imperfection: eccentricity, pitch scatter. 1 is an ordinary used machine.
    """

    seed: int
    loudness: float = 1.0
    roughness: float = 1.0

    def draw(self, part: str, purpose: str) -> np.random.Generator:
        """The generator that settles one trait of one part."""
        return np.random.default_rng([self.seed, crc32(f"{part}|{purpose}".encode())])

    def bearing_orders(self, bearing: Bearing) -> BearingOrders | None:
        """True orders: the table's when it gives them, else what this machine hides inside."""
        if bearing.kind == "plain":
            return None
        return orders_of(bearing) or self._hidden_orders(bearing)

    def _hidden_orders(self, bearing: Bearing) -> BearingOrders:
        rng = self.draw(bearing.name, "hidden geometry")
        unknown = bearing.kind == "unknown"
        kind = _HIDDEN_KINDS[int(rng.integers(len(_HIDDEN_KINDS)))] if unknown else bearing.kind
        bore, outside = bearing.bore_mm.value, bearing.outside_mm.value
        if bore is None or outside is None:
            bore, outside = 40.0, 40.0 * float(rng.uniform(1.6, 2.1))
        count, size, pitch, angle = inside(rng, kind, bore, outside)
        return BearingOrders.of_geometry(
            int(bearing.elements.value or count),
            bearing.element_mm.value or size,
            bearing.pitch_mm.value or pitch,
            bearing.angle_deg.middle if bearing.angle_deg.middle is not None else angle,
        )

    def pulley_factor(self, belt: Belt) -> float:
        """True over table speed ratio of a V-belt: effective diameters are not the calliper's."""
        return 1.0 + float(self.draw(belt.name, "pulleys").uniform(-0.003, 0.003))
