"""Lengths and forces as people at a machine write them."""

from __future__ import annotations

import re

from vibecheck.errors import UsageError
from vibecheck.units import MM_PER_INCH

LENGTHS_MM = {
    "mm": 1.0,
    "um": 1e-3,
    "micron": 1e-3,
    "microns": 1e-3,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    '"': MM_PER_INCH,
    "thou": MM_PER_INCH / 1000,
    "mil": MM_PER_INCH / 1000,
    "tenth": MM_PER_INCH / 10_000,
    "tenths": MM_PER_INCH / 10_000,
}
FORCES_N = {"n": 1.0, "kg": 9.80665, "kgf": 9.80665, "lb": 4.4482216, "lbf": 4.4482216}


def length_mm(written: str) -> float:
    """A length in millimetres; a unit must be written.

    >>> round(length_mm("0.5 thou"), 5), length_mm("0,02 mm"), length_mm('18"')
    (0.0127, 0.02, 457.2)
    """
    return _quantity(written, LENGTHS_MM, "a length such as 0.0005in, 0.5thou, 0.01mm or 12um")


def force_n(written: str) -> float:
    """A force in newtons; a unit must be written.

    >>> round(force_n("50 lb"), 1)
    222.4
    """
    return _quantity(written, FORCES_N, "a force such as 50lb, 20kg or 220N")


def inches_and_mm(value_mm: float) -> str:
    """A length in both units, as a machinist reads it.

    >>> inches_and_mm(0.0127)
    '0.0127 mm (0.0005 in)'
    """
    return f"{value_mm:.4g} mm ({value_mm / MM_PER_INCH:.3g} in)"


def _quantity(written: str, units: dict[str, float], wanted: str) -> float:
    match = re.fullmatch(r"\s*([-+]?\d*[.,]?\d+)\s*([a-zA-Zµμ\"]+)\s*", written)
    unit = match[2].lower().replace("µ", "u").replace("μ", "u") if match else ""
    if match is None or unit not in units:
        raise UsageError(f"cannot read {written!r}", f"Write {wanted}.")
    return float(match[1].replace(",", ".")) * units[unit]
