"""Envelope spectra on the angle of a shaft, in which the families of its bearings are sought."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.chance.matching import Field
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.turning_lines import turning_lines
from vibecheck.machine.parts import Bearing
from vibecheck.spectra.envelope import Envelope, EnvelopeSpectrum, envelope_spectrum
from vibecheck.spectra.spectrum import Spectrum

HALVES, STANDS = 7, 6.0
"""Half multiples looked at, and the power over floor from which one stands out."""


def rolling_fields(takes: Sequence[Heard], bearings: Sequence[Bearing]) -> list[dict[str, Field]]:
    """Envelope spectra on order axes, one field per take and shaft that carries a bearing."""
    found: list[dict[str, Field]] = []
    for take in takes:
        known = take.expected_ratios()
        ratios = {b.shaft: known[b.shaft] for b in bearings if b.shaft in known}
        if not ratios:
            found.append({})
            continue
        top = 48.0 * max(ratios.values())
        spectra = envelope_orders(take, top)
        fields = {}
        for shaft, ratio in ratios.items():
            masks = [turning_lines(take, level) for level in spectra]
            scaled = [_on_shaft(level, ratio) for level in spectra]
            fields[shaft] = Field(scaled, ratio * take.base_hz, 0.0, masks)
        found.append(fields)
    return found


def envelope_orders(take: Heard, top_order: float) -> list[EnvelopeSpectrum]:
    """Envelope spectra of the whole band and every other octave, against the track's angle."""
    bands = [*take.envelopes[-2::-2][::-1], take.envelopes[-1]]
    spectra = []
    for band in bands:
        top = min(top_order, 0.45 * band.rate_hz / take.base_hz)
        times = np.arange(band.squared.size) / band.rate_hz
        angle = take.track.turns_at(times)
        per_turn = 2.0 ** np.ceil(np.log2(2.5 * top))
        even = np.arange(int(angle[-1] * per_turn)) / per_turn
        running = np.cumsum(band.squared, dtype=np.float64)
        edges = np.append(even, even[-1] + 1 / per_turn) - 0.5 / per_turn
        sums = np.diff(np.interp(edges, angle, running))
        spent = np.maximum(np.diff(np.interp(edges, angle, times)) * band.rate_hz, 1e-6)
        made = Envelope(squared=(sums / spent).astype(np.float32), rate_hz=per_turn, axis="order")
        spectra.append(envelope_spectrum(made, top=top, low=band.low_hz, high=band.high_hz))
    return spectra


def _on_shaft(level: EnvelopeSpectrum, ratio: float) -> EnvelopeSpectrum:
    """The same spectrum counted in turns of another shaft."""

    def counted(spectrum: Spectrum) -> Spectrum:
        return replace(
            spectrum, step=spectrum.step / ratio, start=0.0, resolution=spectrum.resolution / ratio
        )

    return replace(level, significance=counted(level.significance), depth=counted(level.depth))


def halves_beside(field: Field, order: float) -> float:
    """Share of the half multiples of the shaft that stand out beside one at an order.

    Something loose raises them as a comb; a bearing whose order happens to lie near one half
    multiple raises that one and its own multiples.
    """
    own = np.floor(order) + 0.5
    halves = np.arange(HALVES) + 0.5
    others = halves[np.abs(halves / own - np.rint(halves / own)) > 0.01]
    most = 0.0
    for level in field.spectra:
        values = level.significance.values
        places = np.rint(others / level.significance.step).astype(int)
        places = places[(places > 1) & (places < values.size - 2)]
        if places.size:
            high = np.max([values[places + k] for k in (-1, 0, 1)], axis=0)
            most = max(most, float(np.mean(high > STANDS)))
    return most


def line_depth(field: Field, order: float) -> float:
    """Depth of the first three harmonics of an order, in the band where it is deepest."""
    deepest = 0.0
    for level, mask in zip(field.spectra, field.masked, strict=True):
        total = 0.0
        for harmonic in (1, 2, 3):
            middle = round(harmonic * order / level.depth.step)
            part = slice(max(0, middle - 1), middle + 2)
            values = np.where(mask[part], 0.0, level.depth.values[part])
            strong = level.significance.values[part] > 6.0
            if values.size and strong.any():
                total += float((values * strong).max()) ** 2
        deepest = max(deepest, total)
    return float(np.sqrt(deepest))
