"""From takes and a diagnosis to the values that the pictures of sound are drawn from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.findings import Diagnosis, Finding, TakeReport
from vibecheck.machine.parts import Machine
from vibecheck.machine.tones import tones
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, Take
from vibecheck.report.picture_cycle import Cycle
from vibecheck.report.picture_orders import ExpectedLine, OrderMap
from vibecheck.report.picture_spectrum import NamedLine, NamedSpectrum
from vibecheck.report.writers import Names
from vibecheck.spectra.envelope import (
    Envelope,
    Transform,
    band_envelope,
    envelope_spectrum,
    guarded,
    transformed,
)
from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.spectrum import averaged_spectrum
from vibecheck.spectra.whitening import floor_whitened

KNOCKING = ("broken or damaged tooth", "outer race", "inner race", "rolling element", "cage")
"""Faults that strike, so that they can be told by ear."""
TONAL = (
    "imbalance",
    "bent or misaligned",
    "lumpy or set belt",
    "mains hum",
    "fixed tone of structure or room",
    "chatter",
    "pump pulsation",
)
"""Faults that are heard as tones; all others as blows or as a loudness that swells."""
LOWEST_HZ = 200.0
STRIP_POINTS = 1500
MOST_NAMES = 14
MOST_S = 40.0
"""Pictures are drawn from this much of a take."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairing:
    """A take, and what the diagnosis says of it."""

    take: Take
    report: TakeReport

    @property
    def label(self) -> str:
        """Lever position, or the take's name."""
        return self.report.heard_position or self.report.position or self.report.name

    def among(self, labels: Iterable[str]) -> str | None:
        """The label under which a finding speaks of this take; None when it does not."""
        known = set(labels)
        own = (self.label, self.report.position or "", self.report.name)
        return next((label for label in own if label in known), None)

    def rate_hz(self, finding: Finding) -> float | None:
        """How often a finding strikes in this take."""
        label = self.among(finding.rates_hz)
        return None if label is None else finding.rates_hz[label]


def paired(takes: Sequence[Take], diagnosis: Diagnosis) -> list[Pairing]:
    """Takes with their reports, ordinary ones only, matched by name."""
    reports = {report.name: report for report in diagnosis.takes}
    return [
        Pairing(take=take, report=reports[take.name])
        for take in takes
        if take.name in reports and take.kind in ("idle", "cutting")
    ]


