"""Bearings over a whole sweep: families scored in every take, added up at a common slip.

In each take every trial order gets the decimal logarithm of its surprise among decoys of that
take. The sum over takes is again judged against decoys: orders at which nothing turns would have
to be lucky in every take at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.families import Family, bearing_families
from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.matching import Field
from vibecheck.diagnosis.rolling_evidence import (
    MOST,
    decoy_chance,
    hidden,
    own_place,
    take_ratios,
    together,
    within,
)
from vibecheck.diagnosis.rolling_evidence import STEP as STEP
from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing
from vibecheck.spectra.envelope import Envelope, EnvelopeSpectrum, envelope_spectrum
from vibecheck.spectra.spectrum import Spectrum

Numbers = NDArray[np.float64]

SPAN = 1.35
MOST_PER_TAKE = 5.0
TIE = 1e-3
"""Weight of what lies beyond that: it says where in a plateau the family sits, never whether."""
LOUD_LINE = 8.0
"""Power over floor at which the skirts of a turning line are masked with it."""
VERY_LOUD, WIDE_SKIRT = 300.0, 6
"""Beyond that power its skirts reach this many bins: what knocks is never quite even."""
ALWAYS, MANY, COMB_LINE = 8, 40, 4.0
"""A rotor's multiples up to this one are always taken for its own; higher ones only where half of
them stand this far over the floor (noise alone: 1.8)."""
HALVES = 8
"""Half multiples (0.5, 1.5 ...) of a rotor looked at; its own where they stand out."""
SLIPS = 2e-3
"""How far lines behind a belt may stand beside their place on the track."""
SPEAKS = 5.0
"""Evidence (nats) from which an element counts as heard at all."""
PLAIN = -3.5
"""Decimal logarithm of chance at which a family counts as plain."""
SLOWEST_PACE = 0.7
"""Least fall-off of a sum of surprises, in their own unit: a single one falls off by 0.43."""
SLIP_SCATTER = 2.5e-3
"""How far the slip may differ from take to take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollingScore:
    """One bearing element over the sweep.

    Attributes
    ----------
    log10_chance : float
        Chance that a decoy does as well over all takes; decimal logarithm.
    order : float
        Order of its own shaft at which it was found.
    slip : float
        That order over the computed one, less 1.
    surprise : ndarray, shape (takes,)
        Decimal surprise of each take at that order; nan where the shaft's speed is not known.
    orders : ndarray, shape (takes,)
        Order at which each take has it, within the scatter of slip.
    depth : ndarray, shape (takes,)
        Depth of modulation.
    evidence : float
        Natural log of the likelihood ratio of all takes, flaw against nothing.
    """

    bearing: str
    shaft: str
    family: Family
    log10_chance: float
    order: float
    slip: float
    surprise: Numbers
    orders: Numbers
    depth: Numbers
    evidence: float


def rolling_fields(takes: Sequence[Heard], bearings: Sequence[Bearing]) -> list[dict[str, Field]]:
    """Envelope spectra on order axes, one field per take and shaft that carries a bearing."""
    found: list[dict[str, Field]] = []
    for take in takes:
        known = take.turning_ratios()
        ratios = {b.shaft: known[b.shaft] for b in bearings if b.shaft in known}
        if not ratios:
            found.append({})
            continue
        top = 48.0 * max(ratios.values())
        spectra = envelope_orders(take, top)
        fields = {}
        for shaft, ratio in ratios.items():
            masks = [_turning_lines(take, level) for level in spectra]
            scaled = [_on_shaft(level, ratio) for level in spectra]
            fields[shaft] = Field(scaled, ratio * take.base_hz, 0.0, masks)
        found.append(fields)
    return found


def envelope_orders(take: Heard, top_order: float) -> list[EnvelopeSpectrum]:
    """Envelope spectra of the whole band and every other octave, against the track's angle."""
    bands = [*take.envelopes[-2::-2][::-1], take.envelopes[-1]]
    spectra = []
    for band in bands:
        top = min(top_order, 0.45 * band.rate_hz / take.base_hz)
        times = np.arange(band.squared.size) / band.rate_hz
        angle = take.track.turns_at(times)
        per_turn = 2.0 ** np.ceil(np.log2(2.5 * top))
        even = np.arange(int(angle[-1] * per_turn)) / per_turn
        running = np.cumsum(band.squared, dtype=np.float64)
        edges = np.append(even, even[-1] + 1 / per_turn) - 0.5 / per_turn
        sums = np.diff(np.interp(edges, angle, running))
        spent = np.maximum(np.diff(np.interp(edges, angle, times)) * band.rate_hz, 1e-6)
        made = Envelope(squared=(sums / spent).astype(np.float32), rate_hz=per_turn, axis="order")
        spectra.append(envelope_spectrum(made, top=top, low=band.low_hz, high=band.high_hz))
    return spectra


