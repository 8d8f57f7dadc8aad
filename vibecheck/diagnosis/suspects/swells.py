"""Gears whose tone swells once a turn, as suspects with their odds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones, ToneTakes
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

EVERYWHERE, FAR_OVER, PATCHY_SAYS = 0.6, 1.8, 6.6
"""A gear that runs out does so wherever it works: one whose side lines are, in a quarter of the
takes, less than this share of its mesh and less than this over the machine's other gears (natural
logarithm) says no more than this (at most "possible")."""
UNLIKE, UNLIKE_LEAN, ALIKE, ALIKE_LEAN = 0.2, 3.0, 0.1, 1.3
"""And it does so alike: how far side lines over their mesh scatter from take to take (standard
deviation of the natural logarithm), and what more of it costs and less brings, down to ALIKE: at
least ten of twelve gears that ran out stay below, of six makers' invented machines, but a third of
the sound ones that swell as deep."""
SHAKES, LOUDER_DB, LOUDER_SPREAD_DB, HEARD = 2.2, 6.0, 1.5, 0.6
"""A gear that runs out also pushes its shaft once a turn, where it works. Natural log odds where
that turn is heard in so many of the takes in which it works, and is this much louder there than
elsewhere: of six makers' invented gears that ran out one in four is, of sound ones that swell one
in thirty."""


def swell_suspects(swells: Sequence[Swell], turns: Sequence[RotorTones] = ()) -> list[Suspect]:
    """Every gear in mesh with a clear tone, by how it swells and how its shaft shakes with it."""
    shaking = {name: tones.once for tones in turns for name in tones.together}
    kind = fault("eccentric or worn gear")
    found = []
    for swell in swells:
        louder = _louder_db(swell, shaking.get(swell.rotor))
        found.append(
            Suspect(
                parts=(swell.gear,),
                part_kind="gear",
                fault=kind.name,
                rotor=swell.rotor,
                prior=kind.prior,
                evidence=_odds(swell, louder),
                detail={"swell": swell, "shakes_db": louder},
            )
        )
    return found


def _louder_db(swell: Swell, once: ToneTakes | None) -> float:
    """How much louder once a turn of its shaft is where a gear works; nan where nothing tells."""
    if once is None:
        return float("nan")
    mine = [over for take, over in once.above_db.items() if take in swell.shares]
    missed = [over for take, over in once.at_most_db.items() if take in swell.shares]
    known = {**once.above_db, **once.at_most_db}
    elsewhere = [over for take, over in known.items() if take not in swell.shares]
    if len(mine) < FEWEST_TAKES or len(mine) < HEARD * len(mine + missed) or not elsewhere:
        return float("nan")
    return float(np.median(mine) - np.median(elsewhere))


def _odds(swell: Swell, louder_db: float) -> float:
    """Natural log odds; a lone take says less, and so does a gear that swells here and there or now
    more, now less."""
    shares = np.array(list(swell.shares.values()))
    unlike = float(np.log(max(np.log(shares).std(), ALIKE) / UNLIKE))
    odds = EVEN + STEEP * swell.log_odds
    if np.isfinite(louder_db):
        odds += SHAKES / (1.0 + np.exp((LOUDER_DB - louder_db) / LOUDER_SPREAD_DB))
    if unlike > 0.0 or len(shares) > FEWEST_TAKES:
        odds -= unlike * (UNLIKE_LEAN if unlike > 0.0 else ALIKE_LEAN)
    if len(shares) < FEWEST_TAKES:
        odds = min(odds, FEW_SAY)
    least = float(np.quantile(shares, 0.25))
    if least < EVERYWHERE and np.log(least / swell.share) + swell.excess.over < FAR_OVER:
        odds = min(odds, PATCHY_SAYS)
    return float(np.clip(odds, -4.0, SAYS))
