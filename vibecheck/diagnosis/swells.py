"""Gears that run out: their mesh tone swells and fades once a turn of their own rotor.

Every gear has sidebands, and a mesh tone caught in a notch of the casing makes all of them look
large. So a gear is held against a plain size, against its own mate (same tone, same notch) and
against the other gears of the machine; all three must speak.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.lines import MeshLines

MOST, LEAST = 1.5, 0.02
"""One reading counts for no more and no less."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swell:
    """How one gear's tone swells over the sweep.

    Attributes
    ----------
    gear, rotor : str
    shares : mapping of int to float
        Take number to sideband amplitude over mesh amplitude, once-a-turn sidebands of this gear.
    share : float
        Their lower quartile: a gear that runs out does so wherever it works, while what runs out
        beside it on its shaft shows only in some takes.
    over_mate, over_others : float
        That over the mate's and over the machine's other gears', natural logarithm.
    """

    gear: str
    rotor: str
    shares: Mapping[int, float]
    share: float
    over_mate: float
    over_others: float

    @property
    def statistic(self) -> float:
        """Size, with half the lead over mate and machine added; about -2 for a sound gear."""
        return float(np.log(self.share)) + 0.5 * self.over_mate + 0.5 * self.over_others


def gear_swells(takes: Sequence[Heard], meshes: Sequence[Sequence[MeshLines]]) -> list[Swell]:
    """Measure every gear that works in some take with a mesh tone above the floor."""
    mine: dict[str, dict[int, float]] = {}
    mates: dict[str, list[float]] = {}
    rotors: dict[str, str] = {}
    for number, (take, lines) in enumerate(zip(takes, meshes, strict=True)):
        pairs = {mesh.name: mesh for mesh in take.turning.meshes}
        for line in lines:
            if not line.clear:
                continue
            mesh = pairs[line.pair]
            sides = ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven))
            for (gear, rotor), (_, other) in (sides, sides[::-1]):
                if rotor in line.swell and other in line.swell and rotor != other:
                    mine.setdefault(gear, {})[number] = _held(line.swell[rotor])
                    mates.setdefault(gear, []).append(_held(line.swell[other]))
                    rotors[gear] = rotor
    sizes = {gear: float(np.quantile(list(shares.values()), 0.25)) for gear, shares in mine.items()}
    found = []
    for gear, shares in mine.items():
        others = [size for name, size in sizes.items() if name != gear]
        usual = float(np.median(others)) if others else sizes[gear]
        found.append(
            Swell(
                gear=gear,
                rotor=rotors[gear],
                shares=shares,
                share=sizes[gear],
                over_mate=float(np.log(sizes[gear] / np.quantile(mates[gear], 0.25))),
                over_others=float(np.log(sizes[gear] / usual)),
            )
        )
    return found


def _held(share: float) -> float:
    return float(np.clip(share, LEAST, MOST))