def _on_shaft(level: EnvelopeSpectrum, ratio: float) -> EnvelopeSpectrum:
    """The same spectrum counted in turns of another shaft."""

    def counted(spectrum: Spectrum) -> Spectrum:
        return replace(
            spectrum, step=spectrum.step / ratio, start=0.0, resolution=spectrum.resolution / ratio
        )

    return replace(level, significance=counted(level.significance), depth=counted(level.depth))


def _turning_lines(take: Heard, level: EnvelopeSpectrum) -> NDArray[np.bool_]:
    """Bins where something that turns has lines: never a bearing's.

    Where such a line stands out, higher than what lies beside it, its skirts are taken as well.
    """
    step, bins = level.significance.step, len(level.significance)
    mask = np.zeros(bins, dtype=bool)
    mask[: max(3, int(0.3 / (take.base_hz * step)))] = True
    orders: list[float] = []
    known = take.turning_ratios()
    for ratio in known.values():
        many = MANY if _comb_stands_out(level, ratio, MANY) else ALWAYS
        orders += [k * ratio for k in range(1, many + 1)]
        if _halves_stand_out(level, ratio):
            orders += [(k + 0.5) * ratio for k in range(HALVES)]
    for mesh in take.turning.meshes:
        if mesh.group == take.group and mesh.order is not None:
            pair = [known[n] for n in (mesh.driver, mesh.driven) if n in known]
            for k in (1, 2, 3):
                sides = (-2, -1, 0, 1, 2) if mesh.loaded else (-1, 0, 1)
                orders += [k * mesh.order + j * r for r in pair for j in sides]
    loose = [ratio for name, ratio in known.items() if _slips(take, name)]
    for belt in take.turning.belts:
        if belt.order is not None and belt.driver in known:
            loose.append(belt.order * known[belt.driver])
    for ratio in loose:
        for k in np.arange(1, 2 * ALWAYS + 1) / 2:
            if k == round(k) or _halves_stand_out(level, ratio):
                low, high = (round(k * ratio * way / step) for way in (1 - SLIPS, 1 + SLIPS))
                mask[max(0, low) : high + 1] = True
    places = np.rint(np.array(orders) / step).astype(int)
    places = places[(places >= 1) & (places < bins - 1)]
    values = level.significance.values
    about = np.stack([values[np.clip(places + k, 0, bins - 1)] for k in range(-3, 4)])
    top = about[2:5].max(axis=0)
    loud = (top > LOUD_LINE) & (top >= about.max(axis=0))
    for offset in range(-WIDE_SKIRT, WIDE_SKIRT + 1):
        skirt = loud & (top > VERY_LOUD) if abs(offset) > 3 else loud
        here = places[skirt] + offset if abs(offset) > 1 else places + offset
        mask[here[(here >= 0) & (here < bins)]] = True
    for hum in np.arange(1, 8) * 2 * take.turning.machine.supply.mains_hz:
        near = np.abs(level.significance.frequencies * take.base_hz - hum) < 0.4
        mask |= near
    return mask


def _comb_stands_out(level: EnvelopeSpectrum, ratio: float, many: int) -> bool:
    """Whether a rotor's higher multiples are there at all: as a comb, not one by accident."""
    step, bins = level.significance.step, len(level.significance)
    places = np.rint(np.arange(ALWAYS + 1, many + 1) * ratio / step).astype(int)
    places = places[places < bins - 1]
    if places.size < 4:
        return True
    near = [level.significance.values[places + offset] for offset in (-1, 0, 1)]
    return float(np.median(np.max(near, axis=0))) > COMB_LINE


def _slips(take: Heard, name: str) -> bool:
    """Whether a rotor hangs on the track by a belt: its lines stand a little beside."""
    return take.turning.rotors[name].group != take.group


def _halves_stand_out(level: EnvelopeSpectrum, ratio: float) -> bool:
    """Whether a rotor's half multiples stand as a comb over what lies between: something loose."""
    half, quarters = (
        _comb_height(level, (np.arange(HALVES)[:, None] + np.array(at)).ravel() * ratio)
        for at in ((0.5,), (0.25, 0.75))
    )
    return half > max(COMB_LINE, 2.0 * quarters)


def _comb_height(level: EnvelopeSpectrum, orders: Numbers) -> float:
    """Median over the floor of the highest of three bins at each order; 0 of too few."""
    places = np.rint(orders / level.significance.step).astype(int)
    places = places[(places > 0) & (places < len(level.significance) - 1)]
    if places.size < 4:
        return 0.0
    near = [level.significance.values[places + offset] for offset in (-1, 0, 1)]
    return float(np.median(np.max(near, axis=0)))


