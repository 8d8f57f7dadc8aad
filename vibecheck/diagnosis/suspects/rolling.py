"""Bearing elements heard over the sweep, as suspects with their odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.rolling import HEARD_THERE, SPEAKS, RollingScore
from vibecheck.diagnosis.readings.turning_lines import SLIPS
from vibecheck.diagnosis.suspects.bearing_elsewhere import fit, log_odds, unknown_beside
from vibecheck.diagnosis.suspects.suspect import Suspect

ELEMENT_FAULT = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "rolling element",
    "cage": "cage",
}
EVEN_DEPTH, ENOUGH = 0.12, 8.0
"""Depth, in a sound full of gears, at which depth alone would leave the odds at ``ENOUGH``."""
PLAIN = -3.5
"""Decimal logarithm of chance at which a family counts as plain."""
FAST = 0.5
"""Takes at least this fast, over the fastest, must have it deep."""
RESOLVED = 2.0
"""Lines this many bins of a take's spectrum apart are two lines."""
AS_GOOD_AS_NAMED, SECOND_MOST = 7.0, 3.5
"""Log odds from which a bearing is as good as named, and the most for a shallow one beside it."""
SHALLOW, DEEPER = 0.35, 5.0
"""Echoes are mostly shallower than this, over the depth of what they echo; and the more log odds
for a deeper one, per natural log."""
ALL_HEARD, LIKE, DEEP, ALL_HEARD_SAYS = -2.0, 0.45, 0.35, -0.4
"""Sound bearings may all be heard. One is told from its like by depth: where a bearing of another
shaft is heard as well (decimal logarithm of chance), at least so deep over it, one shallower than
``DEEP`` is possible, no more (log odds, prior and all)."""
FASTEST, MOTOR_DEEP, EVEN_MOTOR, MOTOR_LEAN = 0.9, 0.55, 0.45, 1.4
"""Nor is one of a shaft this fast over the fastest (median take), mostly the motor, that is not
deeper than sound motor bearings have been measured to be (tests/against/test_measured_bearings;
those of two other makers and the project's own too): what strikes so often, at all positions, is
the first to be heard. Depth at which it is as likely bad as sound, and log odds per natural log."""
SHALLOW_ONE, SHALLOW_SAYS, DEPTH_LEAN, PLAINLY_DEEP = 0.13, 1.4, 1.3, 0.45
"""The most that is said of others by how deep they are: log odds at a depth, more per natural log,
up to where depth leaves no doubt. Of five makers' bearings on slower shafts that stand out from
their like, 12 of 15 shallower than 0.2 are bad, 15 of 17 up to 0.3, and all 30 deeper ones."""
BESIDE_LESS = 3.0
"""How much less is said of a second element of a shaft that is held so: their odds add up where
they are named together."""
NEIGHBOUR = 1.8
"""Natural log odds below which a bearing of unknown inside on the same shaft is named as well."""
CAGE_MOST, CAGE_DEPTH = 11.0, 4.0
"""A cage is at most likely, and must be heard deeper: much else comes at such slow rates."""
BEHIND, LOOSE_BEHIND = 3.0, 1.5
"""Log odds behind the best at which an element on the same line is named with it; on a shaft whose
speed is a guess, all told."""
MANY_HALVES = 0.3
"""Share of a shaft's half multiples that tells of something loose."""
SAME_LINE, OVERTONES = 0.004, (1.5, 2.0, 3.0)
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
    found = [_rolling_suspect(group, heard) for group in _with_rollers(kept)]
    return _one_bearing_first(_among_their_like(found, heard.takes))


def _among_their_like(found: list[Suspect], takes: Sequence[Heard]) -> list[Suspect]:
    """Shallow ones are possible at most where those of other shafts are heard about as deep."""
    depths = [depth_where_fast(_score(suspect), takes) for suspect in found]
    heard = [
        (suspect.rotor, depth)
        for suspect, depth in zip(found, depths, strict=True)
        if _score(suspect).log10_chance <= ALL_HEARD and _score(suspect).family.name != "cage"
    ]
    told: list[Suspect] = []
    held: set[str] = set()
    for suspect, depth in sorted(zip(found, depths, strict=True), key=lambda each: -each[1]):
        most = float("inf")
        if _score(suspect).family.name != "cage":
            most = _most_by_depth(depth, fast=among_the_fastest(suspect.rotor, takes))
            most -= BESIDE_LESS if suspect.rotor in held else 0.0
            held.update([suspect.rotor] if np.isfinite(most) else [])
        if like_others(depth, [other for rotor, other in heard if rotor != suspect.rotor]):
            most = min(most, ALL_HEARD_SAYS)
        most -= float(np.log(suspect.prior))
        if suspect.evidence > most:
            shallow = {**suspect.detail, "shallow": depth}
            suspect = replace(suspect, evidence=most, detail=shallow)
        told.append(suspect)
    return told


