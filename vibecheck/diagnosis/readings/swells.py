"""Gears that run out: their mesh tone swells and fades once a turn of their own rotor.

Every gear has sidebands, and a mesh tone caught in a notch of the casing makes those of both gears
look large. So each multiple of each mesh in each take is one reading for either gear, and all
readings are weighed together: what the gear brings wherever it works, what the pair and the notch
bring to both of its gears, and how much this machine's sound gears differ.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.chance.standing_out import Excess, Numbers, alike, stands_out
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum, beside_another_mesh
from vibecheck.machine.train import MeshAtWork

MULTIPLES = 4
CARRIER, WEAK = 10.0, 3.0
"""Power over floor from which a mesh tone counts; and below which a sideband says only "small"."""
MOST, LEAST = 1.0, -5.0
"""Natural logarithm of sideband over mesh amplitude counts for no more and no less."""
USUAL, MACHINES, GEARS, ALIKE = -1.9, 0.35, 0.5, 0.3
"""Sideband over mesh amplitude of sound gears, natural logarithm: the middle, how machines differ,
how the gears of one machine do, and how sure that is. Ordinary teeth; fitted on sound gears of
invented machines and kept wider than any one maker of them shows."""
PAIRS, NOTCHES, GEAR_MULTIPLES, READING, WEAK_READING = 0.5, 0.5, 0.3, 0.45, 0.8
"""What one multiple of a pair brings to both gears everywhere, and in one take; what one multiple
of a gear brings; scatter of a reading, and of one near the floor."""
FAULTY, FAULTY_SPREAD = 1.6, 0.6
"""A gear that runs out swells four or five times as deep as a sound one (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swell:
    """How one gear's tone swells over the sweep.

    Attributes
    ----------
    gear, rotor : str
    shares : mapping of int to float
        Take number to sideband amplitude over mesh amplitude, once-a-turn sidebands of this gear.
    share : float
        Their median.
    excess : Excess
        Natural logarithm of how much deeper than the machine's other gears explain.
    log_odds : float
        Of running out against being one more sound gear, before any prior.
    """

    gear: str
    rotor: str
    shares: Mapping[int, float]
    share: float
    excess: Excess
    log_odds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """Sidebands of one gear at one multiple of one mesh in one take."""

    gear: str
    rotor: str
    pair: str
    take: int
    multiple: int
    logged: float
    weak: bool


def gear_swells(takes: Sequence[Heard], spectra: Sequence[LineSpectrum]) -> list[Swell]:
    """Measure every gear that works in some take with a mesh tone above the floor."""
    readings = [
        reading
        for number, (take, spectrum) in enumerate(zip(takes, spectra, strict=True))
        for mesh in take.turning.meshes
        if mesh.loaded and mesh.order is not None and mesh.group == take.group
        for reading in _readings(number, take, spectrum, mesh, mesh.order)
    ]
    if not readings:
        return []
    owners = [reading.gear for reading in readings]
    values = np.array([reading.logged - USUAL for reading in readings])
    fixed = _explained(readings)
    own = alike(owners)
    found = stands_out(
        values,
        lambda times: fixed + (GEARS * times) ** 2 * own,
        owners,
        faulty=FAULTY,
        faulty_spread=FAULTY_SPREAD,
        machines=ALIKE,
    )
    return [
        _swell(gear, readings, excess, found.log_odds[gear])
        for gear, excess in found.excesses.items()
    ]


def _explained(readings: Sequence[_Reading]) -> Numbers:
    """Covariance of sound gears' readings but for what tells one gear from another."""
    scatter = [WEAK_READING if reading.weak else READING for reading in readings]
    made: Numbers = (
        MACHINES**2
        + PAIRS**2 * alike([(r.pair, r.multiple) for r in readings])
        + NOTCHES**2 * alike([(r.pair, r.multiple, r.take) for r in readings])
        + GEAR_MULTIPLES**2 * alike([(r.gear, r.multiple) for r in readings])
        + np.diag(np.square(scatter))
    )
    return made


def _readings(
    number: int, take: Heard, spectrum: LineSpectrum, mesh: MeshAtWork, order: float
) -> Iterator[_Reading]:
    """One reading a gear for every multiple of the mesh that stands clear."""
    sides = {mesh.mesh.driver: mesh.driver, mesh.mesh.driven: mesh.driven}
    ratios = {gear: take.turning.rotors[rotor].ratio for gear, rotor in sides.items()}
    others = [m.order for m in take.turning.meshes if m.order and m is not mesh]
    reach = 2.5 / spectrum.turns
    for multiple in range(1, MULTIPLES + 1):
        centre = multiple * order
        power, over = spectrum.tone(centre)
        if over < CARRIER or beside_another_mesh(centre, others, spectrum):
            continue
        for gear, ratio in ratios.items():
            mates = [other for name, other in ratios.items() if name != gear]
            if any(abs(ratio - k * mate) < reach for mate in mates for k in (1, 2, 3)):
                continue
            places = [
                place
                for place in (centre - ratio, centre + ratio)
                if spectrum.index(place) and not beside_another_mesh(place, others, spectrum)
            ]
            if not places:
                continue
            at = [spectrum.index(place) for place in places]
            side, floor = float(spectrum.power[at].mean()), float(spectrum.floor[at].mean())
            share = np.sqrt(max(side - floor, 0.3 * floor) / max(power, 1e-30))
            yield _Reading(
                gear=gear,
                rotor=sides[gear],
                pair=mesh.name,
                take=number,
                multiple=multiple,
                logged=float(np.clip(np.log(share), LEAST, MOST)),
                weak=side < WEAK * floor,
            )


def _swell(gear: str, readings: Sequence[_Reading], excess: Excess, log_odds: float) -> Swell:
    mine = [reading for reading in readings if reading.gear == gear]
    shares = {
        take: float(np.exp(np.median([r.logged for r in mine if r.take == take])))
        for take in dict.fromkeys(r.take for r in mine)
    }
    return Swell(
        gear=gear,
        rotor=mine[0].rotor,
        shares=shares,
        share=float(np.median(list(shares.values()))),
        excess=excess,
        log_odds=log_odds,
    )
