"""Gears whose tone swells once a turn, as suspects with their odds."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.suspects import Suspect
from vibecheck.diagnosis.swells import Swell, gear_swells

PLAIN_SWELL = 1.1
"""Statistic of a gear's swelling at which it is as likely at fault as not. Sound gears of real and
of invented machines lie about -2, and one in a hundred above 1."""


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
            evidence=_swell_odds(swell),
            detail={"swell": swell},
        )
        for swell in gear_swells(heard.takes, heard.meshes)
    ]


def _swell_odds(swell: Swell) -> float:
    """Natural log odds; a lone take, or a gear its own mate matches, says less."""
    odds = 6.2 + 4.0 * (swell.statistic - PLAIN_SWELL)
    if swell.over_mate < 0.5:
        odds = min(odds, 5.0)
    if len(swell.shares) < 3:
        odds = min(odds, 8.0 if swell.statistic > 2.0 * PLAIN_SWELL else 5.0)
    return float(np.clip(odds, -4.0, 10.0))