def score_rolling(
    takes: Sequence[Heard],
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
) -> list[RollingScore]:
    """Every element of every bearing with known numbers, judged over the sweep.

    When one is plain, its lines and their sidebands are taken out of all takes and the others are
    judged again in what is left, so that its echoes at other orders accuse nobody.
    """
    found = _scored(bearings, fields, fields)
    if not found:
        return found
    lead = _leader(found)
    if lead.evidence <= 0.0:
        return found
    given = zip(takes, fields, lead.orders, strict=True)
    left = [peeled(take, field, lead, float(order)) for take, field, order in given]
    again = _scored(bearings, left, left)
    own = _scored([b for b in bearings if b.shaft == lead.shaft], fields, left)
    on_lead = {(s.bearing, s.family.name): s for s in own if _on_lead(s, lead)}
    return [on_lead.get((s.bearing, s.family.name), s) for s in again]


def _leader(found: Sequence[RollingScore]) -> RollingScore:
    """The family whose lines the others echo: plain, and of those that are, the deepest.

    A cage leads only where no race and no ball speaks: balls pass the load once a cage turn.
    """
    others = [s for s in found if s.family.name != "cage"]
    able = others if any(s.evidence > SPEAKS for s in others) else found
    most = max(_plainness(s) for s in able)
    plain = [s for s in able if _plainness(s) >= most - 0.3 * abs(most)]
    return max(plain, key=lambda s: float(np.nansum(s.depth**2)) + 1e-6 * _plainness(s))


def _plainness(score: RollingScore) -> float:
    """Evidence of all takes, and how far surprises go beyond what evidence counts."""
    beyond = np.clip(np.nan_to_num(score.surprise) - MOST, 0.0, 4 * MOST)
    return score.evidence + float(beyond.sum())


def _on_lead(score: RollingScore, lead: RollingScore) -> bool:
    """Whether a score is the leader's own, or rests on its line (a bearing of the same numbers)."""
    if (score.bearing, score.family.name) == (lead.bearing, lead.family.name):
        return True
    return score.shaft == lead.shaft and abs(score.order / lead.order - 1.0) < 2 * SLIP_SCATTER


def peeled(
    take: Heard, field: Mapping[str, Field], lead: RollingScore, order: float
) -> dict[str, Field]:
    """A take's fields with one family, found there at ``order``, counted as explained."""
    if lead.shaft not in field:
        return dict(field)
    left = {}
    for shaft, ground in field.items():
        known = take.turning_ratios()
        scale = known[lead.shaft] / known[shaft]
        spacings = [k * scale for k in (1.0, 2.0, 3.0, 4.0)]
        spacings += [k * scale for k in lead.family.sidebands if k not in (1.0, 2.0)]
        left[shaft] = ground.without(order * scale, spacings=spacings)
        if lead.family.name == "roller":
            cage = lead.family.sidebands[0] * order / lead.family.order
            left[shaft] = left[shaft].without(cage * scale, spacings=())
    return left


def _scored(
    bearings: Sequence[Bearing],
    fields: Sequence[Mapping[str, Field]],
    yardsticks: Sequence[Mapping[str, Field]],
) -> list[RollingScore]:
    found = []
    for bearing in bearings:
        orders = orders_of(bearing)
        if orders is None:
            continue
        families = bearing_families(
            elements=orders.elements or round(orders.outer + orders.inner),
            orders=dict(orders.items()),
            part=bearing.name,
        )
        every = [f.order for f in families]
        for family in families:
            score = _over_sweep(bearing, family, every, fields, yardsticks)
            if score is not None:
                found.append(score)
    return found


def _over_sweep(
    bearing: Bearing,
    family: Family,
    others: Sequence[float],
    fields: Sequence[Mapping[str, Field]],
    yardsticks: Sequence[Mapping[str, Field]],
) -> RollingScore | None:
    """One family over all takes; decoys are scored in ``yardsticks``."""
    trial = family.order * np.exp(np.arange(-np.log(SPAN), np.log(SPAN), STEP))
    inside = (trial >= family.lowest_order) & (trial <= family.highest_order)
    free = free_places(trial, others)
    shaft = bearing.shaft
    pairs = [
        surprise(field[shaft], family, trial, free, yardstick[shaft]) if shaft in field else None
        for field, yardstick in zip(fields, yardsticks, strict=True)
    ]
    grounds = [field[shaft] for field in fields if shaft in field]
    known = [pair for pair in pairs if pair is not None]
    if not known:
        return None
    speeds = [ground.shaft_hz for ground in grounds]
    unseen = [hidden(ground, family, trial) for ground in grounds]
    own, decoys = (
        together(
            [
                np.where(off, 1.0, take_ratios(pair[k]))
                for pair, off in zip(known, unseen, strict=True)
            ],
            speeds,
        )
        for k in (0, 1)
    )
    best = int(np.argmax(np.where(inside, own, -np.inf)))
    evidence = within(own, inside)
    places = [None if pair is None else own_place(pair[0], best) for pair in pairs]
    at = np.array([np.nan if place is None else trial[place] for place in places])
    order = float(trial[best])
    return RollingScore(
        bearing=bearing.name,
        shaft=shaft,
        family=family,
        log10_chance=decoy_chance(evidence, decoys, free, int(inside.sum())),
        order=order,
        slip=order / family.order - 1.0,
        surprise=np.array(
            [
                np.nan if pair is None or place is None else float(pair[0][place])
                for pair, place in zip(pairs, places, strict=True)
            ]
        ),
        orders=at,
        depth=np.array(
            [
                np.nan if p is None else line_depth(field[shaft], float(where))
                for p, field, where in zip(pairs, fields, at, strict=True)
            ]
        ),
        evidence=evidence,
    )


