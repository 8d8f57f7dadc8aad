"""How high everything that a part may raise stands in one take, over what lies beside it.

Nothing is judged here. Levels are decibels over the floor of the same take, or over another level
of the same take, so that the gain of the sensor, which is never twice the same, drops out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.chance.families import Family, bearing_families
from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.readings.belts import belt_steps, expected_rate, free_multiples
from vibecheck.diagnosis.readings.heard import Heard, turn_profiles
from vibecheck.diagnosis.readings.lines import NEAR_HUM, LineSpectrum
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.rolling_fields import rolling_fields
from vibecheck.diagnosis.since.hertz import HertzLevels, hertz_levels
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing

Numbers = NDArray[np.float64]
Trace = tuple[str, str]
"""What is looked at ("once", "sides", "outer" ...), and of which part."""

SLIPS: Numbers = np.arange(-100.0, 101.0) * 4e-4
"""Relative departures from the computed rate at which what slips is looked for."""
BEARING_WANDER, BELT_WANDER, BELT_SLIP = 5, 10, 0.03
"""How many steps of ``SLIPS`` a rate may differ from take to take, and how far a belt's may lie
from its computed one."""
STRANGE = "strange"
"""What is looked at where nobody knows the numbers of a shaft's bearing: any order, ``ORDERS``."""
ORDERS = np.concatenate(
    [
        np.exp(np.arange(np.log(low), np.log(high), 8e-4))
        for low, high in ((0.33, 0.48), (2.0, 16.0))
    ]
)
ORDERS_WANDER = 3
WHOLE, HALF = 0.03, 0.01
"""Orders this near a whole or half number of turns are what turns with the shaft."""
BELT_APART = 0.02
"""Multiples of a belt nearer than this to a shaft's tones are the shaft's (relative)."""
PARTS_OF_TURN = 90
FEWEST_TURNS = 4
HALVES: Numbers = np.arange(0.5, 8.0)
MANY: Numbers = np.arange(4.0, 13.0)
AT_WORK: Mapping[str, Numbers] = {
    "once at work": np.array([1.0]),
    "halves at work": HALVES,
    "many at work": MANY,
}
"""What a gear that runs out, or is loose, makes where it works; its shaft makes it wherever it
turns."""
TUNED, TUNED_BY = 0.005, np.arange(1.0, 7.0)
"""How far off the speed of a shaft behind a belt may have been found (relative), and by which of
its multiples it is tuned."""
MESHES = (1, 2, 3)
SIDES = (-1, 1)
"""Turns of a gear beside its tooth tone; two turns of one are one turn of a mate half its size."""
HUM = (2.0, 4.0)
BUZZ: Numbers = np.arange(6.0, 21.0, 2.0)
"""Multiples of the mains that a hum has, and the higher ones that iron or a winding that is loose
adds; a single-phase motor has much of the first by nature."""
FEWEST_BUZZ = 3
HUM_WANDERS, BUZZ_WANDERS, TONE_WANDERS = 0.003, 0.0015, 0.006
"""How far the mains, their high multiples, and a tone of the structure or a tool, may lie off,
relative."""
UNHEARD_DB = 0.0
NOTHING = 1.0
"""Power over floor of what cannot be looked at."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeLevels:
    """The levels of one take: every trace has an array of shape (bands, slips), in dB.

    Where the rate of a part is known there is one slip; what cannot be read is nan. ``ratios`` are
    the speeds of all rotors over the track's, as they were found in this take.
    """

    label: str
    kind: str
    levels: Mapping[Trace, Numbers]
    ratios: Mapping[str, float] = field(default_factory=dict)


def levels_of(heard: Listened, tones_hz: Sequence[float] = ()) -> list[TakeLevels]:
    """Levels of all takes whose speed is known, and of some tones at the same hertz in all.

    Parameters
    ----------
    heard : Listened
    tones_hz : sequence of float
        Tones to follow that no lever moves.
    """
    fields = rolling_fields(heard.takes, heard.machine.bearings)
    return [
        TakeLevels(
            label=take.label,
            kind=take.ready.take.kind,
            levels=dict(_levels(take, spectrum, ground, tones_hz)),
            ratios=take.turning_ratios(),
        )
        for take, spectrum, ground in zip(heard.takes, heard.spectra, fields, strict=True)
    ]


def _levels(
    take: Heard, spectrum: LineSpectrum, fields: Mapping[str, Field], tones_hz: Sequence[float]
) -> Iterator[tuple[Trace, Numbers]]:
    yield from _rotors(take, spectrum)
    yield from _gears(take, spectrum)
    for bearing in take.turning.machine.bearings:
        if bearing.shaft in fields:
            yield from _bearing(take, fields[bearing.shaft], bearing)
    for shaft in _unknown(take):
        if shaft in fields and take.ratio(shaft) is not None:
            yield (STRANGE, shaft), _strange(fields[shaft])
    yield from _belts(take, spectrum)
    ratios = take.turning_ratios()
    for pump in take.turning.machine.pumps:
        if pump.shaft in ratios and pump.vanes.value:
            orders = ratios[pump.shaft] * pump.vanes.value * np.array(MESHES)
            yield ("vane", pump.name), _one(_over_floor(spectrum, orders))
    hertz = hertz_levels(take.ready)
    mains = take.turning.machine.supply.mains_hz
    yield ("hum", "mains"), _decibels(hertz.near([k * mains for k in HUM], HUM_WANDERS))
    yield ("buzz", "mains"), _one(_buzz(hertz, mains))
    for hz in tones_hz:
        what = "howl" if take.ready.take.kind == "cutting" else "tone"
        yield (what, f"{hz:.2f}"), _decibels(hertz.near([hz], TONE_WANDERS))


def _buzz(hertz: HertzLevels, mains_hz: float) -> float:
    """The middle one of the high multiples over the floor: a tooth tone may lie on some."""
    each = np.array([hertz.near([k * mains_hz], BUZZ_WANDERS) for k in BUZZ])
    known = each[np.isfinite(each)]
    return float(np.median(_db(known))) if known.size >= FEWEST_BUZZ else float("nan")


def _rotors(take: Heard, spectrum: LineSpectrum) -> Iterator[tuple[Trace, Numbers]]:
    hum = np.arange(1, 5) * take.turning.machine.supply.mains_hz / take.base_hz
    for name, known in take.turning_ratios().items():
        tied = take.turning.rotors[name].group == take.group
        ratio = known if tied else _tuned(spectrum, known)
        for what, multiple in (("once", 1), ("twice", 2), ("thrice", 3)):
            order = multiple * ratio
            hums = bool(np.min(np.abs(order / hum - 1.0)) < NEAR_HUM)
            level = float("nan") if hums else _over_floor(spectrum, np.array([order]))
            yield (what, name), _one(level)
        yield ("halves", name), _one(_mean_over_floor(spectrum, np.multiply(ratio, HALVES)))
        yield ("many", name), _one(_mean_over_floor(spectrum, np.multiply(ratio, MANY)))
        yield ("slow knock", name), _folded(take, ratio / 2)


def _tuned(spectrum: LineSpectrum, ratio: float) -> float:
    """The speed of a shaft behind a belt, over the track's, at which its own tones are highest.

    Where it was found a little off in one of two sweeps, its tones would seem to have risen.
    """
    step = 1.0 / (spectrum.turns * ratio * TUNED_BY.max())
    trial = ratio * (1.0 + np.arange(-TUNED, TUNED + step, step))
    heights = [_mean_over_floor(spectrum, each * TUNED_BY) for each in trial]
    return float(trial[int(np.nanargmax(heights))]) if np.isfinite(heights).any() else ratio


def _gears(take: Heard, spectrum: LineSpectrum) -> Iterator[tuple[Trace, Numbers]]:
    """Side lines of every gear at work, and how its rotor knocks there; of the others how theirs
    does: what knocks there too is not their teeth."""
    ratios = take.turning_ratios()
    knocks = {rotor: _folded(take, ratio) for rotor, ratio in ratios.items()}
    for rotor, levels in knocks.items():
        yield ("knock", rotor), levels
    for gear, rotor in resting(take):
        yield ("rest", gear), knocks[rotor]
    for work in take.turning.meshes:
        if work.order is None or work.group != take.group or not work.loaded:
            continue
        tones = work.order * np.array(MESHES)
        yield ("mesh", work.name), _one(_over_floor(spectrum, tones))
        carried = _power(spectrum, tones)
        for gear, rotor in (
            (work.mesh.driver, work.driver),
            (work.mesh.driven, work.driven),
        ):
            if rotor not in ratios:
                continue
            places = (tones[:, None] + ratios[rotor] * np.array(SIDES)).ravel()
            over = _power(spectrum, places) / max(carried, 1e-30)
            yield ("sides", gear), np.array([[float(_db(over))], [_over_floor(spectrum, places)]])
            yield ("blow", gear), knocks[rotor]
            for what, multiples in AT_WORK.items():
                yield (what, gear), _one(_mean_over_floor(spectrum, ratios[rotor] * multiples))


def resting(take: Heard) -> list[tuple[str, str]]:
    """Gears that turn with no teeth between theirs, each with the rotor that it turns with."""
    ratios, meshes = take.turning_ratios(), take.turning.meshes
    meets = {gear for m in meshes for gear in (m.mesh.driver, m.mesh.driven)}
    idle = [gear for gear in take.turning.machine.gears if gear.name not in meets]
    on = [(gear.name, gear.name if gear.name in ratios else gear.shaft) for gear in idle]
    return [(gear, rotor) for gear, rotor in on if rotor in ratios]


def _bearing(take: Heard, field: Field, bearing: Bearing) -> Iterator[tuple[Trace, Numbers]]:
    orders, expected = orders_of(bearing), take.expected_ratio(bearing.shaft)
    if orders is None or expected is None:
        return
    families = bearing_families(
        elements=orders.elements or round(orders.outer + orders.inner),
        orders=dict(orders.items()),
        part=bearing.name,
    )
    for family in families:
        found = maximum_filter1d(_family(field, family), 1 + 2 * BEARING_WANDER, axis=1)
        off = ~within(SLIPS, family.slip_low - expected[1], family.slip_high + expected[1])
        found[:, off] = np.nan
        yield (family.name, bearing.name), found


def _unknown(take: Heard) -> list[str]:
    """Shafts that carry a bearing whose numbers nobody knows."""
    bearings = take.turning.machine.bearings
    unknown = [b.shaft for b in bearings if orders_of(b) is None and b.kind != "plain"]
    return list(dict.fromkeys(unknown))


def _strange(field: Field) -> Numbers:
    """Any three multiples over the floor; nan where what turns with the shaft makes them."""
    found = maximum_filter1d(_lines(field, ORDERS, ()), 1 + 2 * ORDERS_WANDER, axis=1)
    broken = np.abs(ORDERS - np.rint(ORDERS)) > WHOLE
    broken &= np.abs(2 * ORDERS - np.rint(2 * ORDERS)) > HALF
    found[:, ~broken] = np.nan
    return found


def within(places: Numbers, low: float, high: float) -> NDArray[np.bool_]:
    """Which of some places lie between two, both included."""
    return np.asarray((places >= low) & (places <= high))


def _family(field: Field, family: Family) -> Numbers:
    """Lines of a family over the floor of each envelope's spectrum, at every slip."""
    return _lines(field, family.order * (1.0 + SLIPS), family.sidebands[:1])


