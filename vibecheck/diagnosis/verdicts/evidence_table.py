"""The evidence as a table: fault x take, for whoever would rather look than read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from vibecheck.diagnosis.findings import Cell, EvidenceRow, EvidenceTable
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_pushes import FAULT_DB, FAULT_SPREAD_DB
from vibecheck.diagnosis.readings.turn_readings import RotorTones
from vibecheck.diagnosis.suspects.joint import Judged, Readings
from vibecheck.diagnosis.suspects.suspect import Suspect

MOST_ROWS = 14
State = Literal["working", "idling", "out of mesh", "still", "not heard"]


def evidence_table(heard: Listened, readings: Readings, judged: Sequence[Judged]) -> EvidenceTable:
    """A row for each of the likeliest suspects, a column for every take whose speed was found."""
    likeliest: dict[tuple[str, str], Judged] = {}
    for each in sorted(judged, key=lambda j: -j.log_odds):
        likeliest.setdefault((each.suspect.parts[0], each.suspect.fault), each)
    rows = [
        EvidenceRow(
            part=j.suspect.parts[0],
            fault=j.suspect.fault,
            part_kind=j.suspect.part_kind,
            cells=tuple(
                _cell(j.suspect, number, take, readings) for number, take in enumerate(heard.takes)
            ),
        )
        for j in list(likeliest.values())[:MOST_ROWS]
    ]
    return EvidenceTable(
        takes=tuple(take.ready.take.name for take in heard.takes),
        positions=tuple(take.label for take in heard.takes),
        rows=tuple(rows),
    )


def state(suspect: Suspect, take: Heard) -> State:
    """Whether a suspect works in a take."""
    part = suspect.parts[0]
    if suspect.part_kind == "gear":
        for mesh in take.turning.meshes:
            if part in (mesh.mesh.driver, mesh.mesh.driven):
                return "working" if mesh.loaded else "idling"
        return "out of mesh" if suspect.rotor in take.turning.rotors else "still"
    if suspect.part_kind == "belt":
        return (
            "working" if any(b.belt.name in suspect.parts for b in take.turning.belts) else "still"
        )
    return "working" if suspect.rotor in take.turning.rotors else "still"


def _cell(suspect: Suspect, number: int, take: Heard, readings: Readings) -> Cell:
    where = state(suspect, take)
    key = _key_in(suspect, number, take)
    if key is not None and key in readings.values:
        value = readings.values[key]
        return Cell(
            strength_db=float(10 * np.log10(max(value, 0.05))),
            error_db=float(10 * np.log10(1 + 1 / max(readings.law(key[0]).shape, 1.0) ** 0.5)),
            log10_odds=readings.law(key[0]).log_odds([value]) / float(np.log(10.0)),
            state=where,
        )
    swell = suspect.detail.get("swell")
    if isinstance(swell, Swell) and number in swell.shares:
        share = swell.shares[number]
        return Cell(
            strength_db=float(20 * np.log10(share)),
            error_db=2.0,
            log10_odds=float(2.0 * (np.log(share) + 0.9)),
            state=where,
        )
    tones = suspect.detail.get("tones")
    excess = tones.telling(suspect.fault).excess(number) if isinstance(tones, RotorTones) else None
    if excess is not None:
        return Cell(
            strength_db=excess.over - excess.spread,
            error_db=excess.spread,
            log10_odds=excess.log_odds(FAULT_DB, FAULT_SPREAD_DB) / float(np.log(10.0)),
            state=where,
        )
    told_by = suspect.detail.get("throb", suspect.detail.get("score"))
    surprises = getattr(told_by, "surprise", None)
    if surprises is not None and np.isfinite(surprises[number]):
        value = float(surprises[number])
        return Cell(
            strength_db=float(10 * np.log10(max(value, 0.05))),
            error_db=2.0,
            log10_odds=value - 1.0,
            state=where,
        )
    return Cell(strength_db=0.0, error_db=99.0, log10_odds=0.0, state="not heard")


def _key_in(suspect: Suspect, number: int, take: Heard) -> Key | None:
    """The reading of this take that tells of the suspect, claimed or not."""
    for key in suspect.claims:
        if key[1] == number:
            return key
    kinds = {key[0] for key in suspect.claims}
    rotor = take.turning.rotors.get(suspect.rotor)
    if rotor is None or len(kinds) != 1:
        return None
    kind = kinds.pop()
    return rate_key(kind, number, rotor.ratio) if kind in ("knock", "halves") else None
