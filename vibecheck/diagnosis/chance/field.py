"""Envelope spectra made ready for many trial orders, with what is explained already taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.families import Family
from vibecheck.spectra.envelope import EnvelopeSpectrum

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]

HIGHEST_LINE = 1e4
"""Significance beyond which a line counts for no more. Lines count by the logarithm, and the
strongest of a family does not count at all: no single line can win."""
NOISE_LINE = 0.6
"""Mean of ln(1 + x) in noise: what a line that cannot be looked at counts for."""
SIDEBAND_WEIGHT = 0.5
SURE_LINE = 7.0
"""Lines weaker than this (chance 1 in 1,100) lend no depth."""
HANN_SKIRTS = 1.5
"""Power of a line's three bins under a Hann window, over that of the middle one."""
MAINS_HZ = (100.0, 120.0)


@dataclass(slots=True, eq=False)
class Field:
    """Envelope spectra made ready for many trial orders.

    ``lines_known`` are orders already explained (whole multiples of the shaft, a stronger family
    with its sidebands): they count as noise for everyone, decoys included.
    """

    spectra: Sequence[EnvelopeSpectrum]
    shaft_hz: float
    shaft_uncertainty_hz: float = 0.0
    masked: list[Flags] = field(default_factory=list)
    _near: list[tuple[Numbers, Numbers]] = field(default_factory=list)

    def __post_init__(self) -> None:
        if not self.masked:
            self.masked = [self._shaft_locked(heard) for heard in self.spectra]

    def scale(self, heard: EnvelopeSpectrum) -> float:
        """Axis units per order."""
        return 1.0 if heard.significance.axis == "order" else self.shaft_hz

    def _shaft_locked(self, heard: EnvelopeSpectrum) -> Flags:
        level = heard.significance
        places = level.frequencies
        orders = places / self.scale(heard)
        nearest = np.maximum(np.rint(orders), 1.0)
        doubt = self.shaft_uncertainty_hz / self.shaft_hz * orders
        near = np.abs(orders - nearest) * self.scale(heard)
        masked = near <= 1.6 * level.step + np.minimum(2 * doubt * self.scale(heard), level.step)
        if level.axis == "Hz":
            for mains in MAINS_HZ:
                away = np.abs(places - mains * np.maximum(np.rint(places / mains), 1))
                masked |= away <= 1.6 * level.step
        return np.asarray(masked)

    def without(self, order: float, *, spacings: Sequence[float], harmonics: int = 12) -> Field:
        """The same, with a family at ``order`` and its sidebands also counted as explained."""
        masked = []
        for heard, mask in zip(self.spectra, self.masked, strict=True):
            level = heard.significance
            fresh = mask.copy()
            numbers = np.arange(1, harmonics + 1)[:, None]
            offsets = np.array([0.0, *spacings, *(-each for each in spacings)])
            places = np.abs(numbers * order + offsets) * self.scale(heard) / level.step
            reach = 2.2 + 0.15 * numbers + 0.0 * places
            for way in range(-4, 5):
                index = np.rint(places).astype(np.intp) + way
                near = (abs(way) <= reach) & (index >= 0) & (index < fresh.size)
                fresh[index[near]] |= level.values[index[near]] > 3.0
            masked.append(fresh)
        return Field(self.spectra, self.shaft_hz, self.shaft_uncertainty_hz, masked)

    def scores(self, family: Family, orders: Numbers) -> Numbers:
        """Sum of capped significances at every trial order, shape (spectra, orders)."""
        rows = []
        for heard, near in zip(self.spectra, self._logarithms(), strict=True):
            level, count = heard.significance, near[0].size
            total, most = np.zeros(orders.size), np.zeros(orders.size)
            for harmonic, offset in family.lines():
                places = np.abs(harmonic * orders + offset) * self.scale(heard)
                wide = near[1] if harmonic > 3 else near[0]
                index = np.rint(places / level.step).astype(np.intp)
                inside = index < count
                weight = 1.0 if offset == 0 else SIDEBAND_WEIGHT
                heights = wide[np.minimum(index, count - 1)]
                line = weight * np.where(inside, heights, NOISE_LINE)
                total += line
                np.maximum(most, line, out=most)
            rows.append(total - most)
        return np.array(rows)

    def _logarithms(self) -> list[tuple[Numbers, Numbers]]:
        """What each line counts for, the best within one bin and within two; made only once."""
        if not self._near:
            for heard, mask in zip(self.spectra, self.masked, strict=True):
                values = heard.significance.values.astype(np.float64)
                lines = np.log1p(np.minimum(values, HIGHEST_LINE))
                lines[mask] = NOISE_LINE
                self._near.append((widest(lines, 1), widest(lines, 2)))
        return self._near

    def depths(self, order: float) -> tuple[float, float]:
        """Depth of the first four harmonics, and of their shaft-rate sidebands."""
        own = _depth(self, order, (0.0,), harmonics=4)
        return own, _depth(self, order, (-2.0, -1.0, 1.0, 2.0), harmonics=3)

    def depth_of(self, orders: Sequence[float]) -> float:
        """Depth of just these lines."""
        return _depth(self, 0.0, orders, harmonics=1)

    def traces(self, order: float, *, harmonics: int = 3) -> float:
        """Log evidence for weak lines at an order known beforehand, in the whole range."""
        heard, mask = self.spectra[0], self.masked[0]
        total = 0.0
        for harmonic in range(1, harmonics + 1):
            index = best_bin(heard, mask, harmonic * order * self.scale(heard))
            if index is not None:
                excess = float(heard.significance.values[index]) - np.log(3.0)
                total += float(np.clip(0.5 * excess - 0.5, -0.5, 4.0))
        return total


