"""From a family's score in one take to odds for a fault.

The limits come from the measured public records as a whole, sound and faulty, by two lognormal
distributions of depth; they are few and round, and no record has its own.
"""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.chance.matching import FamilyScore

EVEN_DEPTH = 0.36
"""Depth at which a family is as likely a fault as not. Sound bearings on measured machines stay
below about 0.3 in most records and 0.6 in all; faults are mostly above 0.9."""
DEPTH_SLOPE = 5.0
EVEN_LOG10_P = 3.0
"""Tens of surprise at which a family is as likely there as not."""
BURIED, BURIED_LOG10_P = 0.3, 10.0
"""A shallow family that is very surprising is a fault buried in noise: each ten-fold surprise
beyond this makes up for some depth."""
TURNING_LOAD, TURNING_DEPTH = 1.5, 0.65
"""An outer race whose shaft-rate sidebands outweigh the race's own lines by this much is being
loaded once a turn. A turning load (unbalance) makes even a sound race audible, so blows must be
this deep to be as likely a flaw as not; a flaw out of the load zone sounds so as well."""
CAGE_ALONE = -0.9
"""Most that cage-rate lines alone can say (ln odds): a slow shaft of the same gear train, a belt or
a shifting load makes lines there just as well."""


MOST_SURE = 0.99
"""One take never says more."""


def as_said(probability: float) -> float:
    """A probability as it is printed, so that number and word never part.

    >>> as_said(0.8496), as_said(0.9999)
    (0.85, 0.99)
    """
    return min(round(float(probability), 2), MOST_SURE)


def turning_load(score: FamilyScore) -> bool:
    """Whether an outer race's shaft-rate sidebands outweigh its own lines."""
    return score.family.name == "outer" and score.sideband_depth > TURNING_LOAD * score.depth


def fault_odds(score: FamilyScore) -> float:
    """Odds for a fault against none: surprise and depth must both be there."""
    surprise = np.log(10.0) * (score.log10_p - EVEN_LOG10_P)
    even = TURNING_DEPTH if turning_load(score) else EVEN_DEPTH
    depth = DEPTH_SLOPE * np.log(max(score.depth, 1e-3) / even)
    if not turning_load(score):
        depth += BURIED * float(np.clip(score.log10_p - BURIED_LOG10_P, 0.0, 15.0))
    if score.rivals:
        surprise = min(surprise, 0.0)
    if score.family.name == "cage":
        surprise = min(surprise, CAGE_ALONE)
    weakest = -np.logaddexp(-surprise, -depth)
    return float(np.exp(np.clip(weakest, -12.0, 6.0)))
