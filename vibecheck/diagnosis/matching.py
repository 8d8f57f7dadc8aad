"""How well a family of lines fits envelope spectra, and how often chance would fit as well.

Every family is scored at its own place and, in the same recording, at thousands of places where
nothing is meant to turn: decoys. What decoys reach by accident, with the same lines, the same
slip window and the same choice among bands, is the yardstick.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.families import Family, seconds_to_separate
from vibecheck.spectra.envelope import EnvelopeSpectrum

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]

HIGHEST_LINE = 1e4
"""Significance beyond which a line counts for no more. Lines count by the logarithm, and the
strongest of a family does not count at all: no single line can win."""
NOISE_LINE = 0.6
"""Mean of ln(1 + x) in noise: what a line that cannot be looked at counts for."""
SIDEBAND_WEIGHT = 0.5
GRID = 3e-4
"""Relative spacing of trial orders."""
DECOY_SPAN = 2.0
"""Decoys lie within this factor of the family's order, either way."""
SURE_LINE = 7.0
"""Lines weaker than this (chance 1 in 1,100) lend no depth."""
HANN_SKIRTS = 1.5
"""Power of a line's three bins under a Hann window, over that of the middle one."""
MAINS_HZ = (100.0, 120.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFound:
    """One line of a family: where it was expected, where found, how deep, how likely by chance."""

    harmonic: int
    offset_order: float
    expected_hz: float
    found_hz: float
    depth: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyScore:
    """How a family fared.

    Attributes
    ----------
    statistic : float
        Sum of capped line significances in the best band, in units of the decoys' tail.
    p_value : float
        Chance that a decoy family with the same slip window and choice of bands does as well.
    log10_e : float
        Evidence in tens against chance, safe to add over takes (Vovk & Wang 2021, Ann. Statist.
        49:1736: e = k p^(k-1) with k = 1/2).
    slip : float
        Found order over stated order, less one.
    order_found : float
    depth : float
        Root sum of squares of the first four harmonics' depths in the envelope, between that of
        the whole range and of the band where it is deepest: 0.1 is barely there, 1 means blows
        that rule what is heard.
    sideband_depth : float
        The same of the first and second shaft-rate sidebands of the first three harmonics.
    low, high : float
        The band where it shows best.
    decoys : int
        Independent decoy places tried.
    rivals : tuple of str
        Other explanations this take cannot exclude, in words.
    """

    family: Family
    statistic: float
    height: float
    p_value: float
    log10_e: float
    slip: float
    order_found: float
    depth: float
    sideband_depth: float
    low: float
    high: float
    decoys: int
    lines: tuple[LineFound, ...] = ()
    rivals: tuple[str, ...] = ()
    explanation: str = ""

    @property
    def log10_p(self) -> float:
        """Tens of surprise; 3 means one in a thousand."""
        return float(-np.log10(max(self.p_value, 1e-300)))


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
        for heard, mask in zip(self.spectra, self.masked, strict=True):
            level = heard.significance
            lines = np.log1p(np.minimum(level.values.astype(np.float64), HIGHEST_LINE))
            lines[mask] = NOISE_LINE
            near = [_widest(lines, reach) for reach in (1, 2)]
            total, most = np.zeros(orders.size), np.zeros(orders.size)
            for harmonic, offset in family.lines():
                places = np.abs(harmonic * orders + offset) * self.scale(heard)
                wide = near[1] if harmonic > 3 else near[0]
                index = np.rint(places / level.step).astype(np.intp)
                inside = index < lines.size
                weight = 1.0 if offset == 0 else SIDEBAND_WEIGHT
                heights = wide[np.minimum(index, lines.size - 1)]
                line = weight * np.where(inside, heights, NOISE_LINE)
                total += line
                np.maximum(most, line, out=most)
            rows.append(total - most)
        return np.array(rows)

    def depths(self, order: float) -> tuple[float, float]:
        """Depth of the first four harmonics, and of their shaft-rate sidebands."""
        own = _depth(self, order, (0.0,), harmonics=4)
        return own, _depth(self, order, (-2.0, -1.0, 1.0, 2.0), harmonics=3)

    def traces(self, order: float, *, harmonics: int = 3) -> float:
        """Log evidence for weak lines at an order known beforehand, in the whole range."""
        heard, mask = self.spectra[0], self.masked[0]
        total = 0.0
        for harmonic in range(1, harmonics + 1):
            index = _best_bin(heard, mask, harmonic * order * self.scale(heard))
            if index is not None:
                excess = float(heard.significance.values[index]) - np.log(3.0)
                total += float(np.clip(0.5 * excess - 0.5, -0.5, 4.0))
        return total


def decoy_tail(decoys: Numbers, free: Flags, own: Numbers) -> tuple[float, float]:
    """How far ``own`` (one score per spectrum) lies beyond the decoys' tail, and its chance.

    Every spectrum's scores are put in units of their own scatter, each decoy takes the best of
    all spectra, and the upper twentieth is continued as an exponential.
    """
    middle = np.median(decoys[:, free], axis=1)
    spread = np.median(np.abs(decoys[:, free] - middle[:, None]), axis=1) + 0.5
    best_decoys = np.max((decoys[:, free] - middle[:, None]) / spread[:, None], axis=0)
    height = float(np.max((own - middle) / spread))
    threshold = float(np.quantile(best_decoys, 0.95))
    tail = max(float(np.mean(best_decoys[best_decoys >= threshold] - threshold)), 0.05)
    beyond = (height - threshold) / tail
    chance = 0.05 * np.exp(-beyond) if beyond > 0 else float(np.mean(best_decoys >= height))
    return beyond, max(float(chance), 1e-300)


def score_families(
    spectra: Sequence[EnvelopeSpectrum],
    families: Sequence[Family],
    *,
    shaft_hz: float,
    shaft_uncertainty_hz: float = 0.0,
) -> list[FamilyScore]:
    """Score families against one another, the strongest first taken out of the others' way.

    Returns
    -------
    list of FamilyScore
        In the order of ``families``. The strongest is judged against decoys in the recording
        without its own lines; the others in what it leaves unexplained.
    """
    ground = Field(spectra, shaft_hz, shaft_uncertainty_hz)
    orders = [family.order for family in families]
    first = [score_family(ground, family, others=orders) for family in families]
    lead = max(
        range(len(families)),
        key=lambda index: first[index].height if families[index].name != "cage" else -np.inf,
    )
    left = ground.without(first[lead].order_found, spacings=_peeled(families[lead]))
    scores = []
    for index, family in enumerate(families):
        own = ground if index == lead else left
        scores.append(score_family(own, family, others=orders, decoys_from=left))
    return scores


def score_family(
    ground: Field,
    family: Family,
    *,
    others: Sequence[float] = (),
    decoys_from: Field | None = None,
) -> FamilyScore:
    """Score one family against decoys in the same recording.

    Parameters
    ----------
    ground : Field
    others : sequence of float
        Orders of families meant to be there; decoys keep away from them and simple ratios of them.
    decoys_from : Field, optional
        Where decoys are scored; default ``ground``.
    """
    orders = _trial_orders(family)
    inside = (orders >= family.lowest_order) & (orders <= family.highest_order)
    free = _decoy_places(orders, family, others)
    own = ground.scores(family, orders)
    decoys = own if decoys_from is None else decoys_from.scores(family, orders)
    middle = np.median(decoys[:, free], axis=1)
    spread = np.median(np.abs(decoys[:, free] - middle[:, None]), axis=1) + 0.5
    relative = (own - middle[:, None]) / spread[:, None]
    height = np.where(inside, relative.max(axis=0), -np.inf)
    best = int(np.argmax(height))
    beyond, at_point = decoy_tail(decoys, free, own[:, best])
    places = _independent(ground, family)
    p_value = float(-np.expm1(places * np.log1p(-min(max(at_point, 1e-300), 1 - 1e-12))))
    p_value = max(p_value, at_point)
    row = int(np.argmax(relative[:, best]))
    order = float(orders[best])
    span = np.log(family.highest_order / family.lowest_order) + GRID
    return FamilyScore(
        family=family,
        statistic=beyond,
        height=float(height[best]),
        p_value=min(1.0, p_value),
        log10_e=float(np.log10(0.5) - 0.5 * np.log10(max(p_value, 1e-300))),
        slip=order / family.order - 1.0,
        order_found=order,
        depth=_depth(ground, order, (0.0,), harmonics=4),
        sideband_depth=_depth(ground, order, (-2.0, -1.0, 1.0, 2.0), harmonics=3),
        low=ground.spectra[row].low,
        high=ground.spectra[row].high,
        decoys=int(free.sum() * GRID / span * places),
        lines=_lines_found(ground, row, family, order),
        rivals=tuple(_rivals(ground, row, order)),
    )


def _trial_orders(family: Family) -> Numbers:
    low = min(family.order / DECOY_SPAN, family.lowest_order)
    high = max(family.order * DECOY_SPAN, family.highest_order)
    orders = np.exp(np.arange(np.log(low), np.log(high), GRID))
    return np.unique(np.append(orders, np.linspace(family.lowest_order, family.highest_order, 9)))


def _decoy_places(orders: Numbers, family: Family, others: Sequence[float]) -> Flags:
    """Orders at which nothing is meant to be: not near any family, simple ratios, half orders."""
    free = np.abs(2 * orders - np.rint(2 * orders)) > 0.02
    for centre in {family.order, *others}:
        for ratio in (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0):
            place = centre * ratio
            free &= (orders < place * 0.965) | (orders > place * 1.035)
    return free if free.sum() > 50 else np.ones(orders.size, dtype=bool)


def _independent(ground: Field, family: Family) -> float:
    """How many different answers the slip window holds."""
    level = ground.spectra[0].significance
    width = (family.highest_order - family.lowest_order) * ground.scale(ground.spectra[0])
    return float(max(1.0, 1.0 + 2.0 * width / level.step))


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
        index = _best_bin(heard, mask, place)
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


def _best_bin(heard: EnvelopeSpectrum, mask: Flags, place: float) -> int | None:
    level = heard.significance
    middle = round(place / level.step)
    low, high = max(middle - 1, 0), middle + 2
    if high > len(level):
        return None
    part = np.where(mask[low:high], 0.0, level.values[low:high])
    index = int(np.argmax(part))
    return low + index if part[index] > 0 else None


def _lines_found(ground: Field, row: int, family: Family, order: float) -> tuple[LineFound, ...]:
    heard, mask = ground.spectra[row], ground.masked[row]
    lines = []
    for harmonic, offset in family.lines():
        place = abs(harmonic * order + offset) * ground.scale(heard)
        index = _best_bin(heard, mask, place)
        if index is None:
            continue
        strength = float(heard.significance.values[index])
        step = heard.significance.step * (
            ground.shaft_hz if heard.significance.axis == "order" else 1.0
        )
        lines.append(
            LineFound(
                harmonic=harmonic,
                offset_order=offset,
                expected_hz=abs(harmonic * order + offset) * ground.shaft_hz,
                found_hz=index * step,
                depth=float(heard.depth.values[index]),
                chance=float(min(1.0, 3.0 * np.exp(-strength))),
            )
        )
    return tuple(lines)


def _rivals(ground: Field, row: int, order: float) -> list[str]:
    """Whole shaft multiples this take is too short to tell from the family."""
    heard = ground.spectra[row]
    nearest = round(order)
    mask = ground.masked[row]
    seen = 1
    for harmonic in range(2, 7):
        index = _best_bin(heard, mask, harmonic * order * ground.scale(heard))
        if index is not None and heard.significance.values[index] > SURE_LINE:
            seen = harmonic
    apart = seen * abs(order - nearest) * ground.scale(heard)
    if nearest < 1 or apart > 3.0 * heard.significance.step:
        return []
    seconds = seconds_to_separate(seen * order, seen * nearest, ground.shaft_hz)
    longer = "no length would do" if not np.isfinite(seconds) else f"{seconds:.0f} s would do"
    return [f"{nearest} times shaft speed lies within the resolution of this take; {longer}"]


def _peeled(family: Family) -> tuple[float, ...]:
    whole = (1.0, 2.0, 3.0, 4.0)
    cage = family.order / family.elements if family.name == "outer" and family.elements else 0.0
    turns = (cage, 2 * cage, 3 * cage) if cage else ()
    return (*whole, *turns, *(each for each in family.sidebands if each not in whole))


def _widest(lines: Numbers, reach: int) -> Numbers:
    """Largest within ``reach`` bins."""
    out = lines.copy()
    for offset in range(1, reach + 1):
        out[offset:] = np.maximum(out[offset:], lines[:-offset])
        out[:-offset] = np.maximum(out[:-offset], lines[offset:])
    return out
