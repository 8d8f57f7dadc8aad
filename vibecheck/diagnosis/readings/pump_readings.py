"""Pumps: as many pulses a turn as there are vanes, held against the teeth that mesh beside them.

A sound pump pulses too. What tells a fault is that its pulses are as loud as working teeth, take
after take, and stand out among the other multiples of its own shaft.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum
from vibecheck.machine.parts import Pump

USUAL_VANES = range(5, 14)
"""Vanes or teeth of a small pump, where the table does not say."""
DECOYS = range(4, 30)
MULTIPLES = (1, 2, 3)
CLEAR = 15.0
"""Power over floor that no noise reaches."""
SIDES = 3
"""Side lines of a mesh that a pulse might be taken for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpTones:
    """What the takes say of one pump.

    Attributes
    ----------
    pump, rotor : str
    vanes : int
        Pulses a turn; ``counted`` says whether the table gives them.
    levels_db : mapping of take number to float
        Power of its first three multiples over that of a usual working pair in the same take.
    level_db : float
        Median of them; nan when it was never looked for.
    multiples : float
        How many of the three stand clear of the floor, on average, as parts of those free to be
        looked at.
    above_db : float
        Median level of the strongest multiple over the strongest decoy: another whole multiple of
        the same shaft.
    """

    pump: str
    rotor: str
    vanes: int
    counted: bool
    levels_db: Mapping[int, float]
    level_db: float
    multiples: float
    above_db: float


def pump_tones(
    pumps: Sequence[Pump], takes: Sequence[Heard], spectra: Sequence[LineSpectrum]
) -> list[PumpTones]:
    """Listen to every pump in all takes; of an unknown number of vanes the loudest is kept."""
    found = []
    for pump in pumps:
        vanes = pump.vanes.value
        tried = [int(vanes)] if vanes else list(USUAL_VANES)
        heard = [_tones(pump, each, bool(vanes), takes, spectra) for each in tried]
        known = [tones for tones in heard if tones.levels_db]
        if known:
            found.append(max(known, key=lambda tones: tones.level_db))
    return found


def _tones(
    pump: Pump, vanes: int, counted: bool, takes: Sequence[Heard], spectra: Sequence[LineSpectrum]
) -> PumpTones:
    levels: dict[int, float] = {}
    clear, above = [], []
    for number, (take, spectrum) in enumerate(zip(takes, spectra, strict=True)):
        ratio, usual = take.ratio(pump.shaft), usual_mesh(take, spectrum)
        if ratio is None or usual <= 0.0:
            continue
        busy = _busy(take, pump.shaft)
        own = _free_tones(spectrum, [k * vanes * ratio for k in MULTIPLES], busy)
        if not own:
            continue
        others = [k * ratio for k in DECOYS if k % vanes]
        decoys = _free_tones(spectrum, others, busy)
        levels[number] = _db(sum(power for power, _ in own)) - _db(usual)
        clear.append(float(np.mean([over > CLEAR for _, over in own])))
        if decoys:
            loudest = max(power for power, _ in decoys)
            above.append(_db(max(power for power, _ in own)) - _db(loudest))
    return PumpTones(
        pump=pump.name,
        rotor=pump.shaft,
        vanes=vanes,
        counted=counted,
        levels_db=levels,
        level_db=float(np.median(list(levels.values()))) if levels else float("nan"),
        multiples=float(np.mean(clear)) if clear else 0.0,
        above_db=float(np.median(above)) if above else float("nan"),
    )


def usual_mesh(take: Heard, spectrum: LineSpectrum) -> float:
    """Power of the middling working pair of a take over its first four multiples; 0 for none."""
    powers = [
        sum(spectrum.tone(k * mesh.order)[0] for k in (1, 2, 3, 4))
        for mesh in take.turning.meshes
        if mesh.order is not None and mesh.group == take.group and mesh.loaded
    ]
    return float(np.median(powers)) if powers else 0.0


def _free_tones(
    spectrum: LineSpectrum, orders: Sequence[float], busy: Sequence[float]
) -> list[tuple[float, float]]:
    """Tones at those orders where nothing else sounds, as (power, power over floor)."""
    places = np.asarray(busy)
    return [
        spectrum.tone(order)
        for order in orders
        if order < spectrum.top_order and np.min(np.abs(places - order)) > 2.5 / spectrum.turns
    ]


def _busy(take: Heard, shaft: str) -> list[float]:
    """Orders of the other rotors, the teeth with their side lines, and the mains."""
    own = take.ratio(shaft)
    ratios = take.turning_ratios()
    places = [0.0]
    for ratio in ratios.values():
        if own is None or abs(ratio / own - 1.0) > 1e-6:
            places += [k * ratio for k in (1, 2, 3)]
    for mesh in take.turning.meshes:
        if mesh.order is None or mesh.group != take.group:
            continue
        rates = [0.0, ratios.get(mesh.driver, 0.0), ratios.get(mesh.driven, 0.0)]
        for multiple in range(1, 5):
            places += [
                multiple * mesh.order + k * rate for rate in rates for k in range(-SIDES, SIDES + 1)
            ]
    hum = take.turning.machine.supply.mains_hz / take.base_hz
    return places + [k * hum for k in range(1, 13)]


def _db(power: float) -> float:
    return float(10.0 * np.log10(power + 1e-30))