def _lines(field: Field, orders: Numbers, sidebands: Sequence[float]) -> Numbers:
    """Mean power over the floor, in dB, of three multiples and the flanks of the first."""
    lines = [(k, 0.0) for k in (1, 2, 3)]
    lines += [(1, way * spacing) for spacing in sidebands for way in (-1, 1)]
    rows = []
    for heard, mask in zip(field.spectra, field.masked, strict=True):
        level = heard.significance
        values = np.where(mask, NOTHING, level.values.astype(np.float64))
        high = maximum_filter1d(values, 3)
        total = np.zeros(orders.size)
        for multiple, offset in lines:
            index = np.rint(np.abs(multiple * orders + offset) / level.step).astype(np.intp)
            inside = (index > 1) & (index < high.size - 1)
            total += np.where(inside, high[np.minimum(index, high.size - 1)], NOTHING)
        rows.append(_db(total / len(lines)))
    return np.array(rows)


def _belts(take: Heard, spectrum: LineSpectrum) -> Iterator[tuple[Trace, Numbers]]:
    """Low multiples of every belt's turning, all steps of one belt under one name."""
    inside = np.abs(SLIPS) <= BELT_SLIP
    for steps in belt_steps(take.turning.machine.belts):
        rate = expected_rate(take, steps)
        if rate is None:
            continue
        shafts = np.array([k * r for r in take.expected_ratios().values() for k in (1, 2)])
        found = []
        for slip in SLIPS[inside]:
            free = np.array(free_multiples(take, spectrum, rate * (1.0 + slip), MESHES))
            apart = free[np.abs(free[:, None] / shafts - 1.0).min(axis=1) > BELT_APART]
            found.append(_over_floor(spectrum, apart) if apart.size else UNHEARD_DB)
        levels = np.full(SLIPS.size, np.nan)
        levels[inside] = maximum_filter1d(found, 1 + 2 * BELT_WANDER)
        yield ("belt", steps[0]), levels[None, :]