def _most_by_depth(depth: float, *, fast: bool) -> float:
    """Most log odds of a flaw that a sound bearing's depth leaves."""
    at = max(depth, 1e-3)
    if fast and depth < MOTOR_DEEP:
        return MOTOR_LEAN * float(np.log(at / EVEN_MOTOR))
    if depth >= PLAINLY_DEEP:
        return float("inf")
    return SHALLOW_SAYS + DEPTH_LEAN * float(np.log(at / SHALLOW_ONE))


def among_the_fastest(shaft: str, takes: Sequence[Heard]) -> bool:
    """Whether a shaft turns about as fast as the fastest, in the median take that tells."""
    shares = [
        known[shaft] / max(known.values())
        for known in (take.expected_ratios() for take in takes)
        if shaft in known
    ]
    return bool(shares) and float(np.median(shares)) >= FASTEST


def like_others(depth: float, others: Sequence[float]) -> bool:
    """Whether a family is hardly deeper than those of other shafts, and not deep by itself."""
    return depth < DEEP and any(other >= LIKE * depth for other in others if other > 0.0)


def _one_bearing_first(found: list[Suspect]) -> list[Suspect]:
    """Beside a bearing that is as good as named, another is hardly believed unless it is as deep:
    it may be an echo."""
    lead = max(found, key=_strength, default=None)
    if lead is None or _strength(lead)[0] < AS_GOOD_AS_NAMED:
        return found
    return [
        suspect
        if set(suspect.parts) & set(lead.parts)
        else replace(suspect, evidence=min(suspect.evidence, _second_most(suspect, lead)))
        for suspect in found
    ]


def _second_most(suspect: Suspect, lead: Suspect) -> float:
    """Most that a second bearing says, by how deep it goes against the first."""
    depth, first = (float(np.nanmedian(_score(each).depth)) for each in (suspect, lead))
    share = max(depth, 1e-3) / max(first, 1e-3)
    return SECOND_MOST + DEEPER * max(0.0, float(np.log(share / SHALLOW)))


def _strength(suspect: Suspect) -> tuple[float, float]:
    """Odds that something rolls there, whosever it is; then the evidence beyond what odds count."""
    rolls = suspect.detail["rolls"]
    assert isinstance(rolls, float)
    return rolls, _score(suspect).evidence


def _score(suspect: Suspect) -> RollingScore:
    score = suspect.detail["score"]
    assert isinstance(score, RollingScore)
    return score


def _with_rollers(groups: list[list[RollingScore]]) -> list[list[RollingScore]]:
    """Where a cage leads, the rolling elements of its bearing join it.

    A bad ball passes the load once a cage turn: what is heard at the cage's rate may be the ball.
    """
    joined: list[list[RollingScore]] = []
    for group in groups:
        if group[0].family.name != "cage":
            continue
        cages = {score.bearing for score in group}
        for other in groups:
            lead = other[0]
            if lead.family.name == "roller" and lead.bearing in cages and lead not in group:
                weaker = lead.log10_chance >= group[0].log10_chance
                if weaker and lead.evidence > SPEAKS:
                    group.extend(other)
                    joined.append(other)
    return [group for group in groups if not any(group is other for other in joined)]


def _overtone_of(heard: Listened, one: RollingScore, other: RollingScore) -> bool:
    """Whether a family is every second or third line of another that stands on its own.

    The other has been judged without the lines they share, so what is left of it is its own. At
    one and a half times a plainer one, every other line is the other's third.
    """
    if other.log10_chance > PLAIN or other is one:
        return False
    for take in heard.takes:
        known = take.expected_ratios()
        if one.shaft in known and other.shaft in known:
            times = one.order * known[one.shaft] / (other.order * known[other.shaft])
            near = [k for k in OVERTONES if abs(times / k - 1) <= SAME_LINE]
            if not near or (near == [1.5] and one.evidence > other.evidence):
                return False
    return True


def _same_line(heard: Listened, one: RollingScore, other: RollingScore) -> bool:
    together = 0
    for take in heard.takes:
        known = take.expected_ratios()
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
    best = max(group, key=lambda score: odds[id(score)] + _fits(score, heard))
    rivals = [
        s
        for s in group
        if _stands(s, best, heard, odds)
        or (s.bearing == best.bearing and abs(s.family.order / best.family.order - 1) < ALIKE)
        or (s.bearing == best.bearing and s.family.name == "roller" and s.evidence > SPEAKS)
    ]
    kind = fault(ELEMENT_FAULT[best.family.name])
    named = {s.family.name for s in rivals}
    beside, elsewhere = unknown_beside(best, heard)
    neighbours = beside if log_odds([best], heard, len(beside)) < NEIGHBOUR else []
    name = kind.name if len(named) == 1 and not neighbours else "bearing worn, race not known"
    prior = kind.prior * len(rivals)
    unknown = sum(elsewhere.values()) + (0 if neighbours else len(beside))
    others = _of_others(group, rivals)
    ours = log_odds(rivals, heard, unknown, others, beside=len(neighbours))
    return Suspect(
        parts=tuple(dict.fromkeys([*(s.bearing for s in rivals), *neighbours])),
        part_kind="bearing",
        fault=name,
        rotor=best.shaft,
        raises=_turning_with(best.shaft, heard)
        if name != "outer race" and odds[id(best)] > AS_GOOD_AS_NAMED
        else frozenset(),
        prior=prior,
        evidence=-float(np.logaddexp(-odds[id(best)], float(np.log(prior)) - ours)),
        detail={"score": best, "rivals": tuple(rivals), "rolls": odds[id(best)]},
    )


