"""Belts heard over the sweep, as suspects with their odds."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.belts import BeltScore
from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.suspects import Suspect


def belt_suspects(heard: Listened) -> list[Suspect]:
    """One suspect for every belt listened for."""
    return [_belt_suspect(score) for score in heard.belts]


def _belt_suspect(score: BeltScore) -> Suspect:
    kind = fault("lumpy or set belt")
    surprise = np.log(10.0) * (-score.log10_chance - 2.0)
    usual = float(np.nanmedian(score.surprise))
    steady = 4.0 * (usual - 1.3)
    loud = 0.25 * score.level_db if np.isfinite(score.level_db) else -2.0
    there = 10.0 * (score.clear - 0.55)
    odds = float(-np.logaddexp.reduce([-surprise, -steady, -loud, -there]))
    return Suspect(
        parts=score.steps or (score.belt,),
        part_kind="belt",
        fault=kind.name,
        prior=kind.prior,
        evidence=float(np.clip(odds, -4.0, 5.0)) + (4.5 if odds > 0.0 else 0.0),
        detail={"score": score},
    )
