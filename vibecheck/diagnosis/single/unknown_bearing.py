"""Finding a bearing whose numbers nobody knows.

Families at orders that are no whole multiple of the shaft are rolling bearings or belts or other
shafts. Two of them whose sum is a whole number n are the two races of a bearing with n elements:
outer + inner = n, whatever its size and however it slips.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.field import Field, Flags, Numbers
from vibecheck.diagnosis.chance.matching import decoy_tail, scatter
from vibecheck.spectra.bands import envelope_spectra
from vibecheck.spectra.envelope import Transform, transformed
from vibecheck.spectra.spectrum import Floats
from vibecheck.spectra.speed import SpeedFound, speed_from_comb

LOWEST_ORDER, HIGHEST_ORDER = 1.6, 16.0
GRID = 3e-4
MOST_FAMILIES = 4
BELIEVED = 1e-2
SURE = 1e-3
"""Chance that both families of a pair must beat before their sum is read."""
OUTER_SHARE = (0.28, 0.48)
"""Outer order over element count, (1 - d/D cos a)/2, for balls from tiny to as big as will fit."""
FILLING_DEG = 186.0
TRACES_TRUST = 0.5
"""Share of the weight of faint lines that is believed: any crowded spectrum holds a few."""
FEWEST, MOST = 5, 40
SAME_SUM = 0.025
"""How far the sum of two race orders may miss a whole number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeFamily:
    """A family found with no geometry: its order, its doubt, its chance and depth."""

    order: float
    uncertainty_order: float
    p_value: float
    depth: float
    sideband_depth: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One way of reading the families: element count, race at fault, and how likely."""

    elements: int
    race: str
    outer: float
    inner: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnknownBearing:
    """What a take says about a bearing of unknown size.

    ``readings`` are in order of likelihood; ``both_races`` says whether the two races' families
    were both found, which settles the count. ``settle`` is what would decide the rest.
    """

    speed: SpeedFound
    shaft_hz: float
    families: tuple[FreeFamily, ...]
    readings: tuple[Reading, ...]
    both_races: bool
    settle: str

    @property
    def found(self) -> bool:
        """Whether any family stands out."""
        return bool(self.families)


def unknown_bearing(
    samples: Floats | Transform,
    rate_hz: float = 0.0,
    *,
    shaft_hz: float,
    search: float = 0.10,
    low_hz: float = 0.0,
    high_hz: float = 0.0,
) -> UnknownBearing:
    """Look for a rolling bearing on a shaft of known speed, with no geometry at all."""
    whole = samples if isinstance(samples, Transform) else transformed(samples, rate_hz)
    speed = speed_from_comb(whole, nominal_hz=shaft_hz, search=search)
    used = speed.hz if speed.found else shaft_hz
    spectra = envelope_spectra(
        whole, top=36.0 * used, low=low_hz, high=high_hz, track=speed.track, mean_hz=used
    )
    doubt = speed.uncertainty_hz if speed.found else 0.002 * used
    ground = Field(spectra, used, doubt)
    families = _free_families(ground)
    readings, both = _read(ground, families)
    return UnknownBearing(
        speed=speed,
        shaft_hz=used,
        families=tuple(families),
        readings=tuple(readings),
        both_races=both,
        settle=_settle(families, readings, both),
    )


def _free_families(ground: Field) -> list[FreeFamily]:
    """The strongest families at orders that are not whole or half, one taken out after another."""
    orders = np.exp(np.arange(np.log(LOWEST_ORDER), np.log(HIGHEST_ORDER), GRID))
    free = np.abs(2 * orders - np.rint(2 * orders)) > 0.02
    shape = Family(name="free", order=1.0)
    found: list[FreeFamily] = []
    left, own = ground, ground.scores(shape, orders)
    for _ in range(MOST_FAMILIES):
        best, row = _highest(own, free)
        order = float(orders[best])
        after = left.without(order, spacings=(1.0, 2.0, 3.0, 4.0))
        rest = after.scores(shape, orders)
        beyond, at_point = decoy_tail(rest, free, own[:, best])
        tries = orders.size * GRID * order / (ground.spectra[row].significance.step) * 2.0
        p_value = float(min(1.0, at_point * tries * ground.scale(ground.spectra[row])))
        if p_value > BELIEVED or beyond <= 0:
            break
        depth, flanks = left.depths(order)
        step = ground.spectra[row].significance.step / ground.scale(ground.spectra[row])
        relative = ground.shaft_uncertainty_hz / ground.shaft_hz
        found.append(
            FreeFamily(
                order=order,
                uncertainty_order=float(np.hypot(0.3 * step, relative * order)),
                p_value=p_value,
                depth=depth,
                sideband_depth=flanks,
            )
        )
        left, own = after, rest
    return found


def _highest(scores: Numbers, free: Flags) -> tuple[int, int]:
    middle, spread = scatter(scores[:, free])
    relative = (scores - middle[:, None]) / spread[:, None]
    best = int(np.argmax(np.where(free, relative.max(axis=0), -np.inf)))
    return best, int(np.argmax(relative[:, best]))


def _read(ground: Field, families: Sequence[FreeFamily]) -> tuple[list[Reading], bool]:
    """Pairs that sum to a whole number; else the strongest with every count it allows."""
    pairs = []
    sure = [family for family in families if family.p_value < SURE]
    for index, one in enumerate(sure):
        for other in sure[index + 1 :]:
            total = one.order + other.order
            count = round(total)
            low = min(one.order, other.order)
            fits = OUTER_SHARE[0] <= low / max(count, 1) <= OUTER_SHARE[1]
            if abs(total - count) <= SAME_SUM and fits and FEWEST <= count <= MOST:
                stronger = one.order if one.depth >= other.depth else other.order
                race = "outer" if stronger == low else "inner"
                pairs.append(
                    Reading(elements=count, race=race, outer=low, inner=count - low, share=1.0)
                )
    if pairs:
        return pairs[:1], True
    return (_single(ground, families[0]) if families else []), False


def _single(ground: Field, family: FreeFamily) -> list[Reading]:
    """Every (count, race) one family allows, weighed by traces of the other race and the cage."""
    readings, weights = [], []
    for count in range(FEWEST, MOST + 1):
        for race in ("outer", "inner"):
            outer = family.order if race == "outer" else count - family.order
            if not OUTER_SHARE[0] <= outer / count <= OUTER_SHARE[1]:
                continue
            inner = count - outer
            traces = ground.traces(inner if race == "outer" else outer)
            traces += ground.traces(outer / count)
            traces = TRACES_TRUST * traces + _usual(count, outer / count)
            readings.append((count, race, outer, inner))
            weights.append(traces)
    if not readings:
        return []
    share = np.exp(np.array(weights) - max(weights))
    share /= share.sum()
    made = [
        Reading(elements=count, race=race, outer=outer, inner=inner, share=float(part))
        for (count, race, outer, inner), part in zip(readings, share, strict=True)
    ]
    return sorted(made, key=lambda reading: -reading.share)


def filled_ratio(count: int) -> float:
    """Ball over pitch diameter of a deep-groove bearing with so many balls.

    Balls are put in while the rings stand eccentric, which leaves room for about 186 degrees of
    them: 2 (count - 1) asin(d / D) = 186 degrees (Harris, Rolling Bearing Analysis; from memory).

    >>> [round(filled_ratio(count), 3) for count in (8, 9, 16)]
    [0.23, 0.202, 0.108]
    """
    return float(np.sin(np.radians(FILLING_DEG / 2) / (count - 1)))


def _usual(count: int, share: float) -> float:
    """Log prior: 7 to 16 elements, filled as ball bearings are or fuller (rollers)."""
    count_prior = 0.0 if 7 <= count <= 16 else (-0.7 if 17 <= count <= 30 else -2.0)
    over = (1.0 - 2.0 * share) / filled_ratio(count)
    ball = 0.8 / 0.1 * np.exp(-0.5 * ((over - 1.0) / 0.1) ** 2)
    roller = 0.2 / 0.25 * np.exp(-0.5 * ((over - 1.25) / 0.25) ** 2)
    return count_prior + float(np.log(ball + roller + 1e-3))


def _settle(families: Sequence[FreeFamily], readings: Sequence[Reading], both: bool) -> str:
    if not families:
        return "Nothing at a broken multiple of the shaft stands out. Record longer, nearer."
    if both:
        return (
            f"Both races add up to {readings[0].elements}: count the balls or rollers to confirm."
        )
    if not readings:
        return "No ball bearing on this shaft fits: look for a belt or another shaft's multiple."
    return (
        "One race only: the count of balls or rollers, the number on the bearing, or bore and"
        " outside diameter would settle which."
    )
