"""Shafts with once-a-turn tones or half orders, as suspects with their odds."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.suspects import Key, Suspect, rate_key
from vibecheck.diagnosis.turn_readings import RotorTones, rotor_tones

STEEP, EVEN = 1.3, 0.1
"""Odds of the model against odds that came true: it is wider than any one machine is (judgement
from two makers of invented machines)."""

STEADY_SAYS = 5.6
"""Most that a shaft says whose speed never changes: nothing shows that its push grows with speed,
and nothing else turns at its frequency (at most "possible")."""


def turn_suspects(heard: Listened) -> list[Suspect]:
    """Looseness by half orders; imbalance and bends by once- and twice-a-turn tones."""
    return [*_loose_suspects(heard), *_turn_suspects(heard)]


def _loose_suspects(heard: Listened) -> list[Suspect]:
    kind = fault("loose on its shaft or in its seat")
    claims: dict[frozenset[Key], list[str]] = {}
    for name in heard.machine.shafts:
        keys = frozenset(
            rate_key("halves", number, take.turning_ratios()[name])
            for number, take in enumerate(heard.takes)
            if name in heard.turns[number] and np.isfinite(heard.turns[number][name].halves)
        )
        if keys:
            claims.setdefault(keys, []).append(name)
    return [
        Suspect(
            parts=tuple(names),
            part_kind="shaft",
            fault=kind.name,
            rotor=names[0],
            claims=keys,
            prior=kind.prior * len(names),
        )
        for keys, names in claims.items()
    ]


def _turn_suspects(heard: Listened) -> list[Suspect]:
    found = []
    for tones in rotor_tones(heard.turns, heard.machine.shafts):
        for name, odds in (
            ("imbalance", _held(STEEP * tones.log_imbalance + EVEN, tones)),
            ("bent or misaligned", STEEP * tones.log_bent + EVEN),
        ):
            found.append(
                Suspect(
                    parts=(tones.rotor,),
                    part_kind="shaft",
                    fault=name,
                    rotor=tones.rotor,
                    prior=fault(name).prior,
                    evidence=odds,
                    detail={"tones": tones},
                )
            )
    return found


def _held(odds: float, tones: RotorTones) -> float:
    """Odds of an imbalance, less where its growth with speed could not be seen."""
    return odds if np.isfinite(tones.growth) else min(odds, STEADY_SAYS)
