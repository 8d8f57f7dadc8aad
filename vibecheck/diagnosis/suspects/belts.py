"""Belts heard over the sweep, as suspects with their odds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.belt_throbs import BeltThrob
from vibecheck.diagnosis.readings.belts import BeltScore
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.suspects.suspect import Suspect

THROBS, EVEN_DEPTH = 7.0, 0.12
"""Natural log odds of a belt with which all else throbs this deep (judgement)."""
ONE_IN = 2.5
"""Power of ten of the chance that throbbing must be beyond: tails are heavier than they look."""
LOUD_DB, LOUD_LEAN = 9.0, 0.35
"""Level of a belt's own tones over its pulleys' at which it is lumpy as often as not (three makers'
sound belts reach it), and natural log odds a decibel."""
BLOWS, BLUNT_SAYS, NEWS_DB = 0.5, 4.6, -16.0
"""Share of the takes with many multiples, which tells of a short lump; the most that is said of a
belt without them, however loud beside its pulleys: sound ones are, where their pulleys run true
(another maker's invented machines); and the level over all that is heard from which it is news all
the same."""
SURELY, OFTEN = -6.0, 12.0
"""Decimal logarithm of chance at which a belt of many multiples is heard for sure (of four makers'
invented belts 14 of 16 lumpy ones are, of their 261 sound ones none), and natural log odds for the
share of takes that have them."""
FAINT_SAYS, LUMP_SAYS, LUMP_DB = -0.55, 0.55, 6.0
"""Most that many multiples add to even odds, where they are no louder than the pulleys turning and
where they are louder by ``LUMP_DB``. It never makes a belt likely: of a fifth maker's sound belts,
each a little uneven as real ones are, two in three are heard so and one in twelve so loud."""
STEEP, EVEN_ODDS = 2.5, 5.2
"""Odds of both against odds that came true, and where they agree (five makers' invented machines):
what reaches half a chance is seldom a sound belt, what falls short of a third hardly ever a bad
one."""
THROB_SAYS, CAGE_SAYS = 8.5, 3.5
"""Most that throbbing says of a belt; and where a bearing's cage may come round as often."""
PLAIN_THROB, DEEP_THROB, FAINT_THROB_SAYS = -9.5, 0.9, 5.36
"""Decimal logarithm of chance, and depth, beyond which no sound belt has been heard to throb; short
of both the most that is said (of five makers' belts that throb less, 7 are lumpy, 8 are sound)."""


def belt_suspects(heard: Listened) -> list[Suspect]:
    """One suspect for every belt listened for."""
    return [_belt_suspect(score, heard.throbs) for score in heard.belts]


def _belt_suspect(score: BeltScore, throbs: Sequence[BeltThrob]) -> Suspect:
    kind = fault("lumpy or set belt")
    names = score.steps or (score.belt,)
    evidence = _rumbles(score)
    detail: dict[str, object] = {"score": score}
    own = max((t for t in throbs if t.belt in names), key=_throbs, default=None)
    if own is not None and _throbs(own) > evidence:
        evidence, detail = _throbs(own), {**detail, "throb": own}
    if evidence <= EVEN_ODDS + LUMP_SAYS:
        detail["may_be_sound"] = True
    return Suspect(
        parts=names,
        part_kind="belt",
        fault=kind.name,
        prior=kind.prior,
        evidence=_borne_out(evidence),
        detail=detail,
    )


def _borne_out(odds: float) -> float:
    return float(np.clip(EVEN_ODDS + STEEP * (odds - EVEN_ODDS), -4.0, THROB_SAYS))


def _throbs(throb: BeltThrob) -> float:
    """Natural log odds from what throbs as the belt goes round."""
    surprise = np.log(10.0) * (-throb.log10_chance - ONE_IN)
    deep = float(np.nanquantile(throb.depth, 0.4))
    odds = float(-np.logaddexp(-surprise, -THROBS - 3.0 * np.log(max(deep, 1e-3) / EVEN_DEPTH)))
    plain = throb.log10_chance <= PLAIN_THROB or deep >= DEEP_THROB
    most = CAGE_SAYS if throb.cage else THROB_SAYS if plain else FAINT_THROB_SAYS
    return float(np.clip(odds, -4.0, most))


def _rumbles(score: BeltScore) -> float:
    """Natural log odds from the belt's own slow tones."""
    surprise = np.log(10.0) * (-score.log10_chance - 2.0)
    usual = float(np.nanmedian(score.surprise))
    steady = 4.0 * (usual - 1.3)
    loud = LOUD_LEAN * (score.level_db - LOUD_DB) if np.isfinite(score.level_db) else -2.0
    there = 10.0 * (score.clear - 0.55)
    odds = float(-np.logaddexp.reduce([-surprise, -steady, -loud, -there]))
    said = float(np.clip(odds, -4.0, 5.0)) + (4.5 if odds > 0.0 else 0.0)
    news = LOUD_LEAN * max(0.0, float(np.nan_to_num(score.of_all_db - NEWS_DB)))
    if score.higher >= BLOWS:
        return max(min(said, EVEN_ODDS + LUMP_SAYS + news), _lump(score))
    return min(said, BLUNT_SAYS + news)


def _lump(score: BeltScore) -> float:
    """What many multiples say: a short lump passes its pulleys as a blow."""
    surely = np.log(10.0) * (SURELY - score.log10_chance)
    often = OFTEN * (score.higher - BLOWS)
    loud = float(np.clip(np.nan_to_num(score.level_db) / LUMP_DB, 0.0, 1.0))
    most = FAINT_SAYS + loud * (LUMP_SAYS - FAINT_SAYS)
    return EVEN_ODDS + min(most, float(-np.logaddexp(-surely, -often)))
