"""Which fault, none or up to three of them explain best what has risen and what has not.

Every hypothesis must account for every trace: those it raises, those that lie on its lines, and all
others, which rise no more than they do from one sound sweep to the next, but for the odd one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, t

from vibecheck.diagnosis.since.levels import Numbers, Trace
from vibecheck.diagnosis.since.moves import SINGLE, sound_moves
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature
from vibecheck.diagnosis.since.sizes import Size
from vibecheck.diagnosis.since.where import carried_at_work
from vibecheck.diagnosis.suspects.rolling import ELEMENT_FAULT

NU, FEW = 12.0, 3.0
"""Degrees of freedom of what sound traces do: at most, and for each position."""
ODD, STRAY, ODD_DB, ODD_SPREAD_DB = 2e-4, 2e-3, 4.0, 4.0
"""Share of traces that rise for no reason the model knows, where nothing is wrong and where
something is that may be heard elsewhere too; and how far."""
STIR, STIR_DB = 0.006, 1.5
"""Share of traces that something wrong stirs a little, and how far."""
MAY, CARRIES_DB, CARRIES_FAR_DB = 0.25, 1.5, 4.0
"""How often what lies on a fault's lines is raised with it; and how much more than its own, of
traces that can be held against each other in decibels, and of others."""
BLOWS, TONES, OTHERS = range(3)
UNREAD_DB = 4.0
"""And of a belt, whose multiples are not read where a shaft's tones lie, but are there."""
CARRIES_FROM_DB = 6.0
"""What has hardly risen is heard nowhere else: how far beyond the least it must have."""
LEAST_DB = 3.5
"""A fault raises its own traces by about this at least, or nobody would call it one."""
WORSE = 1.6
"""How much further faults go beyond their middle than they fall short of it."""
BELOW_DB = 10.0
"""A tone that a fault raises besides goes as far only this much below what it must raise."""
MOST_PAIRED, MOST_THREE = 16, 8
PAIRED = 1.0
"""Two at once are rarer than each by itself would make them, and echoes commoner (natural log, for
each pair)."""
PRESSING = 6.0
"""Prior odds against those of a machine of which nobody knows more: who compares has a reason."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A signature with the probability that it is what has changed."""

    signature: Signature
    probability: float
    log_odds: float


def weighed(
    signatures: Sequence[Signature],
    overlaps: Sequence[frozenset[Trace]],
    found: Mapping[Trace, Rise],
) -> list[Weighed]:
    """Probability of every signature, from weighing all sets of up to three of them.

    Parameters
    ----------
    signatures : sequence of Signature
    overlaps : sequence of frozenset of Trace
        What lies on the lines of each, alongside.
    found : mapping of Trace to Rise

    Returns
    -------
    list of Weighed
        In the order of ``signatures``.
    """
    traces = list(found)
    place = {trace: n for n, trace in enumerate(traces)}
    rose, error = sound_moves(found)
    same = _same_readings(found)
    surest = np.array([min(numbers, key=lambda n: float(error[n])) for numbers in same], dtype=int)
    rose, error = rose[surest], error[surest]
    counts = np.array([len(rise.by_place) for rise in found.values()])
    still = np.asarray(t.logpdf(rose / error, np.minimum(NU, FEW * counts)) - np.log(error))
    odd = np.asarray(norm.logpdf(rose, ODD_DB, np.hypot(ODD_SPREAD_DB, error)))
    nothing = np.logaddexp(np.log1p(-ODD) + still, np.log(ODD) + odd)
    stirred = norm.logpdf(rose, STIR_DB, np.hypot(STIR_DB, error))
    rest = np.logaddexp.reduce(
        [np.log1p(-STRAY - STIR) + still, np.log(STIR) + stirred, np.log(STRAY) + odd]
    )

    scales = np.array([_scale(what) for what, _ in traces])

    def own(signature: Signature) -> dict[int, float]:
        """By the first name of each reading; what must have risen must under every name."""
        mine = sorted(signature.raises.items(), key=lambda each: each[1].sure)
        must = [rose[place[trace]] for trace, size in mine if size.sure and trace in place]
        echo = max(must, default=0.0) - BELOW_DB
        told: dict[int, float] = {}
        for trace, size in mine:
            if (n := place.get(trace)) is not None:
                worse = size.sure or scales[n] != TONES or rose[n] < echo
                told[same[n][0]] = _raised(size, rose[n], error[n], rest[n], WORSE if worse else 1)
        return told

    owns = [own(each) for each in signatures]
    beside = [np.array([place[trace] for trace in each], dtype=int) for each in overlaps]

    once_each = np.array([1.0 / len(numbers) for numbers in same])
    most = [_most_carried(each, rose, scales) for each in owns]
    often = [_often_carried(each, rose) for each in owns]
    for limits, signature in zip(most, signatures, strict=True):
        limits[TONES] += UNREAD_DB if signature.part_kind == "belt" else 0.0

    moved = {trace: (float(rose[n]), float(error[n])) for trace, n in place.items()}
    at_work = [
        {
            place[trace]: value
            for trace, value in carried_at_work(each, alongside, found, moved, NU).items()
        }
        for each, alongside in zip(signatures, overlaps, strict=True)
    ]

    def weight(members: Sequence[int]) -> float:
        told = rest.copy()
        for k in members:
            carried = beside[k][rose[beside[k]] <= most[k][scales[beside[k]]]]
            told[carried] = np.maximum(
                told[carried], _mixed(often[k], odd[carried], still[carried])
            )
            for n, value in at_work[k].items():
                told[n] = max(told[n], value)
        raised: dict[int, float] = {}
        for k in members:
            for own_trace, value in owns[k].items():
                for n in same[own_trace]:
                    raised[n] = max(value, raised.get(n, -np.inf))
        told[list(raised)] = list(raised.values())
        prior = -PAIRED * len(members) * (len(members) - 1) / 2 + sum(
            float(np.log(PRESSING * signatures[k].prior)) for k in members
        )
        return float(np.dot(once_each, told - nothing)) + prior

    alone = np.array([weight([k]) for k in range(len(signatures))])
    best = [int(k) for k in np.argsort(-alone)[:MOST_PAIRED]]
    sets: list[tuple[int, ...]] = [(), *((k,) for k in range(len(signatures)))]
    for many in (2, 3):
        sets += [
            several
            for several in combinations(best[: MOST_PAIRED if many == 2 else MOST_THREE], many)
            if all(_apart(signatures[a], signatures[b]) for a, b in combinations(several, 2))
        ]
    logs = np.array([0.0 if not s else alone[s[0]] if len(s) == 1 else weight(s) for s in sets])
    share = np.exp(logs - logs.max())
    share /= share.sum()
    return [
        Weighed(
            signature=signature,
            probability=float(sum(w for w, s in zip(share, sets, strict=True) if k in s)),
            log_odds=float(alone[k]),
        )
        for k, signature in enumerate(signatures)
    ]


