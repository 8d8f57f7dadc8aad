"""Gears whose tone swells once a turn, as suspects with their odds."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.swells import Swell, gear_swells
from vibecheck.diagnosis.suspects.suspect import Suspect

STEEP, EVEN = 2.6, -3.9
"""Odds of the model against odds that came true: it is wider than any one machine is (judgement
from invented machines of five makers, among whose sound gears some swell as deep as one that runs
out; a gear among sound ones of like depth stays unaccused)."""
SAYS = 8.0
"""Most that a gear's swelling says (at most "likely"): a lively sound one is rare, not unheard
of."""
FEWEST_TAKES, FEW_SAY = 2, 4.0
"""A gear heard in fewer takes than this says no more than this."""

EVERYWHERE, FAR_OVER, ALIKE_EVERYWHERE, PATCHY_SAYS = 0.6, 1.8, 0.3, 6.6
"""A gear that runs out does so wherever it works, and alike: one whose side lines are, in a quarter
of the takes, less than this share of its mesh and less than this over the machine's other gears
(natural logarithm), or scatter by more than this from take to take (standard deviation), says no
more than this (at most "possible")."""


def swell_suspects(heard: Listened) -> list[Suspect]:
    """Every gear in mesh with a clear tone, by how it swells."""
    kind = fault("eccentric or worn gear")
    return [
        Suspect(
            parts=(swell.gear,),
            part_kind="gear",
            fault=kind.name,
            rotor=swell.rotor,
            prior=kind.prior,
            evidence=_odds(swell),
            detail={"swell": swell},
        )
        for swell in gear_swells(heard.takes, heard.spectra)
    ]


def _odds(swell: Swell) -> float:
    """Natural log odds; a lone take says less, and so does a gear that swells here and there."""
    odds = EVEN + STEEP * swell.log_odds
    if len(swell.shares) < FEWEST_TAKES:
        odds = min(odds, FEW_SAY)
    shares = np.array(list(swell.shares.values()))
    least = float(np.quantile(shares, 0.25))
    patchy = least < EVERYWHERE and np.log(least / swell.share) + swell.excess.over < FAR_OVER
    if patchy or float(np.log(shares).std()) > ALIKE_EVERYWHERE:
        odds = min(odds, PATCHY_SAYS)
    return float(np.clip(odds, -4.0, SAYS))
