"""Which suspects, none, one or two of them, explain all readings together best?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from vibecheck.diagnosis.chance.scales import SizeLaw
from vibecheck.diagnosis.readings.keys import Key
from vibecheck.diagnosis.suspects.suspect import Suspect

MOST_PAIRED = 24
"""Pairs are tried among this many of the best single suspects."""
WHOLE = 0.01
"""How near a ratio of rates in step comes to a whole number."""
MUTE, SLOW, FAINT = 0.3, 0.5, 1.5
"""How often a part that strikes is too slow to be heard at its slower positions (judgement), how
slow that is, of its fastest, and what must have become of the slowest that is heard: a blow carries
a quarter of the power at half the speed, and what other shafts make does not fall with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A suspect with the probability that it is at fault, whatever else is."""

    suspect: Suspect
    probability: float
    log_odds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Values listened to, their row (rotor or gear whose healthy size they share), and the law.

    ``rows`` maps row name to the keys in it; ``laws`` maps the kind of reading to its law.
    ``leaks`` maps a key to the keys it would also raise a little (a rotor at a whole multiple).
    ``speeds`` maps key to the speed of its rotor, in hertz, for those that a slow part may leave
    silent. ``alone`` are the readings that one gear makes by itself, of every gear whose blows
    are steady: a sound one may be livelier than its rotor's others.
    """

    values: Mapping[Key, float]
    rows: Mapping[str, tuple[Key, ...]]
    laws: Mapping[str, SizeLaw]
    leaks: Mapping[Key, tuple[Key, ...]]
    speeds: Mapping[Key, float] = field(default_factory=dict)
    alone: Sequence[frozenset[Key]] = ()

    def law(self, kind: str) -> SizeLaw:
        """The law of a kind of reading; its first word says which."""
        return self.laws[kind.split()[0]]


def judge(suspects: Sequence[Suspect], readings: Readings) -> list[Judged]:
    """Probability of every suspect, from weighing all sets of up to two of them.

    Parameters
    ----------
    suspects : sequence of Suspect
    readings : Readings

    Returns
    -------
    list of Judged
        In the order of ``suspects``.
    """
    cache: dict[tuple[str, frozenset[Key], frozenset[Key]], float] = {}

    def weight(members: tuple[Suspect, ...]) -> float:
        return _log_weight(members, readings, cache)

    nothing = weight(())
    alone = np.array([weight((s,)) - nothing for s in suspects])
    best = [int(k) for k in np.argsort(-alone)[:MOST_PAIRED]]
    sets: list[tuple[int, ...]] = [(), *((k,) for k in range(len(suspects)))]
    sets += [tuple(sorted(pair)) for pair in combinations(best, 2) if _compatible(pair, suspects)]
    logs = np.array(
        [
            0.0
            if not members
            else alone[members[0]]
            if len(members) == 1
            else weight(tuple(suspects[k] for k in members)) - nothing
            for members in sets
        ]
    )
    share = np.exp(logs - logs.max())
    share /= share.sum()
    result = []
    for k, suspect in enumerate(suspects):
        probability = float(sum(w for w, members in zip(share, sets, strict=True) if k in members))
        result.append(
            Judged(suspect=suspect, probability=min(probability, 1.0), log_odds=float(alone[k]))
        )
    return result


def _compatible(pair: tuple[int, ...], suspects: Sequence[Suspect]) -> bool:
    """Whether two suspects may be at fault together: not two names for one thing."""
    a, b = suspects[pair[0]], suspects[pair[1]]
    if a.part_kind == b.part_kind and set(a.parts) & set(b.parts):
        return False
    return not (a.claims and a.claims == b.claims)


