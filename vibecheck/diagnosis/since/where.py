"""Where a fault is heard: what a gear carries along rises only where the gear works."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
from scipy.stats import norm, t

from vibecheck.diagnosis.since.levels import AT_WORK, Numbers, Trace
from vibecheck.diagnosis.since.rises import Place, Rise
from vibecheck.diagnosis.since.signatures import Signature

OF_TURNS = frozenset(
    {"once", "twice", "thrice", "many", "halves", "knock", "slow knock", "blow", "rest", *AT_WORK}
)
"""Traces of a turning part that one of its gears raises where it works."""
FREE = 0.7
"""What it costs a fault that nothing is asked of the places where it is heard (natural log)."""
AS_OWN, AS_OWN_SPREAD = 0.7, 0.4
"""How high it carries along what is read at its own places only, of its own rise."""


def working_places(signature: Signature, found: Mapping[Trace, Rise]) -> frozenset[Place]:
    """Places at which a gear at fault works; empty for what is heard wherever it turns."""
    if signature.part_kind != "gear":
        return frozenset()
    own = [found[trace] for trace, size in signature.raises.items() if size.sure and trace in found]
    return frozenset[Place]().union(*(rise.by_place for rise in own))


def carried_at_work(
    signature: Signature,
    beside: Collection[Trace],
    found: Mapping[Trace, Rise],
    moved: Mapping[Trace, tuple[float, float]],
    freedom: float,
) -> dict[Trace, float]:
    """Log likelihood of what a gear carries along, held to what it does where the gear rests.

    Parameters
    ----------
    signature : Signature
    beside : collection of Trace
        What lies on its lines.
    found : mapping of Trace to Rise
    moved : mapping of Trace to (float, float)
        Rise with what its kind has in common taken out, and how far sound ones move, dB.
    freedom : float
        Degrees of freedom of what sound traces do.
    """
    places = working_places(signature, found)
    own = max((moved[trace][0] for trace, s in signature.raises.items() if s.sure), default=0.0)
    made: dict[Trace, float] = {}
    for trace in beside if places else ():
        if trace[0] not in OF_TURNS or trace in signature.raises:
            continue
        rise, (rose, error) = found[trace], moved[trace]
        resting = [db for place, db in rise.by_place.items() if place not in places]
        if len(resting) == len(rise.by_place):
            continue
        if resting:
            common = rise.db - rose
            wide = error * float(np.sqrt(len(rise.by_place) / len(resting)))
            made[trace] = _still(resting, common, wide, freedom) - FREE
        else:
            spread = float(np.hypot(AS_OWN_SPREAD * own, error))
            made[trace] = float(norm.logpdf(rose, AS_OWN * own, spread))
    return made


def _still(resting: Sequence[float], common: float, wide: float, freedom: float) -> float:
    away: Numbers = np.asarray(resting) - common
    return float(t.logpdf(float(np.mean(away)) / wide, freedom) - np.log(wide))
