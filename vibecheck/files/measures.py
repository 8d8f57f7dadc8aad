"""Units as people write them, and what they measure."""

from __future__ import annotations

from dataclasses import dataclass

from vibecheck.errors import UsageError
from vibecheck.recording import Quantity
from vibecheck.units import MM_PER_INCH


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A quantity in a unit; multiply the file's numbers by ``factor`` to get ``unit``."""

    quantity: Quantity
    unit: str
    factor: float = 1.0
    notes: tuple[str, ...] = ()


MEASURES: dict[str, tuple[Quantity, str, float]] = {
    "g": ("acceleration", "g", 1.0),
    "g's": ("acceleration", "g", 1.0),
    "gn": ("acceleration", "g", 1.0),
    "mg": ("acceleration", "g", 1e-3),
    "m/s2": ("acceleration", "m/s^2", 1.0),
    "m/s/s": ("acceleration", "m/s^2", 1.0),
    "ms-2": ("acceleration", "m/s^2", 1.0),
    "mm/s2": ("acceleration", "m/s^2", 1e-3),
    "cm/s2": ("acceleration", "m/s^2", 1e-2),
    "mm/s": ("velocity", "mm/s", 1.0),
    "m/s": ("velocity", "mm/s", 1e3),
    "in/s": ("velocity", "mm/s", MM_PER_INCH),
    "ips": ("velocity", "mm/s", MM_PER_INCH),
    "mm": ("displacement", "mm", 1.0),
    "um": ("displacement", "mm", 1e-3),
    "mil": ("displacement", "mm", MM_PER_INCH / 1000),
    "in": ("displacement", "mm", MM_PER_INCH),
    "pa": ("pressure", "Pa", 1.0),
    "mpa": ("pressure", "Pa", 1e-3),
    "v": ("unknown", "V", 1.0),
    "mv": ("unknown", "V", 1e-3),
    "volt": ("unknown", "V", 1.0),
    "volts": ("unknown", "V", 1.0),
    "fs": ("unknown", "FS", 1.0),
}


def known_measure(written: str) -> Measure | None:
    """What a written unit measures, None when it is not known.

    >>> known_measure("mg").factor
    0.001
    """
    plain = written.strip().lower().replace("²", "2").replace("^", "").replace("**", "")
    plain = plain.replace("µ", "u").replace("μ", "u").replace("·", "").replace(" ", "")
    if plain not in MEASURES:
        return None
    quantity, unit, factor = MEASURES[plain]
    return Measure(quantity=quantity, unit=unit, factor=factor)


def measure(written: str) -> Measure:
    """What a written unit measures; an error when it is not known.

    >>> measure("m/s²").unit
    'm/s^2'
    """
    found = known_measure(written)
    if found is None:
        raise UsageError(f"no unit {written!r} is known", "Use g, m/s^2, mm/s, mm, Pa or V.")
    return found