def fastest_sets(speeds: Sequence[float]) -> list[tuple[int, ...]]:
    """All takes; the faster half; the fastest quarter: bearings are heard at the fast end.

    >>> fastest_sets([1.0, 4.0, 2.0, 3.0, 6.0, 5.0, 8.0, 7.0])[1]
    (6, 7, 4, 5)
    """
    ranked = sorted(range(len(speeds)), key=lambda n: -speeds[n])
    sizes = {len(ranked), max(3, len(ranked) // 2), max(3, len(ranked) // 4)}
    sizes = {size for size in sizes if size <= len(ranked)}
    return [tuple(ranked[:size]) for size in sorted(sizes, reverse=True)]


def free_places(trial: Numbers, others: Sequence[float]) -> NDArray[np.bool_]:
    """Trial orders at which no known element, nor a simple ratio of one, is due."""
    free = np.abs(trial - np.rint(trial)) > 0.015
    for centre in others:
        for ratio in (0.5, 1.0, 2.0):
            free &= np.abs(trial / (centre * ratio) - 1.0) > 0.033
    return free if free.sum() > 200 else np.abs(trial - np.rint(trial)) > 0.015


def surprise(
    field: Field,
    family: Family,
    trial: Numbers,
    free: NDArray[np.bool_],
    yardstick: Field | None = None,
) -> tuple[Numbers, Numbers]:
    """Decimal surprise of every trial order among the decoys of one take.

    Returns
    -------
    own, decoys : ndarray, shape (trials,)
        Of the trial orders in ``field``, and of the same orders in ``yardstick`` (default: the same
        field), where the decoys are scored.
    """
    own = field.scores(family, trial)
    other = own if yardstick is None or yardstick is field else yardstick.scores(family, trial)
    middle = np.median(other[:, free], axis=1)
    spread = np.median(np.abs(other[:, free] - middle[:, None]), axis=1) + 0.5
    height, decoys = (
        ((rows - middle[:, None]) / spread[:, None]).max(axis=0) for rows in (own, other)
    )
    threshold = float(np.quantile(decoys[free], 0.9))
    beyond = decoys[free & (decoys > threshold)] - threshold
    tail = float(beyond.mean()) + 1e-9 if beyond.size else 1.0
    scale = tail * np.log(10.0)
    return (
        np.maximum(0.0, 1.0 + (height - threshold) / scale),
        np.maximum(0.0, 1.0 + (decoys - threshold) / scale),
    )


def tail_chance(reached: float, decoys: Numbers, *, places: float) -> float:
    """Decimal logarithm of the chance that decoys reach ``reached``, places counted.

    The tail falls off exponentially, at the faster of the paces seen from the median to the upper
    fifth of the decoys and on to its topmost twentieth: a loud true family raises some decoys too,
    at simple ratios of itself, and must not raise its own yardstick.
    """
    middle, upper, top = (float(q) for q in np.quantile(decoys, (0.5, 0.8, 0.95)))
    paces = (upper - middle) / np.log(2.5), (top - upper) / np.log(4.0)
    pace = max(min(paces), SLOWEST_PACE)
    log10_point = np.log10(0.2) - max(0.0, reached - upper) / (pace * np.log(10.0))
    return float(max(min(0.0, log10_point + np.log10(places)), -60.0))


def line_depth(field: Field, order: float) -> float:
    """Depth of the first three harmonics of an order, in the band where it is deepest."""
    deepest = 0.0
    for level, mask in zip(field.spectra, field.masked, strict=True):
        total = 0.0
        for harmonic in (1, 2, 3):
            middle = round(harmonic * order / level.depth.step)
            part = slice(max(0, middle - 1), middle + 2)
            values = np.where(mask[part], 0.0, level.depth.values[part])
            strong = level.significance.values[part] > 6.0
            if values.size and strong.any():
                total += float((values * strong).max()) ** 2
        deepest = max(deepest, total)
    return float(np.sqrt(deepest))