def _same_readings(found: Mapping[Trace, Rise]) -> list[list[int]]:
    """For every trace all that are one and the same reading under several names, itself too.

    They count once, together.
    """
    groups: dict[tuple[float, ...], list[int]] = defaultdict(list)
    readings = [tuple(round(db, 6) for db in rise.by_place.values()) for rise in found.values()]
    for number, reading in enumerate(readings):
        groups[reading].append(number)
    return [groups[reading] for reading in readings]


def _scale(what: str) -> int:
    """Traces of one scale can be held against each other, in dB."""
    tone = what in SINGLE or what in ("belt", "vane", "hum")
    return BLOWS if what in ELEMENT_FAULT else TONES if tone else OTHERS


def _most_carried(own: Collection[int], rose: Numbers, scales: NDArray[np.intp]) -> Numbers:
    """Most that a fault carries along, on each scale; nothing where its own have not risen."""
    highest = max((float(rose[n]) for n in own), default=0.0)
    if highest < LEAST_DB:
        return np.full(3, -np.inf)
    most = np.full(3, highest + CARRIES_FAR_DB)
    for scale in {int(scales[n]) for n in own} - {OTHERS}:
        most[scale] = CARRIES_DB + max(float(rose[n]) for n in own if scales[n] == scale)
    return most


def _often_carried(own: Collection[int], rose: Numbers) -> float:
    """How often a fault that has risen so far raises what lies on its lines as well."""
    highest = max((float(rose[n]) for n in own), default=0.0)
    return MAY * (1.0 - float(np.exp(-max(0.0, highest - LEAST_DB) / CARRIES_FROM_DB)))


def _mixed(share: float, one: Numbers, other: Numbers) -> Numbers:
    """Log likelihood of a mixture."""
    if not share:
        return other
    return np.asarray(np.logaddexp(np.log(share) + one, np.log1p(-share) + other))


def _raised(size: Size, rose: float, error: float, otherwise: float, worse: float) -> float:
    """Log likelihood of a trace that a fault raises, ``worse`` times further up than down."""
    below, above = (float(np.hypot(size.spread_db * k, error)) for k in (1.0, worse))
    here = above if rose > size.db else below
    raised = float(
        norm.logpdf((rose - size.db) / here)
        - np.log(0.5 * (below + above))
        + norm.logcdf((rose - LEAST_DB) / error)
    )
    if size.sure:
        return raised
    return float(np.logaddexp(np.log1p(-size.fails) + raised, np.log(size.fails) + otherwise))


def _apart(one: Signature, other: Signature) -> bool:
    """Whether two may be at fault together: not two names for one thing."""
    return not set(one.raises) & set(other.raises) and not set(one.parts) & set(other.parts)