def blows(recording: Recording, top_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How strongly blows repeat at each rate: rates (Hz) and strengths (dB over background)."""
    spectrum = envelope_spectrum(_loudness(recording), top=top_hz).significance
    strengths = 10.0 * np.log10(np.maximum(spectrum.values.astype(float), 1e-3))
    return spectrum.frequencies, strengths


def _samples(recording: Recording) -> NDArray[np.float32]:
    return recording.channel(0)[: int(MOST_S * recording.rate_hz)]


def _loudness(recording: Recording) -> Envelope:
    whole = _whole(recording)
    low, high = _ringing_band(recording)
    return guarded(band_envelope(whole, low, high), stretch=1.0)


def _whole(recording: Recording) -> Transform:
    return floor_whitened(transformed(_samples(recording), recording.rate_hz))


def _ringing_band(recording: Recording) -> tuple[float, float]:
    top = 0.96 * recording.top_hz
    return min(LOWEST_HZ, top / 4), top


def blow_map(pairs: Sequence[Pairing], finding: Finding, name: str) -> OrderMap | None:
    """Rates of repeated blows at every position, with those expected of one finding."""
    rates = [pair.rate_hz(finding) for pair in pairs]
    known = [rate for rate in rates if rate]
    if not known:
        return None
    top_hz = min(4.6 * max(known), 0.2 * min(pair.take.recording.rate_hz for pair in pairs))
    places = np.linspace(0.0, top_hz, STRIP_POINTS)
    strips = np.array([_strip(*blows(pair.take.recording, top_hz), places) for pair in pairs])
    return OrderMap(
        positions=tuple(pair.label for pair in pairs),
        places=places,
        strengths_db=strips,
        axis="blows or swells a second",
        lines=(ExpectedLine(name=name, places=tuple(rates), suspect=True),),
    )


def tone_map(pairs: Sequence[Pairing], finding: Finding, name: str) -> OrderMap | None:
    """Tones at every position, with those expected of one finding."""
    rates = [pair.rate_hz(finding) for pair in pairs]
    known = [rate for rate in rates if rate]
    if not known:
        return None
    top_hz = min(3.0 * max(known), *(pair.take.recording.top_hz for pair in pairs))
    places = np.linspace(0.0, top_hz, STRIP_POINTS)
    strips = np.array([_strip(*tone_levels(pair.take.recording), places) for pair in pairs])
    return OrderMap(
        positions=tuple(pair.label for pair in pairs),
        places=places,
        strengths_db=strips,
        axis="frequency, Hz",
        lines=(ExpectedLine(name=name, places=tuple(rates), suspect=True),),
    )


def finding_map(pairs: Sequence[Pairing], finding: Finding, name: str) -> OrderMap | None:
    """The map that suits a finding: tones for what hums, else how often blows or swells come.

    A belt hums, unless it was heard by what swells with it.
    """
    throbs = any(told.kind == "belt_throb" for told in finding.evidence)
    make = tone_map if finding.fault in TONAL and not throbs else blow_map
    return make(pairs, finding, name)


def _strip(
    found: NDArray[np.float64], strengths: NDArray[np.float64], places: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Strengths on a common axis, the largest kept where several fall on one place."""
    step = places[1] - places[0]
    strip = np.interp(places, found, strengths)
    at = np.rint(found / step).astype(int)
    keep = (at >= 0) & (at < places.size)
    np.maximum.at(strip, at[keep], strengths[keep])
    strip[places < 2.5 * max(step, found[1] - found[0])] = 0.0
    return strip


def tone_levels(
    recording: Recording, resolution_hz: float = 0.5
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies (Hz) and strengths of tones (dB over their surroundings)."""
    power = averaged_spectrum(
        _samples(recording), recording.rate_hz, resolution_hz=resolution_hz, scaling="power"
    )
    values = over_floor(power).values.astype(float)
    return power.frequencies, 10.0 * np.log10(np.maximum(values, 1e-3))


def named_spectrum(
    pair: Pairing, machine: Machine | None, names: Names, suspects: Sequence[str] = ()
) -> NamedSpectrum:
    """One take's tones with the names of what the table predicts at the speeds found."""
    places, strengths = tone_levels(pair.take.recording)
    lines = _named_lines(pair, machine, suspects)
    top = 1.25 * max([line.hz for line in lines], default=800.0)
    keep = places <= min(top, pair.take.recording.top_hz)
    return NamedSpectrum(
        take=pair.report.name, places_hz=places[keep], strengths_db=strengths[keep], lines=lines
    )


def _named_lines(
    pair: Pairing, machine: Machine | None, suspects: Sequence[str]
) -> tuple[NamedLine, ...]:
    turns = _turning(pair, machine)
    if turns is None:
        return ()
    found = []
    for tone in tones(turns):
        speed = pair.report.speeds_hz.get(tone.group) if tone.group else 1.0
        if speed and tone.nature in ("mesh", "mains", "belt tooth", "vane", "planet mesh"):
            said = tone.name if tone.nature != "mains" else "2x mains"
            named = tone.part in suspects or _carries(turns, tone.part, suspects)
            found.append(NamedLine(name=said, hz=speed * tone.order, suspect=named))
    return tuple(found[:MOST_NAMES])


def _carries(turns: Turning, pair_name: str, suspects: Sequence[str]) -> bool:
    return any(
        work.name == pair_name and {work.mesh.driver, work.mesh.driven} & set(suspects)
        for work in turns.meshes
    )


def _turning(pair: Pairing, machine: Machine | None) -> Turning | None:
    if machine is None:
        return None
    labels = {position.label for position in machine.positions}
    label = pair.report.heard_position or pair.report.position
    if label is None and len(machine.positions) == 1:
        label = machine.positions[0].label
    return turning(machine, machine.position(label)) if label in labels else None


def suspect_cycle(pair: Pairing, machine: Machine, part: str, name: str) -> Cycle | None:
    """Loudness round one turn of a gear or shaft, averaged over the take."""
    turns = _turning(pair, machine)
    if turns is None:
        return None
    gear = next((gear for gear in machine.gears if gear.name == part), None)
    rotor = turns.rotors.get(gear.shaft if gear else part)
    speed = pair.report.speeds_hz.get(rotor.group) if rotor else None
    if rotor is None or not speed:
        return None
    loudness = _loudness(pair.take.recording)
    teeth = int(gear.teeth.value) if gear and gear.teeth.value else None
    levels, count = folded(
        loudness.squared, loudness.rate_hz, speed * rotor.ratio, parts=4 * (teeth or 90)
    )
    if count < 3:
        return None
    return Cycle(levels=levels, teeth=teeth, turns=count, take=pair.report.name, name=name)


def folded(
    squared: NDArray[np.float32], rate_hz: float, turn_hz: float, *, parts: int
) -> tuple[NDArray[np.float64], int]:
    """Mean of a loudness over whole turns, in ``parts`` parts of a turn, over its median.

    >>> wave = np.tile(np.array([1, 1, 4, 1], dtype=np.float32), 50)
    >>> folded(wave, 4.0, 1.0, parts=4)[0].tolist()
    [1.0, 1.0, 4.0, 1.0]
    """
    parts = max(4, min(parts, int(rate_hz / turn_hz)))
    count = int(squared.size / rate_hz * turn_hz + 1e-9)
    if count < 1:
        return np.ones(parts), 0
    running = np.concatenate([[0.0], np.cumsum(squared, dtype=np.float64)])
    edges = np.arange(count * parts + 1) / parts / turn_hz * rate_hz
    sums = np.diff(np.interp(edges, np.arange(running.size), running)).reshape(count, parts)
    levels = sums.mean(axis=0)
    return levels / max(float(np.median(levels)), 1e-30), count
