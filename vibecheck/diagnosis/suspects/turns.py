"""Shafts with once-a-turn tones or half orders, as suspects with their odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from vibecheck.diagnosis.clipping import much_clipped
from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.lines import EVEN, TurnLines, coupled_rotors
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import (
    HALVES_LAW,
    RotorTones,
    rotor_tones,
)
from vibecheck.diagnosis.suspects.suspect import Suspect

STEEP, AS_SOUND, EVEN_BENT = 1.3, -0.6, -1.0
"""Odds of the model against odds that came true: one shaft in five hundred sound ones of two makers
of invented machines comes near where a fault is likely."""
STEADY_SAYS = 4.6
"""Most that a shaft says whose speed never changes, so that nothing shows that its push grows with
speed, or beside which no other is heard to turn (at most "possible")."""
UNBALANCED, RESONANT = 4.0, 3.0
"""Exponent of amplitude against speed beyond which it is a structure that sings near the top speed:
a push that grows with the square of speed, felt through a spring, makes acceleration grow with the
fourth power; and natural log odds for each one more."""
MORE_THAN_OTHERS = 1.0
"""A sensor that is deaf at the slow end makes every shaft's tones grow steeply: only what grows by
more than this over the other shafts' stands out by its growth."""

THROWS, THROWN, THROWN_LEAN = 3.2, 0.3, 10.0
"""A bent shaft throws every gear it carries, and so does a loose one. Natural log odds of either
where all of them swell, two or more, by this much over what the machine's others explain (natural
logarithm), and how sharply: of five makers' invented shafts one bent one in four does, one sound
one in a hundred."""

HEAVES = 0.3
"""How often a loose part also raises the first two multiples of its shaft (judgement)."""


def turns_heard(heard: Listened) -> list[RotorTones]:
    """Once- and twice-a-turn tones of every shaft, each held against the others'."""
    loads = [take.ready.take.kind for take in heard.takes]
    rows = [_trusted(heard, *pair) for pair in zip(heard.turns, heard.takes, strict=True)]
    return rotor_tones(rows, heard.machine.shafts, loads, coupled_rotors(heard.takes))


def turn_suspects(
    heard: Listened, each: Sequence[RotorTones], swells: Sequence[Swell] = ()
) -> list[Suspect]:
    """Looseness by half orders; imbalance and bends by once- and twice-a-turn tones."""
    by_name = {name: tones for tones in each for name in tones.together}
    return [*_loose_suspects(heard, by_name, swells), *_turn_suspects(each, swells)]


def _trusted(heard: Listened, row: Mapping[str, TurnLines], take: Heard) -> Mapping[str, TurnLines]:
    """Tones of one take that may tell of a shaft.

    Under a cut the cut itself pushes once a turn of the spindle; and crests cut off flat make slow
    tones out of loud ones.
    """
    if much_clipped(take.ready.take.recording):
        return {}
    if take.ready.take.kind != "cutting":
        return row
    return {name: lines for name, lines in row.items() if name != heard.machine.spindle}


def _loose_suspects(
    heard: Listened, tones: Mapping[str, RotorTones], swells: Sequence[Swell]
) -> list[Suspect]:
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
            raises=_knocks(heard, names),
            prior=kind.prior * len(names),
            evidence=max((_heaves(heard, tones[n]) for n in names if n in tones), default=0.0)
            + _throws(names, swells),
            detail={"thrown": _thrown(names, swells)},
        )
        for keys, names in claims.items()
    ]


def _knocks(heard: Listened, names: Sequence[str]) -> frozenset[Key]:
    """A loose part knocks as its shaft turns, whichever of its gears works."""
    return frozenset(
        rate_key("knock", number, take.turning_ratios()[name])
        for number, take in enumerate(heard.takes)
        for name in names
        if name in take.turning_ratios()
    )


def _heaves(heard: Listened, tones: RotorTones) -> float:
    """What once- and twice-a-turn tones say of a loose part: some heave, some only knock.

    Other things raise them as well, so they never say more than its half orders do.
    """
    loud = max(tones.log_imbalance, tones.log_bent)
    said = STEEP * float(np.logaddexp(np.log(1.0 - HEAVES), np.log(HEAVES) + loud))
    halves = [row[tones.rotor].halves for row in heard.turns if tones.rotor in row]
    clear = [max(0.02, half - EVEN) for half in halves if np.isfinite(half)]
    return min(said, max(0.0, HALVES_LAW.log_odds(clear)))


def _turn_suspects(each: Sequence[RotorTones], swells: Sequence[Swell]) -> list[Suspect]:
    found = []
    for tones in each:
        bent = STEEP * tones.log_bent + EVEN_BENT + _throws(tones.together, swells)
        for name, odds in (
            ("imbalance", _held(STEEP * tones.log_imbalance + AS_SOUND, tones)),
            ("bent or misaligned", bent),
        ):
            found.append(
                Suspect(
                    parts=tones.together,
                    part_kind="shaft",
                    fault=name,
                    rotor=tones.rotor,
                    prior=fault(name).prior * len(tones.together),
                    evidence=odds,
                    detail={"tones": tones, "thrown": _thrown(tones.together, swells)},
                )
            )
    return found


def _thrown(shafts: Sequence[str], swells: Sequence[Swell]) -> float:
    """How far every gear of a shaft swells over what the rest explains; nan with fewer than two."""
    over = [swell.excess.over for swell in swells if swell.rotor in shafts]
    return min(over) if len(over) > 1 else float("nan")


def _throws(shafts: Sequence[str], swells: Sequence[Swell]) -> float:
    """What the gears of a shaft say of it: they all swell, or it is nothing to do with them."""
    least = _thrown(shafts, swells)
    if not np.isfinite(least):
        return 0.0
    return float(THROWS / (1.0 + np.exp(-THROWN_LEAN * (least - THROWN))))


def _held(odds: float, tones: RotorTones) -> float:
    """Odds of an imbalance, less where its growth with speed could not be seen, or is too steep."""
    if not np.isfinite(tones.growth) or not tones.others:
        return min(odds, STEADY_SAYS)
    as_the_others = tones.others_growth + MORE_THAN_OTHERS
    allowed = float(np.nanmax([UNBALANCED, as_the_others]))
    return odds - RESONANT * max(0.0, tones.growth - allowed)
