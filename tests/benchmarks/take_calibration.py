"""Whether the probabilities of a single take come true, on every measured record.

    python tests/benchmarks/take_calibration.py [wrong bearings a record, default 20]

Every channel of every record is judged with its own bearing's numbers and with those of invented
bearings none of whose orders lie within 4.5 % of the true one's (decoys). Every element's
probability is held against the truth; a decoy's is never true. Prints how often decoys are named,
a reliability table, and the expected calibration error.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import measured
from measured_table import ROWS

from vibecheck.diagnosis.chance.families import bearing_families, bearing_orders
from vibecheck.diagnosis.single.one_take import OneTake, hear_bearing
from vibecheck.spectra.envelope import Transform, transformed

APART = 0.045
EDGES = (0.0, 0.05, 0.3, 0.6, 0.85, 0.98, 1.01)
ELEMENTS = {"inner race": "inner", "outer race": "outer", "rolling element": "roller"}


def takes() -> Iterator[tuple[str, Transform, measured.Bearing, str, float, str]]:
    """Name, transform, bearing, true element, stated turns a second and quantity."""
    for row in ROWS:
        record = row.load()
        words = row.truth.split(" (")[0]
        known = words.startswith(("sound", "unbalance", "misaligned", "a broken tooth"))
        if not known and words not in ELEMENTS:
            continue
        for channel, samples in record.channels.items():
            if row.name.startswith("CWRU") and channel != row.channel:
                bearing = measured.DRIVE_END if "DE" in row.name else measured.FAN_END
            else:
                bearing = row.bearing
            yield (
                f"{row.name} {channel}",
                transformed(samples, record.rate_hz),
                bearing,
                ELEMENTS.get(words, ""),
                (record.stated_rpm or row.rpm) / 60,
                row.quantity,
            )


def decoys(true: measured.Bearing, count: int, rng: np.random.Generator) -> Iterator[tuple]:
    """Invented bearings as (elements, ball over pitch)."""
    own = bearing_orders(true.elements, true.ball, true.pitch)
    while count:
        elements, ratio = int(rng.integers(7, 17)), float(rng.uniform(0.14, 0.32))
        orders = bearing_orders(elements, ratio, 1.0)
        if all(abs(a / b - 1) >= APART for a in orders.values() for b in own.values()):
            count -= 1
            yield elements, ratio


def told(whole: Transform, shaft_hz: float, quantity: str, elements: int, ratio: float) -> OneTake:
    """One bearing judged."""
    families = bearing_families(elements=elements, ball_mm=ratio, pitch_mm=1.0)
    return hear_bearing(whole, shaft_hz=shaft_hz, families=families, quantity=quantity)


def table(title: str, pairs: list[tuple[float, bool]]) -> None:
    """Reliability by bins, and the expected calibration error."""
    said, true = np.array(pairs, dtype=float).T
    error = 0.0
    for low, high in itertools.pairwise(EDGES):
        inside = (said >= low) & (said < high)
        if not inside.any():
            continue
        error += inside.mean() * abs(said[inside].mean() - true[inside].mean())
        print(
            f"{title:8s} {low:.2f}-{min(high, 1):.2f}  {inside.sum():5d}"
            f"  said {said[inside].mean():.3f}  true {true[inside].mean():.3f}"
        )
    print(f"{title:8s} expected calibration error {error:.4f}")


def main() -> None:
    """Print decoys named, reliability and calibration error."""
    each = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    rng = np.random.default_rng(23)
    own, wrong, named = [], [], []
    for name, whole, bearing, truth, shaft_hz, quantity in takes():
        heard = told(whole, shaft_hz, quantity, bearing.elements, bearing.ball / bearing.pitch)
        own += [(e.probability, e.name == truth) for e in heard.elements]
        for elements, ratio in decoys(bearing, each, rng):
            heard = told(whole, shaft_hz, quantity, elements, ratio)
            wrong += [(e.probability, False) for e in heard.elements]
            if heard.named in ("outer", "inner", "roller", "cage"):
                order = heard.element(heard.named).score.order_found
                named.append(f"{name}: {elements} elements, {heard.named} at {order:.3f}")
    print(f"{len(wrong) // 4} wrong bearings tried, {len(named)} named", *named, sep="\n  ")
    table("own", own)
    table("decoys", wrong)
    table("all", own + wrong)


if __name__ == "__main__":
    main()
