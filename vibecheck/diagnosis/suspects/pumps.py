"""Pumps that pulse louder than sound ones do, as suspects with their odds."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.faults import fault
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.pump_readings import PumpTones, pump_tones
from vibecheck.diagnosis.suspects.suspect import Suspect

EVEN_DB, EVEN_UNCOUNTED_DB = 2.0, 5.0
"""Level against a usual working pair at which pumps are sound or at fault as often as not: the
loudest of some forty sound ones of two makers of invented machines was as loud as its teeth; and of
uncounted vanes the loudest of nine was taken."""
PER_DB, ABOVE_PER_DB = 0.4, 0.7
"""Natural log odds a decibel."""
FEWEST, MOST_LEAN, FEW_LEAN = 3, 1.6, 1.0
"""Takes from which a pump says its most, what that is (at most "possible": some sound pumps are
louder than all teeth, where the sensor sits near them), and the most that fewer takes say."""
LEAST = -6.0


def pump_suspects(heard: Listened) -> list[Suspect]:
    """One suspect for every pump that could be listened to."""
    tones = pump_tones(heard.machine.pumps, heard.takes, heard.spectra)
    return [_pump_suspect(each) for each in tones]


def _pump_suspect(tones: PumpTones) -> Suspect:
    kind = fault("pump pulsation")
    return Suspect(
        parts=(tones.pump,),
        part_kind="pump",
        fault=kind.name,
        rotor=tones.rotor,
        prior=kind.prior,
        evidence=lean(tones) - float(np.log(kind.prior)),
        detail={"pump": tones},
    )


def lean(tones: PumpTones) -> float:
    """Natural log odds that a pump is at fault: it must be loud, and stand out on its shaft."""
    even = EVEN_DB if tones.counted else EVEN_UNCOUNTED_DB
    loud = PER_DB * (tones.level_db - even)
    out = ABOVE_PER_DB * tones.above_db if np.isfinite(tones.above_db) else 0.0
    both = -float(np.logaddexp(-loud, -out))
    most = MOST_LEAN if len(tones.levels_db) >= FEWEST else FEW_LEAN
    return float(np.clip(both, LEAST, most))
