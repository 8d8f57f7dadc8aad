"""How the loudness of all else throbs as a belt goes round, over the whole sweep.

A lump or a set in a belt pulls at its shaft once each time it passes a pulley: teeth and bearings
sound a little louder then. The belt's own tone may be too slow to be heard; the throbbing is not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.chance.added_up import STEP
from vibecheck.diagnosis.chance.families import OUTER_SLIP_HIGH, OUTER_SLIP_LOW, Family
from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.chance.surprise import MOST_PER_TAKE, surprise, tail_chance
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.rolling_fields import envelope_orders, line_depth
from vibecheck.diagnosis.readings.turning_lines import turning_lines
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.train import BeltAtWork

WINDOW, REACH = 0.025, 0.004
"""How well a belt's rate is known from its length and its pulley; and how much it differs from take
to take (natural logarithm)."""
MULTIPLES = 8
ANY_CAGE = (0.36, 0.46)
"""Turns of a cage a turn of its shaft, whatever the bearing (geometry of usual ones)."""
SURE = -3.0
"""Decimal logarithm of the chance at which a belt counts as heard so."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeltThrob:
    """One belt, by what throbs with it.

    ``orders`` are its rate over the track's speed in each take, nan where it does not run;
    ``depth`` the depth of the throbbing there, ``surprise`` decimal. ``cage`` says that a bearing's
    cage may come round as often.
    """

    belt: str
    log10_chance: float
    orders: NDArray[np.float64]
    depth: NDArray[np.float64]
    surprise: NDArray[np.float64]
    cage: bool

    @property
    def heard(self) -> bool:
        """Whether decoys do not throb as well, and no cage would."""
        return self.log10_chance < SURE and not self.cage


def belt_throbs(takes: Sequence[Heard]) -> list[BeltThrob]:
    """Every belt whose length the table gives, sought in all takes where it runs."""
    rates: dict[str, dict[int, float]] = {}
    for number, take in enumerate(takes):
        for work in take.turning.belts:
            rate = _rate(take, work)
            if rate is not None:
                rates.setdefault(work.belt.name, {})[number] = rate
    fields = {number: _field(takes[number], rates) for number in range(len(takes))} if rates else {}
    return [_throb(name, here, fields, takes) for name, here in rates.items()]


def _rate(take: Heard, work: BeltAtWork) -> float | None:
    """A belt's rate over the track's speed by the table, by the pulley known best."""
    known = take.expected_ratios()
    driver, driven = (take.turning.nominal_hz(name) for name in (work.driver, work.driven))
    if work.order is None or not driver or not driven:
        return None
    if work.driven in known and take.turning.rotors[work.driven].group == take.group:
        return work.order * driver / driven * known[work.driven]
    return work.order * known[work.driver] if work.driver in known else None


def with_belts(takes: Sequence[Heard], throbs: Sequence[BeltThrob]) -> list[Mapping[str, float]]:
    """Rates of the belts heard, over the track's speed, take by take."""
    return [
        {
            throb.belt: float(throb.orders[number])
            for throb in throbs
            if throb.heard and np.isfinite(throb.orders[number])
        }
        for number in range(len(takes))
    ]


def _field(take: Heard, rates: Mapping[str, Mapping[int, float]]) -> Field:
    """Envelopes on the track's own angle, without what turns."""
    top = (MULTIPLES + 2.0) * max(max(each.values()) for each in rates.values())
    spectra = envelope_orders(take, top)
    masks = [turning_lines(take, level, belts=False) for level in spectra]
    return Field(spectra, take.base_hz, 0.0, masks)


def _sharpened(field: Field, rate: float) -> float:
    """The rate close by at which its multiples are highest, to a fraction of a line's width."""
    tried = rate * np.exp(np.arange(-REACH, REACH, STEP / 2))
    heights = np.zeros(tried.size)
    for level in field.spectra:
        values = level.significance.values
        places = np.rint(np.outer(np.arange(1, MULTIPLES + 1), tried) / level.significance.step)
        inside = np.minimum(places.astype(int), values.size - 1)
        heights += np.log1p(values[inside]).sum(axis=0)
    return float(tried[heights > heights.max() - 1e-6].mean())


def _throb(
    name: str, rates: Mapping[int, float], fields: Mapping[int, Field], takes: Sequence[Heard]
) -> BeltThrob:
    trial = np.exp(np.arange(-0.25, 0.25, 2 * STEP))
    inside = np.abs(np.log(trial)) <= WINDOW
    free = np.abs(np.log(trial)) > 1.5 * WINDOW
    rows = {}
    for number, rate in rates.items():
        family = Family(name="belt", order=rate, harmonics=MULTIPLES)
        rows[number] = surprise(fields[number], family, trial * rate, free)[0]
    reach = 2 * int(REACH / (2 * STEP)) + 1
    held = [maximum_filter1d(np.minimum(row, MOST_PER_TAKE), reach) for row in rows.values()]
    total = np.sum(held, axis=0)
    high = np.flatnonzero(inside & (total > np.where(inside, total, -1.0).max() - 1e-6))
    best = int(high[high - high[0] < 2 * reach].mean())
    places = max(1.0, float(inside.sum()) / reach)
    near = slice(max(0, best - reach), best + reach + 1)
    orders, depth, height = (np.full(len(takes), np.nan) for _ in range(3))
    for number, row in rows.items():
        at = near.start + int(np.argmax(row[near]))
        orders[number] = _sharpened(fields[number], rates[number] * trial[at])
        depth[number] = line_depth(fields[number], float(orders[number]))
        height[number] = row[at]
    return BeltThrob(
        belt=name,
        log10_chance=tail_chance(float(total[best]), total[free], places=places),
        orders=orders,
        depth=depth,
        surprise=height,
        cage=_as_a_cage(takes, orders),
    )


def _as_a_cage(takes: Sequence[Heard], orders: NDArray[np.float64]) -> bool:
    """Whether the cage of one bearing may come round that often, or a few times as often, always.

    Of a bearing whose inside nobody knows any cage is believed, but only at that rate itself.
    """
    pairs = [(t, order) for t, order in zip(takes, orders, strict=True) if np.isfinite(order)]
    for bearing in pairs[0][0].turning.machine.bearings if pairs else ():
        if bearing.kind == "plain":
            continue
        inside = orders_of(bearing)
        slips = 1 + OUTER_SLIP_LOW, 1 + OUTER_SLIP_HIGH
        low, high = ANY_CAGE if inside is None else (inside.cage * each for each in slips)
        known = [take.expected_ratios().get(bearing.shaft) for take, _ in pairs]
        turns = [
            order / ratio
            for (_, order), ratio in zip(pairs, known, strict=True)
            if ratio is not None
        ]
        for times in (1,) if inside is None else (1, 2, 3):
            if turns and all(low <= times * each <= high for each in turns):
                return True
    return False