def _depth(ground: Field, order: float, offsets: Sequence[float], *, harmonics: int) -> float:
    """Between the depth in the whole range and in the band where it is deepest (geometric mean).

    Blows ring in many bands; a ripple of one tone is deep in one narrow band only.
    """
    places = [
        harmonic * order + offset for harmonic in range(1, harmonics + 1) for offset in offsets
    ]
    depths = [
        _depth_in(heard, mask, [abs(place) * ground.scale(heard) for place in places])
        for heard, mask in zip(ground.spectra, ground.masked, strict=True)
        if heard.form == "squared"
    ]
    return float(np.sqrt(depths[0] * max(depths))) if depths else 0.0


def _depth_in(heard: EnvelopeSpectrum, mask: Flags, places: Sequence[float]) -> float:
    total = 0.0
    for number, place in enumerate(places):
        index = best_bin(heard, mask, place)
        if index is not None and heard.significance.values[index] > SURE_LINE:
            total += _line_power(heard, mask, index, reach=2 + number // 4)
    return float(np.sqrt(total))


def _line_power(heard: EnvelopeSpectrum, mask: Flags, index: int, *, reach: int) -> float:
    """Squared depth of a line with its skirts, noise taken off: slip smears lines over bins."""
    low, high = max(index - reach, 0), index + reach + 1
    power = heard.depth.values[low:high].astype(np.float64) ** 2
    floor = power / np.maximum(heard.significance.values[low:high], 1e-9)
    excess = np.where(mask[low:high], 0.0, power - floor)
    return float(max(0.0, excess.sum() / HANN_SKIRTS))


def best_bin(heard: EnvelopeSpectrum, mask: Flags, place: float) -> int | None:
    """The strongest of the three bins nearest a place, None past the end or when all are masked."""
    level = heard.significance
    middle = round(place / level.step)
    low, high = max(middle - 1, 0), middle + 2
    if high > len(level):
        return None
    part = np.where(mask[low:high], 0.0, level.values[low:high])
    index = int(np.argmax(part))
    return low + index if part[index] > 0 else None


def widest(lines: Numbers, reach: int) -> Numbers:
    """Largest within ``reach`` bins."""
    out = lines.copy()
    for offset in range(1, reach + 1):
        out[offset:] = np.maximum(out[offset:], lines[:-offset])
        out[:-offset] = np.maximum(out[:-offset], lines[offset:])
    return out
