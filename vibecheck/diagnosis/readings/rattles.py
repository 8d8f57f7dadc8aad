"""Does the loudness of all that is heard come and go with half turns of a shaft?

Something loose rattles at every other turn as gladly as at every one. Its blows are seldom heard as
tones; that they come at half multiples of the shaft is seen in the loudness of the sound, as a comb
over what lies between.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import may_be_a_belt
from vibecheck.diagnosis.readings.rolling_fields import envelope_orders
from vibecheck.diagnosis.readings.turning_lines import comb_height
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Machine
from vibecheck.spectra.envelope import EnvelopeSpectrum

Floats = NDArray[np.float64]

TURNS = np.arange(7.0)
HALVES = TURNS + 0.5
QUARTERS = np.sort(np.concatenate([TURNS + 0.25, TURNS + 0.75]))
LEAST, NOISE = 2.0, 0.5
"""Power over the floor that what lies between has at least; and what noise leaves in doubt."""
OTHERS, REACH = 12, 2.5
"""Multiples of other shafts that are left out; and how near, in bins."""
HALF_CAGE = 0.02
"""A cage this near half a turn (thrust bearings) sounds the same."""


def rattles(
    takes: Sequence[Heard], fields: Sequence[Mapping[str, Field]]
) -> list[dict[str, float]]:
    """Of every take and rotor: height of the half multiples over the quarters, natural logarithm.

    Parameters
    ----------
    takes : sequence of Heard
    fields : sequence of mapping
        Envelope spectra on the angle of shafts, where they were made already.

    Returns
    -------
    list of dict
        nan where what else turns covers the half multiples, or a cage comes round as often.
    """
    return [
        _of_take(take, next(iter(field.items()), None))
        for take, field in zip(takes, fields, strict=True)
    ]


def _of_take(take: Heard, made: tuple[str, Field] | None) -> dict[str, float]:
    known = take.turning_ratios()
    if not known:
        return {}
    if made is not None and made[0] in known:
        spectra, base = made[1].spectra, known[made[0]]
    else:
        spectra, base = envelope_orders(take, 8.0 * max(known.values())), 1.0
    return {
        name: _rattle(take, name, [(level, ratio / base) for level in spectra])
        for name, ratio in known.items()
    }


def _rattle(take: Heard, name: str, spectra: Iterable[tuple[EnvelopeSpectrum, float]]) -> float:
    if _half_cage(take.turning.machine, name):
        return float("nan")
    known = take.turning_ratios()
    others = [ratio / known[name] for other, ratio in known.items() if other != name]
    others += [rate / known[name] for rate in take.belts.values()]
    free = [
        np.array([order for order in each if not may_be_a_belt(take, order * known[name])])
        for each in (HALVES, QUARTERS)
    ]
    highest = float("nan")
    for level, scale in spectra:
        step = level.significance.step / scale
        halves, quarters = (comb_height(level, scale * _free(each, step, others)) for each in free)
        if halves and quarters:
            over = np.log((halves + NOISE) / (max(quarters, LEAST) + NOISE))
            highest = float(np.fmax(highest, over))
    return highest


def _free(orders: Floats, step: float, others: Sequence[float]) -> Floats:
    """Orders that the spectrum resolves, and nothing else that turns has lines on."""
    foreign = np.array([k * other for other in others for k in range(1, OTHERS + 1)])
    orders = orders[orders > 1.5 * step]
    if not foreign.size:
        return orders
    free: Floats = orders[np.abs(orders[:, None] - foreign[None, :]).min(axis=1) > REACH * step]
    return free


def _half_cage(machine: Machine, name: str) -> bool:
    """Whether a bearing of the shaft has a cage that comes round about every other turn."""
    inside = (orders_of(bearing) for bearing in machine.bearings if bearing.shaft == name)
    return any(each is not None and abs(each.cage / 0.5 - 1.0) < HALF_CAGE for each in inside)
