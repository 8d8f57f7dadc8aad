"""Which fault, none or two of them explain best what has risen and what has not.

Every hypothesis must account for every trace: those it raises, those that lie on its lines, and all
others, which rise no more than they do from one sound sweep to the next, but for the odd one.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, t

from vibecheck.diagnosis.since.levels import Numbers, Trace
from vibecheck.diagnosis.since.moves import sound_moves
from vibecheck.diagnosis.since.rises import Rise
from vibecheck.diagnosis.since.signatures import Signature, Size
from vibecheck.diagnosis.suspects.rolling import ELEMENT_FAULT

NU = 12.0
ODD, STRAY, ODD_DB, ODD_SPREAD_DB = 2e-4, 2e-3, 5.0, 5.0
"""Share of traces that rise for no reason the model knows, where nothing is wrong and where
something is that may be heard elsewhere too; and how far."""
STIR, STIR_DB = 0.006, 1.5
"""Share of traces that something wrong stirs a little, and how far."""
MAY, CARRIES_DB, CARRIES_FAR_DB = 0.5, 1.5, 4.0
"""How often what lies on a fault's lines is raised with it; and how much more than its own, of
traces that can be held against each other in decibels, and of others."""
BLOWS, TONES, OTHERS = range(3)
UNREAD_DB = 4.0
"""And of a belt, whose multiples are not read where a shaft's tones lie, but are there."""
LEAST_DB = 3.5
"""A fault raises its own traces by about this at least, or nobody would call it one."""
UNSURE = 0.35
"""How often a fault does not raise what it mostly raises."""
MOST_PAIRED = 16
PAIRED = 1.5
"""Two at once are rarer than each by itself would make them, and echoes commoner (natural log)."""
PRESSING = 4.0
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
    """Probability of every signature, from weighing all sets of up to two of them.

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
    still = t.logpdf(rose / error, NU) - np.log(error)
    odd = norm.logpdf(rose, ODD_DB, np.hypot(ODD_SPREAD_DB, error))
    nothing = np.logaddexp(np.log1p(-ODD) + still, np.log(ODD) + odd)
    stirred = norm.logpdf(rose, STIR_DB, np.hypot(STIR_DB, error))
    rest = np.logaddexp.reduce(
        [np.log1p(-STRAY - STIR) + still, np.log(STIR) + stirred, np.log(STRAY) + odd]
    )
    may = np.logaddexp(np.log1p(-MAY) + still, np.log(MAY) + odd)

    def own(signature: Signature) -> dict[int, float]:
        return {
            place[trace]: _raised(size, rose[place[trace]], error[place[trace]], rest[place[trace]])
            for trace, size in signature.raises.items()
            if trace in place
        }

    owns = [own(each) for each in signatures]
    beside = [np.array([place[trace] for trace in each], dtype=int) for each in overlaps]

    scales = np.array([_scale(what) for what, _ in traces])
    most = [_most_carried(each, rose, scales) for each in owns]
    for limits, signature in zip(most, signatures, strict=True):
        limits[TONES] += UNREAD_DB if signature.part_kind == "belt" else 0.0

    def weight(members: Sequence[int]) -> float:
        told = rest.copy()
        for k in members:
            carried = beside[k][rose[beside[k]] <= most[k][scales[beside[k]]]]
            told[carried] = np.maximum(told[carried], may[carried])
        raised: dict[int, float] = {}
        for k in members:
            for n, value in owns[k].items():
                raised[n] = max(value, raised.get(n, -np.inf))
        told[list(raised)] = list(raised.values())
        prior = -PAIRED * (len(members) > 1) + sum(
            float(np.log(PRESSING * signatures[k].prior)) for k in members
        )
        return float(told.sum() - nothing.sum()) + prior

    alone = np.array([weight([k]) for k in range(len(signatures))])
    best = [int(k) for k in np.argsort(-alone)[:MOST_PAIRED]]
    sets: list[tuple[int, ...]] = [(), *((k,) for k in range(len(signatures)))]
    sets += [p for p in combinations(best, 2) if _apart(signatures[p[0]], signatures[p[1]])]
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


def _scale(what: str) -> int:
    """Traces of one scale can be held against each other, in dB."""
    tones = ("once", "twice", "thrice", "belt", "vane", "hum")
    return BLOWS if what in ELEMENT_FAULT else TONES if what in tones else OTHERS


def _most_carried(own: Collection[int], rose: Numbers, scales: NDArray[np.intp]) -> Numbers:
    """Most that a fault carries along, on each scale; nothing where its own have not risen."""
    highest = max((float(rose[n]) for n in own), default=0.0)
    if highest < LEAST_DB:
        return np.full(3, -np.inf)
    most = np.full(3, highest + CARRIES_FAR_DB)
    for scale in {int(scales[n]) for n in own} - {OTHERS}:
        most[scale] = CARRIES_DB + max(float(rose[n]) for n in own if scales[n] == scale)
    return most


def _raised(size: Size, rose: float, error: float, otherwise: float) -> float:
    """Log likelihood of a trace that a fault raises."""
    spread = float(np.hypot(size.spread_db, error))
    raised = float(norm.logpdf(rose, size.db, spread) + norm.logcdf((rose - LEAST_DB) / error))
    if size.sure:
        return raised
    return float(np.logaddexp(np.log1p(-UNSURE) + raised, np.log(UNSURE) + otherwise))


def _apart(one: Signature, other: Signature) -> bool:
    """Whether two may be at fault together: not two names for one thing."""
    return not set(one.raises) & set(other.raises) and not set(one.parts) & set(other.parts)
