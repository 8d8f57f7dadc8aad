"""Which suspects, none, one or two of them, explain all readings together best?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from vibecheck.diagnosis.scales import SizeLaw
from vibecheck.diagnosis.suspects import Key, Suspect

MOST_PAIRED = 24
"""Pairs are tried among this many of the best single suspects."""


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
    """

    values: Mapping[Key, float]
    rows: Mapping[str, tuple[Key, ...]]
    laws: Mapping[str, SizeLaw]
    leaks: Mapping[Key, tuple[Key, ...]]

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
    cache: dict[tuple[str, frozenset[Key]], float] = {}

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
    a, b = suspects[pair[0]], suspects[pair[1]]
    return not (a.claims and a.claims == b.claims)


def _log_weight(
    members: tuple[Suspect, ...],
    readings: Readings,
    cache: dict[tuple[str, frozenset[Key]], float],
) -> float:
    total = sum(float(np.log(s.prior)) + s.evidence for s in members)
    claimed: set[Key] = set()
    leaked: set[Key] = set()
    for suspect in sorted(members, key=lambda s: -len(s.claims)):
        own = suspect.claims - claimed
        claimed |= suspect.claims
        leaked.update(k for key in suspect.claims for k in readings.leaks.get(key, ()))
        by_kind: dict[str, list[float]] = {}
        for key in sorted(own):
            if key in readings.values:
                by_kind.setdefault(key[0], []).append(readings.values[key])
        total += sum(readings.law(kind).log_faulty(v) for kind, v in by_kind.items())
    leaked -= claimed
    total += sum(_either(key, readings) for key in leaked if key in readings.values)
    gone = frozenset(claimed | leaked)
    for row, keys in readings.rows.items():
        mine = gone.intersection(keys)
        if (row, mine) not in cache:
            left = tuple(key for key in keys if key not in mine)
            cache[(row, mine)] = _healthy_row(left, readings)
        total += cache[(row, mine)]
    return total


def _either(key: Key, readings: Readings) -> float:
    """A reading that a fault elsewhere may or may not have raised."""
    law, value = readings.law(key[0]), [readings.values[key]]
    return float(np.logaddexp(law.log_healthy(value), law.log_faulty(value)) - np.log(2.0))


def _healthy_row(keys: tuple[Key, ...], readings: Readings) -> float:
    if not keys:
        return 0.0
    return readings.law(keys[0][0]).log_healthy([readings.values[k] for k in keys])
