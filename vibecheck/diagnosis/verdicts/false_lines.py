"""Lines of a slow recorder that may be false images of tones above half its rate.

A phone's motion sensor samples without a filter: what it cannot follow it shows at another place.
"""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.findings import Fact, fact
from vibecheck.diagnosis.ready import Ready
from vibecheck.machine.train import Turning
from vibecheck.spectra.peaks import peaks
from vibecheck.spectra.spectrum import long_spectrum

SPEED_DOUBT = 0.025
"""How far true rates may lie from the table's: slip of belt and motor."""
SAME_HZ = 0.15
MOST_SAID = 3
FOLDS = 6


def false_lines(take: Ready, here: Turning | None) -> list[Fact]:
    """Remarks on an aliased take: from where nothing is real, and which lines may be false.

    Parameters
    ----------
    take : Ready
    here : Turning or None
        What turns at the take's lever position, when that is known.
    """
    recording = take.take.recording
    if not recording.support.aliased:
        return []
    half = recording.rate_hz / 2
    remarks = [fact("aliased", take=take.take.name, top_hz=half)]
    if here is None:
        return remarks
    samples = np.asarray(take.samples)
    level = long_spectrum(samples, recording.rate_hz)
    strongest = sorted(peaks(level, chance=1e-4, most=12), key=lambda peak: -peak.value)
    for peak in strongest:
        if len(remarks) > MOST_SAID or _turns_there(here, peak.place):
            continue
        true_hz = _true_rate(here, peak.place, recording.rate_hz)
        if true_hz is not None:
            remarks.append(
                fact("false_line", take=take.take.name, hz=float(peak.place), true_hz=true_hz)
            )
    return remarks


def _turns_there(here: Turning, hz: float) -> bool:
    """Whether something of the machine turns at this rate or twice it."""
    rates = [rate for name in here.rotors if (rate := here.nominal_hz(name))]
    return any(
        abs(hz - times * rate) < SAME_HZ + SPEED_DOUBT * times * rate
        for rate in rates
        for times in (1, 2)
    )


def _true_rate(here: Turning, hz: float, rate_hz: float) -> float | None:
    """The likeliest tone above half the rate whose image lies here; None when there is none."""
    candidates: list[tuple[float, float]] = []
    twice = 2.0 * here.machine.supply.mains_hz
    for true_hz, doubt in (*((k * twice, 1e-3) for k in (1, 2)), *_mesh_rates(here)):
        if true_hz <= rate_hz / 2:
            continue
        for fold in range(-FOLDS, FOLDS + 1):
            image = true_hz + fold * rate_hz
            off = min(abs(image - hz), abs(-image - hz))
            if off < SAME_HZ + doubt * true_hz:
                candidates.append((off + 1e-3 * true_hz, true_hz))
    return min(candidates)[1] if candidates else None


def _mesh_rates(here: Turning) -> list[tuple[float, float]]:
    found = []
    for mesh in here.meshes:
        base = here.groups[mesh.group].nominal_hz
        if mesh.order and base:
            found += [(k * mesh.order * base, SPEED_DOUBT) for k in (1, 2)]
    return found
