"""Where every trace is read in one take: orders of the track."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from vibecheck.diagnosis.chance.families import Family, bearing_families
from vibecheck.diagnosis.readings.belts import belt_steps, expected_rate
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.since.levels import (
    AT_WORK,
    BELT_APART,
    BUZZ,
    HALVES,
    HUM,
    MANY,
    MESHES,
    SIDES,
    STRANGE,
    Numbers,
    Trace,
    resting,
)
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.machine.bearings import orders_of

FOLDED: Numbers = np.arange(1.0, 5.0)
"""Multiples of a turn that a knock once a turn consists of, as far as they are looked at."""
OF_A_TURN: Mapping[str, Numbers] = {
    "once": np.array([1.0]),
    "twice": np.array([2.0]),
    "thrice": np.array([3.0]),
    "halves": HALVES,
    "many": MANY,
    "knock": FOLDED,
    "slow knock": FOLDED / 2,
}


def places_of(take: Heard, found: Mapping[Trace, Rise]) -> dict[Trace, Numbers]:
    """Orders at which the traces of a take are read, its own rate first.

    Parameters
    ----------
    take : Heard
    found : mapping of Trace to Rise
        What slips is read where it was found.
    """
    every = {
        **dict(_of_turns(take)),
        **dict(_of_gears(take)),
        **dict(_of_bearings(take, found)),
        **dict(_of_belts(take, found)),
        **dict(_of_others(take, found)),
    }
    return {trace: orders for trace, orders in every.items() if trace in found}


def _of_turns(take: Heard) -> Iterator[tuple[Trace, Numbers]]:
    for name, ratio in take.turning_ratios().items():
        for what, multiples in OF_A_TURN.items():
            yield (what, name), ratio * multiples


def _of_gears(take: Heard) -> Iterator[tuple[Trace, Numbers]]:
    ratios = take.turning_ratios()
    for gear, rotor in resting(take):
        yield ("rest", gear), ratios[rotor] * FOLDED
    for work in take.turning.meshes:
        if work.order is None or work.group != take.group or not work.loaded:
            continue
        tones = work.order * np.array(MESHES, dtype=float)
        yield ("mesh", work.name), tones
        for gear, rotor in ((work.mesh.driver, work.driver), (work.mesh.driven, work.driven)):
            if rotor in ratios:
                yield ("sides", gear), (tones[:, None] + ratios[rotor] * np.array(SIDES)).ravel()
                yield ("blow", gear), ratios[rotor] * FOLDED
                for what, multiples in AT_WORK.items():
                    yield (what, gear), ratios[rotor] * multiples


def windows_of(take: Heard) -> dict[Trace, tuple[float, float]]:
    """Between which orders of the track every known bearing may strike, by what slips at most."""
    return {
        (family.name, bearing): (turn * family.lowest_order, turn * family.highest_order)
        for bearing, family, turn in _families(take)
    }


def _families(take: Heard) -> Iterator[tuple[str, Family, float]]:
    """Every family of every known bearing, with the speed of its shaft over the track's."""
    expected = take.expected_ratios()
    for bearing in take.turning.machine.bearings:
        orders = orders_of(bearing)
        if orders is not None and bearing.shaft in expected:
            for family in bearing_families(
                elements=orders.elements or round(orders.outer + orders.inner),
                orders=dict(orders.items()),
            ):
                yield bearing.name, family, expected[bearing.shaft]


def _of_bearings(take: Heard, found: Mapping[Trace, Rise]) -> Iterator[tuple[Trace, Numbers]]:
    for bearing, family, turn in _families(take):
        rise = found.get((family.name, bearing))
        if rise is not None:
            order = family.order * (1.0 + rise.slip) * turn
            flanks = [order + way * s * turn for s in family.sidebands[:1] for way in (-1, 1)]
            yield (family.name, bearing), np.array([order, 2 * order, 3 * order, *flanks])
    expected = take.expected_ratios()
    for (what, shaft), rise in found.items():
        if what == STRANGE and shaft in expected:
            yield (what, shaft), rise.order * expected[shaft] * np.array(MESHES)


def belt_rate(take: Heard, steps: tuple[str, ...], rise: Rise) -> float | None:
    """How often a belt goes round in a take, in turns of the track; None where it does not run."""
    rate = expected_rate(take, steps)
    return None if rate is None else rate * (1.0 + rise.slip)


def _of_belts(take: Heard, found: Mapping[Trace, Rise]) -> Iterator[tuple[Trace, Numbers]]:
    """Multiples of a belt, but for those that are too near a shaft's tones to be read."""
    shafts = np.array([k * ratio for ratio in take.expected_ratios().values() for k in (1, 2)])
    for steps in belt_steps(take.turning.machine.belts):
        rise = found.get(("belt", steps[0]))
        rate = None if rise is None else belt_rate(take, steps, rise)
        if rate is not None:
            multiples = rate * np.array(MESHES, dtype=float)
            apart = np.abs(multiples[:, None] / shafts - 1.0).min(axis=1) > BELT_APART
            yield ("belt", steps[0]), multiples[apart] if apart.any() else multiples


def _of_others(take: Heard, found: Mapping[Trace, Rise]) -> Iterator[tuple[Trace, Numbers]]:
    ratios, machine = take.turning_ratios(), take.turning.machine
    for pump in machine.pumps:
        if pump.shaft in ratios and pump.vanes.value:
            yield ("vane", pump.name), ratios[pump.shaft] * pump.vanes.value * np.array(MESHES)
    for what, multiples in (("hum", np.array(HUM)), ("buzz", BUZZ)):
        yield (what, "mains"), multiples * machine.supply.mains_hz / take.base_hz
    for what, name in found:
        if what in ("tone", "howl"):
            yield (what, name), np.array([float(name) / take.base_hz])
