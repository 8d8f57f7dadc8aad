"""What findings are written from: where a suspect works, where it is heard, how often it comes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.readings.belt_throbs import BeltThrob
from vibecheck.diagnosis.readings.belts import BeltScore
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.pump_readings import PumpTones
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones
from vibecheck.diagnosis.suspects.joint import Judged, Readings
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.verdicts.evidence_table import state

HEARD = 1.3
"""Size of a knock reading at which a position counts as "heard"."""
SURPRISING = 1.0
PUMP_HEARD_DB = -15.0
"""Level of a pump's pulses, against a usual working pair, at which they count as heard."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What findings are written from."""

    heard: Listened
    readings: Readings
    judged: Sequence[Judged]


def working_takes(case: Case, suspect: Suspect) -> list[int]:
    """Takes in which the suspect works, and that can tell."""
    return [
        k
        for k, take in enumerate(case.heard.takes)
        if state(suspect, take) == "working" and _can_tell(suspect, k)
    ]


def loud_takes(case: Case, suspect: Suspect) -> list[int]:
    """Those of them in which it is heard."""
    return [k for k in working_takes(case, suspect) if _is_heard(case, suspect, k)]


def _can_tell(suspect: Suspect, number: int) -> bool:
    """Whether a take's silence would be silence: not where another line lies there."""
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return True
    told = tones.telling(suspect.fault)
    return number in told.above_db or number in told.at_most_db


def _is_heard(case: Case, suspect: Suspect, number: int) -> bool:
    throb = suspect.detail.get("throb")
    if isinstance(throb, BeltThrob):
        return bool(throb.depth[number] > 0.0)
    score = suspect.detail.get("score")
    if isinstance(score, RollingScore | BeltScore):
        return bool(score.surprise[number] > SURPRISING)
    swell = suspect.detail.get("swell")
    if isinstance(swell, Swell):
        return swell.shares.get(number, 0.0) > 0.5 * swell.share
    pump = suspect.detail.get("pump")
    if isinstance(pump, PumpTones):
        return pump.levels_db.get(number, -200.0) > PUMP_HEARD_DB
    keys = [key for key in suspect.claims if key[1] == number]
    if keys and keys[0] in case.readings.values:
        value = case.readings.values[keys[0]]
        law = case.readings.law(keys[0][0])
        return value > (
            HEARD if keys[0][0] == "knock" else float(np.sqrt(law.healthy * law.faulty))
        )
    tones = suspect.detail.get("tones")
    return isinstance(tones, RotorTones) and number in tones.telling(suspect.fault).above_db


def rotor_hz(case: Case, label: str, rotor: str) -> float | None:
    """Speed of a rotor at a lever position; None where it was not found."""
    for take in case.heard.takes:
        if take.label == label:
            return take.rotor_hz(rotor)
    return None


def rates_hz_of(case: Case, suspect: Suspect, working: Sequence[int]) -> dict[str, float]:
    """How often a suspect comes, a second, by lever position."""
    rates = {}
    for number in working:
        rate = _rate_hz(case.heard.takes[number], suspect, number)
        if rate is not None and np.isfinite(rate):
            rates[case.heard.takes[number].label] = rate
    return rates


def _rate_hz(take: Heard, suspect: Suspect, number: int) -> float | None:
    score, throb = suspect.detail.get("score"), suspect.detail.get("throb")
    if isinstance(throb, BeltThrob):
        return float(throb.orders[number]) * take.base_hz
    if isinstance(score, BeltScore):
        return float(score.hz[number])
    if isinstance(score, RollingScore) and score.reach:
        expected = take.expected_ratios().get(score.shaft, np.nan)
        return float(score.orders[number]) * expected * take.base_hz
    turns = take.rotor_hz(suspect.rotor)
    if turns is None:
        return None
    pump = suspect.detail.get("pump")
    if isinstance(pump, PumpTones):
        return turns * pump.vanes
    return turns * (score.order if isinstance(score, RollingScore) else 1.0)


def labels(case: Case, numbers: Sequence[int]) -> set[str]:
    """Lever positions of some takes; repeats of one position count once."""
    return {case.heard.takes[number].label for number in numbers}
