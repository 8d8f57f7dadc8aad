"""How far each fault raises each trace over the same machine when sound.

What physics says leads (once a turn for an unbalance, twice for a bend, halves and many multiples
for what is loose, and so on), with spreads as wide as faults differ (invented machines of this
project and of others). Nothing here depends on a recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How far a fault raises a trace: mean and spread in dB; ``sure`` when it must, else how often
    it ``fails`` to."""

    db: float
    spread_db: float
    sure: bool = True
    fails: float = 0.35


LOOSE = "loose on its shaft or in its seat"
HEAVES_SHARE, KNOCKS_SHARE = 0.3, 0.2
KNOCKS: Mapping[str, Size] = {
    "knock": Size(db=8.0, spread_db=4.5),
    "slow knock": Size(db=7.0, spread_db=5.0, sure=False),
    "many": Size(db=4.0, spread_db=3.0, sure=False),
}
"""Or only knock once a turn, wherever it turns."""
HEAVES: Mapping[str, Size] = {
    "once": Size(db=12.0, spread_db=6.0),
    "twice": Size(db=8.0, spread_db=6.0, sure=False),
    "thrice": Size(db=5.0, spread_db=5.0, sure=False),
    "knock": Size(db=3.0, spread_db=2.0, sure=False),
}
"""What is loose may only heave, and how often it does no more (judgement): then it is hardly told
from what is out of balance."""
TURN_SIZES: Mapping[str, Mapping[str, Size]] = {
    "imbalance": {
        "once": Size(db=12.0, spread_db=6.5),
        "twice": Size(db=4.0, spread_db=4.0, sure=False),
        "thrice": Size(db=3.0, spread_db=4.0, sure=False, fails=0.7),
        "many": Size(db=2.0, spread_db=2.5, sure=False, fails=0.8),
    },
    "bent or misaligned": {
        "twice": Size(db=15.0, spread_db=8.0),
        "thrice": Size(db=10.0, spread_db=8.0, sure=False),
        "once": Size(db=5.0, spread_db=5.0, sure=False),
        "many": Size(db=3.0, spread_db=3.0, sure=False),
    },
    LOOSE: {
        "halves": Size(db=6.0, spread_db=3.5),
        "many": Size(db=6.0, spread_db=4.0),
        "once": Size(db=9.0, spread_db=7.0, sure=False),
        "twice": Size(db=9.0, spread_db=7.0, sure=False),
        "thrice": Size(db=9.0, spread_db=7.0, sure=False),
        "knock": Size(db=6.0, spread_db=5.0, sure=False),
        "slow knock": Size(db=7.0, spread_db=5.0, sure=False),
    },
}
GEAR_LOOSE = 0.3
RATTLES_AT_WORK: Mapping[str, Size] = {
    "many at work": Size(db=9.0, spread_db=5.0),
    "halves at work": Size(db=6.0, spread_db=4.0, sure=False),
    "blow": Size(db=6.0, spread_db=5.0, sure=False),
}
"""A gear that is loose on its shaft rattles where it works; how much rarer that is than a loose
shaft, a gear (judgement)."""
NO_HALVES = HEAVES_SHARE + KNOCKS_SHARE
WAYS_OF_SHAFTS = (
    *((name, sizes, 1.0 - NO_HALVES * (name == LOOSE)) for name, sizes in TURN_SIZES.items()),
    (LOOSE, HEAVES, HEAVES_SHARE),
    (LOOSE, KNOCKS, KNOCKS_SHARE),
)
"""Every way a shaft goes wrong: the fault, what it raises, and its share of the fault's prior."""
TOOTH_SIZES = {
    "blow": Size(db=8.0, spread_db=4.5),
    "sides": Size(db=6.0, spread_db=5.0, sure=False),
    "many at work": Size(db=4.0, spread_db=4.0, sure=False, fails=0.6),
}
MEETS_SHARE = 0.8
ALWAYS_MEETS: Mapping[str, Size] = {
    "knock": Size(db=8.0, spread_db=4.5),
    "slow knock": Size(db=7.0, spread_db=5.0, sure=False),
    "many": Size(db=3.0, spread_db=3.0, sure=False),
}
"""A tooth of a gear that meets another everywhere may knock at all positions, loaded or not."""
WEARS_SHARE = 0.3
WEARS = Size(db=6.0, spread_db=4.0)
SWELLS_TOO = Size(db=2.5, spread_db=2.5, sure=False)
"""Teeth that are worn all round raise the tooth tone itself, which does not tell which of the two
gears; how often they do no more (judgement)."""
WORN_SIZES = {
    "sides": Size(db=8.0, spread_db=5.5),
    "blow": Size(db=2.5, spread_db=2.0, sure=False),
    "once at work": Size(db=5.0, spread_db=4.0, sure=False),
}
STRIKES = Size(db=11.0, spread_db=7.0)
CARRIED = Size(db=8.0, spread_db=5.0, sure=False)
TURNS_BY = Size(db=3.0, spread_db=3.0, sure=False, fails=0.6)
"""An inner race comes by its load once a turn: its shaft knocks, wherever it turns."""
STIRRED = Size(db=4.0, spread_db=4.0, sure=False)
COMES_SHARE = 0.3
COMES_ROUND = Size(db=8.0, spread_db=5.0)
"""A bad ball or roller comes into the load once a turn of the cage, which is heard as well, and now
and then alone. Multiples of the cage fall into the window of the balls more often than not."""
TONE = Size(db=11.0, spread_db=6.0)
BUZZ_SHARE = 0.4
HUMS: Mapping[str, Size] = {"hum": TONE, "buzz": Size(db=6.0, spread_db=5.0, sure=False)}
BUZZES: Mapping[str, Size] = {
    "buzz": Size(db=8.0, spread_db=5.0),
    "hum": Size(db=3.0, spread_db=3.0, sure=False),
}
"""A single-phase motor hums at twice the mains by nature: what iron or a winding adds that is loose
may show in the multiples alone; how often (judgement)."""
BELT = Size(db=9.0, spread_db=5.0)
