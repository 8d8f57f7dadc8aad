"""How well a family of lines fits envelope spectra, and how often chance would fit as well.

Every family is scored at its own place and, in the same recording, at thousands of places where
nothing is meant to turn: decoys. What decoys reach by accident, with the same lines, the same
slip window and the same choice among bands, is the yardstick.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.chance.families import Family, seconds_to_separate
from vibecheck.diagnosis.chance.field import SURE_LINE, Flags, Numbers, best_bin
from vibecheck.diagnosis.chance.field import Field as Field

GRID = 3e-4
"""Relative spacing of trial orders."""
SIBLING_LEAD = 2.0
"""By how much (ln) a family's neighbour must beat it to be taken for the true one."""
MANY = 900
DEEP = 0.3
"""Depth from which it is asked whether a family is another's double or half."""
DECOY_SPAN = 2.0
"""Decoys lie within this factor of the family's order, either way."""


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


def decoy_tail(decoys: Numbers, free: Flags, own: Numbers) -> tuple[float, float]:
    """How far ``own`` (one score per spectrum) lies beyond the decoys' tail, and its chance.

    Every spectrum's scores are put in units of their own scatter, each decoy takes the best of
    all spectra, and the upper twentieth is continued as an exponential. Where decoys beat it
    outright (a stronger family that nobody told of), their share counts.
    """
    middle, spread = scatter(decoys[:, free])
    best_decoys = np.max((decoys[:, free] - middle[:, None]) / spread[:, None], axis=0)
    height = float(np.max((own - middle) / spread))
    threshold = float(np.quantile(best_decoys, 0.95))
    tail = max(float(np.mean(best_decoys[best_decoys >= threshold] - threshold)), 0.05)
    beyond = (height - threshold) / tail
    beaten = float(np.mean(best_decoys >= height))
    chance = max(0.05 * float(np.exp(-beyond)), beaten) if beyond > 0 else beaten
    return beyond, max(chance, 1e-300)


def scatter(decoys: Numbers) -> tuple[Numbers, Numbers]:
    """Median and median deviation of each row, the latter never next to nothing.

    Neighbouring trial orders meet the same lines, so of many every third tells as much.
    """
    decoys = decoys[:, ::3] if decoys.shape[1] > MANY else decoys
    middle = np.median(decoys, axis=1)
    return middle, np.median(np.abs(decoys - middle[:, None]), axis=1) + 0.5


def score_families(ground: Field, families: Sequence[Family]) -> list[FamilyScore]:
    """Score families against one another, the strongest first taken out of the others' way.

    Returns
    -------
    list of FamilyScore
        In the order of ``families``. The strongest is judged against decoys in the recording
        without its own lines; the others in what it leaves unexplained.
    """
    if not families:
        return []
    trials = [_Trial(family, [each.order for each in families]) for family in families]
    heights = [trial.highest(ground) for trial in trials]
    lead = max(
        range(len(families)),
        key=lambda index: heights[index][0] if families[index].name != "cage" else -np.inf,
    )
    left = ground.without(heights[lead][1], spacings=_peeled(families[lead]))
    return [
        trial.judged(ground if index == lead else left, left) for index, trial in enumerate(trials)
    ]


