"""Whether what a finding speaks of is heard in one more take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from vibecheck.diagnosis.findings import Finding
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.knocks import knock
from vibecheck.diagnosis.readings.lines import line_spectrum, mesh_lines, turn_lines
from vibecheck.diagnosis.readings.rolling import score_rolling
from vibecheck.diagnosis.readings.rolling_fields import rolling_fields
from vibecheck.diagnosis.readings.turn_readings import SECOND_TURN
from vibecheck.diagnosis.ready import Ready
from vibecheck.machine.parts import Machine
from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import Spectrum, averaged_spectrum

RESOLUTION_HZ = 1.0
CLEAR_TONE, NO_TONE = 20.0, 4.0
"""Power over the floor at which a tone is surely there, and surely not."""
KNOCKS, QUIET = 2.5, 1.2
TURNS, EVEN = 30.0, 6.0
SWELLS, STEADY = 0.45, 0.25
FAMILY, NO_FAMILY = -3.0, -1.0
FIXED_KINDS = ("mains", "structure", "tool")
ELEMENTS = {
    "outer race": "outer",
    "inner race": "inner",
    "rolling element": "roller",
    "cage": "cage",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneLevel:
    """A tone in one take: mean square in decibels, and power over the floor beside it."""

    level_db: float
    over_floor: float


@dataclass(slots=True, eq=False)
class Meter:
    """Measures tones in takes; each take's spectrum is made once."""

    spectra: dict[int, tuple[Ready, Spectrum, Spectrum]] = field(default_factory=dict)

    def tone(self, take: Ready, hz: float, *, wander: float = 0.003) -> ToneLevel:
        """The strongest line within ``wander`` (relative) of ``hz``, at least 1.5 Hz either way."""
        _, spectrum, floor = self._of(take)
        half = max(wander * hz, 1.5 * RESOLUTION_HZ)
        low, high = (round((hz + way * half) / spectrum.step) for way in (-1, 1))
        values = spectrum.values[max(low, 1) : high + 1].astype(float)
        if not values.size:
            return ToneLevel(level_db=-200.0, over_floor=0.0)
        best = int(values.argmax())
        under = float(floor.values[max(low, 1) + best])
        return ToneLevel(
            level_db=float(10 * np.log10(values[best] + 1e-30)),
            over_floor=float(values[best]) / max(under, 1e-30),
        )

    def _of(self, take: Ready) -> tuple[Ready, Spectrum, Spectrum]:
        if id(take) not in self.spectra:
            made = averaged_spectrum(
                take.slow, take.slow_hz, resolution_hz=RESOLUTION_HZ, scaling="power"
            )
            self.spectra[id(take)] = take, made, noise_floor(made)
        return self.spectra[id(take)]


def fixed_hz(finding: Finding) -> float | None:
    """The frequency of a finding that no lever moves; None when its rate moves."""
    rates = list(finding.rates_hz.values())
    if not rates or max(rates) / max(min(rates), 1e-9) > 1.03:
        return None
    if finding.part_kind not in FIXED_KINDS and len(rates) < 2:
        return None
    return float(np.median(rates))


def still_there(machine: Machine, finding: Finding, take: Heard, ratio: float) -> bool | None:
    """Whether a finding's own sound is in a take laid on angle; None when that can't be said.

    Parameters
    ----------
    ratio : float
        Speed of the part's rotor over that of the take's track, as it would be were it driven.
    """
    if finding.part_kind == "bearing":
        return _bearing(machine, finding, take)
    if finding.fault == "eccentric or worn gear":
        return _swell(finding, take)
    if finding.fault == "broken or damaged tooth" or _knocks(finding):
        found = knock(take, ratio)
        return None if found is None else _between(found.lead, KNOCKS, QUIET)
    rotor = next((r for r in take.rotors() if abs(r.ratio / ratio - 1) < 1e-6), None)
    if rotor is None or finding.fault not in ("imbalance", "bent or misaligned"):
        return None
    lines = turn_lines(take, line_spectrum(take), rotor.name)
    over, limit_db = (
        (lines.twice_over_floor, lines.twice_limit_db)
        if finding.fault == SECOND_TURN
        else (lines.over_floor, lines.limit_db)
    )
    return _between(over, TURNS, EVEN) if np.isfinite(limit_db) else None


def _knocks(finding: Finding) -> bool:
    return any(fact.kind == "knock_once_per_turn" for fact in finding.evidence)


def _between(value: float, there: float, absent: float) -> bool | None:
    if value >= there:
        return True
    return False if value <= absent else None


def _swell(finding: Finding, take: Heard) -> bool | None:
    spectrum = line_spectrum(take)
    for mesh in take.turning.meshes:
        for gear, rotor in ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven)):
            if gear in finding.parts:
                lines = mesh_lines(take, spectrum, mesh)
                if lines is None or not lines.clear or rotor not in lines.swell:
                    return None
                return _between(lines.swell[rotor], SWELLS, STEADY)
    return None


def _bearing(machine: Machine, finding: Finding, take: Heard) -> bool | None:
    bearings = [b for b in machine.bearings if b.name in finding.parts]
    element = ELEMENTS.get(finding.fault)
    takes: Sequence[Heard] = [take]
    scores = score_rolling(takes, bearings, rolling_fields(takes, bearings)) if bearings else []
    chances = [s.log10_chance for s in scores if element in (None, s.family.name)]
    if not chances:
        return None
    return _between(-min(chances), -FAMILY, -NO_FAMILY)
