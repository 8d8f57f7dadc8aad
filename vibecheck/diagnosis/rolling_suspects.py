"""Bearing elements heard over the sweep, as suspects with their odds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.rolling import PLAIN, RollingScore
from vibecheck.diagnosis.suspects import Key, Suspect, rate_key

ELEMENT_FAULT = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "rolling element",
    "cage": "cage",
}
EVEN_DEPTH, ENOUGH = 0.06, 8.0
"""Depth, in a sound full of gears, at which depth alone would leave the odds at ``ENOUGH``."""
SAME_LINE = 0.004
ALIKE = 0.015
"""Two elements of one bearing with rates this close cannot be told apart, whatever slip says."""


def rolling_suspects(heard: Listened) -> list[Suspect]:
    """Bearing elements; those found on the very same line in every take share one suspect."""
    groups: list[list[RollingScore]] = []
    for score in sorted(heard.rolling, key=lambda s: s.log10_chance):
        for group in groups:
            if _same_line(heard, group[0], score):
                group.append(score)
                break
        else:
            groups.append([score])
    kept = [g for g in groups if not any(_overtone_of(heard, g[0], o[0]) for o in groups)]
    return [_rolling_suspect(group, heard) for group in kept]


def _overtone_of(heard: Listened, one: RollingScore, other: RollingScore) -> bool:
    """Whether a family is every second or third line of another that stands on its own.

    The other has been judged without the lines they share, so what is left of it is its own.
    """
    if other.log10_chance > PLAIN or other is one:
        return False
    for take in heard.takes:
        known = take.turning_ratios()
        if one.shaft in known and other.shaft in known:
            times = one.order * known[one.shaft] / (other.order * known[other.shaft])
            if round(times) not in (2, 3) or abs(times / round(times) - 1) > SAME_LINE:
                return False
    return True


def _same_line(heard: Listened, one: RollingScore, other: RollingScore) -> bool:
    together = 0
    for take in heard.takes:
        known = take.turning_ratios()
        if one.shaft not in known or other.shaft not in known:
            continue
        a = one.order * known[one.shaft]
        b = other.order * known[other.shaft]
        if abs(a / b - 1) > SAME_LINE:
            return False
        together += 1
    return together > 0


def _rolling_suspect(group: list[RollingScore], heard: Listened) -> Suspect:
    odds = {id(score): rolling_odds(score, heard.takes) for score in group}
    best = max(group, key=lambda score: odds[id(score)])
    rivals = [
        s
        for s in group
        if odds[id(s)] > odds[id(best)] - 3.0
        or (s.bearing == best.bearing and abs(s.family.order / best.family.order - 1) < ALIKE)
    ]
    kind = fault(ELEMENT_FAULT[best.family.name])
    named = {s.family.name for s in rivals}
    name = kind.name if len(named) == 1 else "bearing worn, race not known"
    return Suspect(
        parts=tuple(dict.fromkeys(s.bearing for s in rivals)),
        part_kind="bearing",
        fault=name,
        rotor=best.shaft,
        raises=_turning_with(best.shaft, heard) if name != "outer race" else frozenset(),
        prior=kind.prior * len(rivals),
        evidence=odds[id(best)],
        detail={"score": best, "rivals": tuple(rivals)},
    )


def _turning_with(shaft: str, heard: Listened) -> frozenset[Key]:
    """Knock readings of a shaft: a flaw that turns passes through the load once a turn."""
    return frozenset(
        rate_key("knock", number, ratio)
        for number, take in enumerate(heard.takes)
        if (ratio := take.ratio(shaft)) is not None
    )


def rolling_odds(score: RollingScore, takes: Sequence[Heard]) -> float:
    """Natural log odds for a flaw: surprise, depth, and presence must all be there.

    A flaw is struck in every take in which its shaft turns; quiet slow takes are forgiven, quiet
    fast ones are not. A family on a whole multiple of its own shaft may be the shaft's.
    """
    speeds = np.array([take.rotor_hz(score.shaft) or 0.0 for take in takes])
    known = np.isfinite(score.surprise) & (speeds > 0)
    if not known.any():
        return -4.0
    strong = known & (score.surprise > 0.8)
    presence = float(speeds[strong].sum() / speeds[known].sum())
    surprise = np.log(10.0) * (0.75 * -score.log10_chance - 0.5)
    depth = float(np.median(score.depth[strong])) if strong.any() else 0.0
    deep = ENOUGH + 2.0 * np.log(max(depth, 1e-3) / EVEN_DEPTH) + 0.2 * max(0.0, surprise - 12.0)
    there = ENOUGH + 16.0 * (presence - 0.55)
    odds = float(-np.logaddexp.reduce([-surprise, -deep, -there]))
    if _on_whole_multiple(score, takes) or _at_one_speed(strong, known, speeds):
        odds = min(odds, 2.0)
    if score.family.name == "cage":
        odds = min(odds, 5.0)
    return float(np.clip(odds, -4.0, 13.0))


def _on_whole_multiple(score: RollingScore, takes: Sequence[Heard]) -> bool:
    """Whether even the longest take leaves the order on a whole multiple of its shaft."""
    turns = max((t.turns * (t.ratio(score.shaft) or 0.0) for t in takes), default=0.0)
    return abs(score.order - round(score.order)) * turns < 3.0


def _at_one_speed(
    strong: NDArray[np.bool_], known: NDArray[np.bool_], speeds: NDArray[np.float64]
) -> bool:
    """Heard at one shaft speed only although others were recorded: fixed hertz looks like that."""
    if strong.sum() < 2 or np.ptp(speeds[known]) < 0.05 * speeds[known].mean():
        return False
    return bool(np.ptp(speeds[strong]) < 0.02 * speeds[strong].mean())
