"""Parts of one shaft that are at fault together: which of them may only be carried along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones
from vibecheck.diagnosis.suspects.joint import Judged
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.grouping import LIKELY, WORTH_SAYING

SWELLS, CARRIED_SAYS, PUSHED_SAYS = "eccentric or worn gear", 0.6, 0.8
"""A gear so called on a shaft that is likely at fault is possible, no more; and so is the fault of
a shaft that is heard only where such a gear works (judgement)."""
TOOTH, PLAINLY = "broken or damaged tooth", 3.0
"""And the natural log odds, of it alone, from which its knock is plain."""
LOOSE, NEAR_HALF = "loose on its shaft or in its seat", 0.04
"""A bearing at fault whose rate comes this near an odd number of half turns strikes at half turns
as well: then its shaft is loose possibly, no more."""


def in_company(judged: Sequence[Judged]) -> list[Judged]:
    """All of them, less sure where another is at fault on the same shaft.

    A gear that swells on a shaft at fault, or in a bearing that is, may well be true and carried
    round by it; a shaft heard at no other positions than those where a swelling gear of it works
    may well be straight; and half turns may be a bad bearing's.
    """
    judged = _teeth_first(judged)
    carried = {
        j.suspect.rotor
        for j in judged
        if j.probability >= LIKELY and j.suspect.part_kind in ("shaft", "bearing")
    }
    swelling = [
        j.suspect for j in judged if j.suspect.fault == SWELLS and j.probability >= WORTH_SAYING
    ]
    halves = {
        j.suspect.rotor for j in judged if j.probability >= LIKELY and _strikes_halves(j.suspect)
    }

    def most(suspect: Suspect) -> float:
        if suspect.rotor in {SWELLS: carried, LOOSE: halves}.get(suspect.fault, ()):
            return CARRIED_SAYS
        return PUSHED_SAYS if any(_only_with(gear, suspect) for gear in swelling) else 1.0

    return [replace(j, probability=min(j.probability, most(j.suspect))) for j in judged]


def _teeth_first(judged: Sequence[Judged]) -> list[Judged]:
    """A broken tooth also swells its gear's tone and pushes its shaft: where its knock is plain,
    the rest of the gear may be sound."""
    plain = {
        part
        for j in judged
        if j.suspect.fault == TOOTH and j.log_odds > PLAINLY
        for part in j.suspect.parts
    }
    swells = {
        part: j.probability
        for j in judged
        if j.suspect.fault == SWELLS
        for part in j.suspect.parts
        if part in plain
    }
    return [_with_its_swell(j, swells) for j in judged]


def _with_its_swell(judged: Judged, swells: Mapping[str, float]) -> Judged:
    own = sum(swells.get(part, 0.0) for part in judged.suspect.parts)
    if not own:
        return judged
    if judged.suspect.fault == SWELLS:
        return replace(judged, probability=0.0)
    if judged.suspect.fault == TOOTH:
        return replace(judged, probability=min(1.0, judged.probability + own))
    return judged


def _strikes_halves(bearing: Suspect) -> bool:
    """Whether a bearing's blows come about every half turn of its shaft, or its side lines do."""
    score = bearing.detail.get("score")
    if not isinstance(score, RollingScore):
        return False
    return abs(score.order % 1.0 - 0.5) < NEAR_HALF


def _only_with(gear: Suspect, shaft: Suspect) -> bool:
    """Whether a shaft's turns are heard in no take but those in which a gear of it works, though it
    turns in others as well."""
    swell, tones = gear.detail.get("swell"), shaft.detail.get("tones")
    if not isinstance(swell, Swell) or not isinstance(tones, RotorTones):
        return False
    heard = set(tones.telling(shaft.fault).above_db)
    same = gear.rotor in (shaft.rotor, *shaft.parts)
    return same and tones.takes > len(swell.shares) and heard <= set(swell.shares)