def _over_floor(spectrum: LineSpectrum, orders: Numbers) -> float:
    """Mean power over floor of lines, in dB; nan where none of them can be looked at."""
    over = _overs(spectrum, orders)
    return float(_db(over.mean())) if over.size else float("nan")


def _mean_over_floor(spectrum: LineSpectrum, orders: Numbers) -> float:
    """Mean of the decibels of lines over their floor: many low ones count as one high one does
    not."""
    over = _overs(spectrum, orders)
    return float(_db(over).mean()) if over.size else float("nan")


def _overs(spectrum: LineSpectrum, orders: Numbers) -> Numbers:
    places = [k for k in map(spectrum.index, orders) if k]
    return np.asarray(spectrum.power[places] / np.maximum(spectrum.floor[places], 1e-30))


def _power(spectrum: LineSpectrum, orders: Numbers) -> float:
    return float(spectrum.power[[k for k in map(spectrum.index, orders) if k]].sum())


def _folded(take: Heard, ratio: float) -> Numbers:
    """How far the loudest part of a turn stands over its others' scatter, in every other octave."""
    bands = [*take.envelopes[:-1][::2], take.envelopes[-1]]
    found = []
    for band in bands:
        turns = turn_profiles(band, take.track, ratio, PARTS_OF_TURN)
        if len(turns) < FEWEST_TURNS:
            found.append(np.nan)
            continue
        mean = turns.mean(axis=0)
        middle = float(np.median(mean))
        scatter = float(np.median(np.abs(mean - middle)))
        found.append(float(_db((float(mean.max()) - middle) / max(scatter, 1e-9))))
    return np.array(found)[:, None]


def _decibels(power: float) -> Numbers:
    return _one(float(_db(power)))


def _one(level: float) -> Numbers:
    return np.array([[level]])


def _db(power: ArrayLike) -> Numbers:
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-12)))