def _log_weight(
    members: tuple[Suspect, ...],
    readings: Readings,
    cache: dict[tuple[str, frozenset[Key], frozenset[Key]], float],
) -> float:
    """Log of prior times likelihood of everything read, were just these suspects at fault.

    What a suspect may raise besides its own readings explains rivals away; it never speaks for the
    suspect by more than its own readings do.
    """
    total = sum(float(np.log(s.prior)) + s.evidence for s in members)
    claimed: set[Key] = set()
    raised: set[Key] = set()
    for suspect in sorted(members, key=lambda s: -len(s.claims)):
        total += _faulty(suspect.claims - claimed, readings)
        claimed |= suspect.claims
        raised |= suspect.raises
        raised.update(_leaked(suspect, readings))
    raised -= claimed
    calm, lifted, whole = 0.0, 0.0, 0.0
    for row, keys in readings.rows.items():
        mine = frozenset(claimed.intersection(keys))
        up = frozenset(raised.intersection(keys))
        calm += _cached(cache, row, keys, mine, frozenset(), readings)
        whole += _cached(cache, row, keys, frozenset(), frozenset(), readings)
        lifted += _cached(cache, row, keys, mine, up, readings)
    own = sum(s.evidence for s in members) + _faulty(claimed, readings) + calm - whole
    return total + calm + min(lifted - calm, max(0.0, own))


def _leaked(suspect: Suspect, readings: Readings) -> set[Key]:
    """Readings at rates in step that a suspect's own would raise a little.

    A tooth strikes at every turn alike, so that rotors that turn slower in step have several equal
    blows a turn, and none that stands out; what is loose may strike harder every other time.
    """
    pairs = [(key, k) for key in suspect.claims for k in readings.leaks.get(key, ())]
    if suspect.part_kind != "gear":
        return {k for _, k in pairs}
    return {k for key, k in pairs if k[0] != key[0] or _times_as_fast(k, key)}


def _times_as_fast(one: Key, other: Key) -> bool:
    """Whether one rate is twice the other, three times, and so on."""
    ratio = one[2] / other[2]
    return ratio > 1.5 and abs(ratio - round(ratio)) < WHOLE


def _cached(
    cache: dict[tuple[str, frozenset[Key], frozenset[Key]], float],
    row: str,
    keys: Sequence[Key],
    claimed: frozenset[Key],
    raised: frozenset[Key],
    readings: Readings,
) -> float:
    known = (row, claimed, raised)
    if known not in cache:
        cache[known] = _row(keys, claimed, raised, readings)
    return cache[known]


def _faulty(keys: Iterable[Key], readings: Readings) -> float:
    by_kind: dict[str, list[Key]] = {}
    for key in sorted(keys):
        if key in readings.values:
            by_kind.setdefault(key[0], []).append(key)
    return sum(_heard_or_slow(mine, readings) for mine in by_kind.values())


def _heard_or_slow(keys: Sequence[Key], readings: Readings) -> float:
    """Log likelihood of one kind of a faulty part's readings: heard in all takes, or only from some
    speed up."""
    law = readings.law(keys[0][0])
    order = sorted(keys, key=lambda key: readings.speeds.get(key, 0.0))
    values = [readings.values[key] for key in order]
    speeds = [readings.speeds.get(key, 0.0) for key in order]
    throughout = law.log_faulty(values)
    mute = [
        law.log_healthy(values[:count]) + law.log_faulty(values[count:])
        for count in range(1, len(values) // 2 + 1)
        if 0.0 < speeds[count - 1] <= SLOW * speeds[-1]
        and values[count] * (speeds[count - 1] / speeds[count]) ** 2 <= FAINT
    ]
    if not mute:
        return throughout
    either = [np.log1p(-MUTE) + throughout, *(np.log(MUTE / len(mute)) + np.array(mute))]
    return float(np.logaddexp.reduce(either))


def _row(
    keys: Sequence[Key], claimed: frozenset[Key], raised: frozenset[Key], readings: Readings
) -> float:
    """Likelihood of what is left of a row; what a fault elsewhere may raise is raised or not."""
    left = [key for key in keys if key not in claimed]
    if not left:
        return 0.0
    law = readings.law(left[0][0])
    healthy = _sound(left, readings)
    lifted = [readings.values[key] for key in left if key in raised]
    if not lifted:
        return healthy
    rest = [key for key in left if key not in raised]
    other = _sound(rest, readings) + law.log_faulty(lifted)
    return float(np.logaddexp(healthy, other) - np.log(2.0))


def _sound(keys: Sequence[Key], readings: Readings) -> float:
    """Likelihood of a row's readings were everything sound that makes them."""
    if not keys:
        return 0.0
    places = {key: number for number, key in enumerate(keys)}
    apart = [[places[key] for key in own if key in places] for own in readings.alone]
    apart = [sorted(own) for own in apart if own]
    values = [readings.values[key] for key in keys]
    return readings.law(keys[0][0]).log_healthy(values, apart)