def _fits(score: RollingScore, heard: Listened) -> float:
    """What the slip says of elements on one line: nothing where their shafts' speeds are known."""
    return float(np.log(fit(score, heard))) if score.reach else 0.0


def _stands(
    one: RollingScore, best: RollingScore, heard: Listened, odds: Mapping[int, float]
) -> bool:
    """Whether an element on the same line is named beside the best: it fits about as well.

    On a shaft whose speed was not heard much more fits than is there.
    """
    behind = odds[id(best)] - odds[id(one)]
    if one.reach > best.reach:
        return behind + float(np.log(fit(best, heard) / fit(one, heard))) < LOOSE_BEHIND
    return behind < BEHIND


def _of_others(group: Sequence[RollingScore], named: Sequence[RollingScore]) -> list[RollingScore]:
    """Elements on the same line that a guessed speed lets fit as well, of bearings not named."""
    bearings = {score.bearing for score in named}
    return [score for score in group if score.reach and score.bearing not in bearings]


def _turning_with(shaft: str, heard: Listened) -> frozenset[Key]:
    """Knock readings of a shaft: a flaw that turns passes through the load once a turn."""
    return frozenset(
        rate_key("knock", number, ratio)
        for number, take in enumerate(heard.takes)
        if (ratio := take.ratio(shaft)) is not None
    )


def rolling_odds(score: RollingScore, takes: Sequence[Heard]) -> float:
    """Natural log odds for a flaw: beyond what decoys reach, and deep where the shaft is fast.

    A family on a whole or half multiple of its own shaft, as far as the takes that have it can
    resolve, may be the shaft's.
    """
    expected = [take.expected_ratios().get(score.shaft, 0.0) * take.base_hz for take in takes]
    speeds = np.array(expected)
    known = np.isfinite(score.surprise) & (speeds > 0)
    if not known.any():
        return -4.0
    strong = known & (np.nan_to_num(score.surprise) > HEARD_THERE)
    surprise = np.log(10.0) * (-score.log10_chance - 0.5)
    depth = depth_where_fast(score, takes)
    depth /= CAGE_DEPTH if score.family.name == "cage" else 1.0
    deep = ENOUGH + 3.0 * np.log(max(depth, 1e-3) / EVEN_DEPTH) + 0.2 * max(0.0, surprise - 12.0)
    odds = float(-np.logaddexp(-surprise, -deep))
    if _on_whole_multiple(score, takes, strong) or _at_one_speed(strong, known, speeds):
        odds = min(odds, 2.0)
    if score.family.name == "cage":
        odds = min(odds, CAGE_MOST)
    return float(np.clip(odds, -4.0, 13.0))


def depth_where_fast(score: RollingScore, takes: Sequence[Heard]) -> float:
    """Depth of a family in the takes in which its shaft is fast (median); 0 where none tells."""
    speeds = np.array([t.expected_ratios().get(score.shaft, 0.0) * t.base_hz for t in takes])
    known = np.isfinite(score.surprise) & (speeds > 0)
    if not known.any():
        return 0.0
    return float(np.median(score.depth[known & (speeds >= FAST * speeds[known].max())]))


def _on_whole_multiple(
    score: RollingScore, takes: Sequence[Heard], strong: NDArray[np.bool_]
) -> bool:
    """Whether hardly a take that has it resolves it from a whole or half multiple of its shaft.

    Halves are what a loose part makes, and then many of them.
    """
    resolved, many = 0, score.halves > MANY_HALVES
    for take, order, has in zip(takes, score.orders, strong, strict=True):
        expected = take.expected_ratio(score.shaft)
        if not has or expected is None:
            continue
        ratio, reach = expected
        slips = take.turning.rotors[score.shaft].group != take.group
        slack = max(reach, SLIPS if slips else 0.0) * order
        whole = abs(order - round(order)) - slack
        half = abs(order - 0.5 * round(2.0 * order)) - (slack if many else 0.0)
        apart = whole if reach and not many else min(whole, half)
        resolved += apart * take.turns * ratio >= RESOLVED
    return resolved < min(2, max(1, int(strong.sum())))


def _at_one_speed(
    strong: NDArray[np.bool_], known: NDArray[np.bool_], speeds: NDArray[np.float64]
) -> bool:
    """Heard at one shaft speed only although others were recorded: fixed hertz looks like that."""
    if strong.sum() < 2 or np.ptp(speeds[known]) < 0.05 * speeds[known].mean():
        return False
    return bool(np.ptp(speeds[strong]) < 0.02 * speeds[strong].mean())