def score_family(
    ground: Field, family: Family, *, others: Sequence[float] = (), decoys_from: Field | None = None
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
    return _Trial(family, others).judged(ground, decoys_from or ground)


class _Trial:
    """One family at its own places and at decoys'."""

    def __init__(self, family: Family, others: Sequence[float]) -> None:
        self.family = family
        self.orders = _trial_orders(family)
        self.inside = (self.orders >= family.lowest_order) & (self.orders <= family.highest_order)
        self.free = _decoy_places(self.orders, family, others)
        self.scored: dict[int, Numbers] = {}

    def scores(self, ground: Field) -> Numbers:
        """Scores at every trial order, computed once for each field."""
        if id(ground) not in self.scored:
            self.scored[id(ground)] = ground.scores(self.family, self.orders)
        return self.scored[id(ground)]

    def highest(self, ground: Field, decoys: Field | None = None) -> tuple[float, float, int, int]:
        """Height over the decoys' scatter, order, and where: (trial order, spectrum)."""
        middle, spread = scatter(self.scores(decoys or ground)[:, self.free])
        relative = (self.scores(ground) - middle[:, None]) / spread[:, None]
        height = np.where(self.inside, relative.max(axis=0), -np.inf)
        best = int(np.argmax(height))
        row = int(np.argmax(relative[:, best]))
        return float(height[best]), float(self.orders[best]), best, row

    def judged(self, ground: Field, decoys: Field) -> FamilyScore:
        """The family's score, with decoys from another field."""
        family = self.family
        height, order, best, row = self.highest(ground, decoys)
        beyond, at_point = decoy_tail(self.scores(decoys), self.free, self.scores(ground)[:, best])
        places = _independent(ground, family)
        p_value = float(-np.expm1(places * np.log1p(-min(at_point, 1 - 1e-12))))
        p_value = min(1.0, max(p_value, at_point))
        span = np.log(family.highest_order / family.lowest_order) + GRID
        depth, sideband_depth = ground.depths(order)
        return FamilyScore(
            family=family,
            statistic=beyond,
            height=height,
            p_value=p_value,
            log10_e=float(np.log10(0.5) - 0.5 * np.log10(p_value)),
            slip=order / family.order - 1.0,
            order_found=order,
            depth=depth,
            sideband_depth=sideband_depth,
            low=ground.spectra[row].low,
            high=ground.spectra[row].high,
            decoys=int(self.free.sum() * GRID / span * places),
            lines=_lines_found(ground, row, family, order),
            rivals=tuple(_rivals(ground, row, order, depth)),
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


def _lines_found(ground: Field, row: int, family: Family, order: float) -> tuple[LineFound, ...]:
    heard, mask = ground.spectra[row], ground.masked[row]
    lines = []
    for harmonic, offset in family.lines():
        place = abs(harmonic * order + offset) * ground.scale(heard)
        index = best_bin(heard, mask, place)
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


def _rivals(ground: Field, row: int, order: float, depth: float) -> list[str]:
    """What else explains the family: a stronger one whose sideband it is, or whole multiples."""
    heard = ground.spectra[row]
    better = _sibling(ground, row, order)
    if better:
        return [f"a family at {better:.3f} times shaft speed fits better; this is its sideband"]
    double = _half_or_double(ground, order) if depth > DEEP else ""
    if double:
        return [double]
    nearest = round(order)
    mask = ground.masked[row]
    seen = 1
    for harmonic in range(2, 7):
        index = best_bin(heard, mask, harmonic * order * ground.scale(heard))
        if index is not None and heard.significance.values[index] > SURE_LINE:
            seen = harmonic
    apart = seen * abs(order - nearest) * ground.scale(heard)
    if nearest < 1 or apart > 3.0 * heard.significance.step:
        return []
    seconds = seconds_to_separate(seen * order, seen * nearest, ground.shaft_hz)
    longer = "no length would do" if not np.isfinite(seconds) else f"{seconds:.0f} s would do"
    return [f"{nearest} times shaft speed lies within the resolution of this take; {longer}"]


def _half_or_double(ground: Field, order: float) -> str:
    """In words, whether a deep family is another's double or half."""
    odd, even = (ground.depth_of([n * order, (n + 2) * order]) for n in (1, 2))
    slower = ground.depth_of([order / 2, 3 * order / 2])
    if slower > max(DEEP, float(np.hypot(odd, even))):
        return f"a family at {order / 2:.3f} times shaft speed fits better; this is its double"
    if even > max(DEEP, 2.0 * odd):
        return f"only every second line is there: {2 * order:.3f} times shaft speed fits better"
    return ""


def _sibling(ground: Field, row: int, order: float) -> float:
    """A family some whole multiples of the shaft away whose own harmonics are clearly stronger."""
    shape = Family(name="plain", order=order, harmonics=4)
    step = ground.spectra[row].significance.step / ground.scale(ground.spectra[row])
    apart = np.array([-4, -3, -2, -1, 1, 2, 3, 4])
    places = (order + apart)[:, None] + step * np.arange(-2, 3)
    places = np.where(places > 0.9, places, order)
    scores = ground.scores(shape, np.append(places.ravel(), order))[row]
    best = int(np.argmax(scores[:-1]))
    return float(places.ravel()[best]) if scores[best] > scores[-1] + SIBLING_LEAD else 0.0


def _peeled(family: Family) -> tuple[float, ...]:
    whole = (1.0, 2.0, 3.0, 4.0)
    cage = family.order / family.elements if family.name == "outer" and family.elements else 0.0
    turns = (cage, 2 * cage, 3 * cage) if cage else ()
    return (*whole, *turns, *(each for each in family.sidebands if each not in whole))
