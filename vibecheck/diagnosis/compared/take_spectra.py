"""Everything measured once of a take, from which any line can be read: alike for all takes."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.compared.block_spectra import BlockSpectra, Power, block_spectra
from vibecheck.diagnosis.compared.compared_lines import Line
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.diagnosis.ready import resampled
from vibecheck.spectra.envelope import Transform, band_envelope, transformed
from vibecheck.spectra.floor import noise_floor
from vibecheck.spectra.spectrum import Spectrum, averaged_spectrum

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
SPEED_SLACK = 2e-4
"""Relative half-width left for what the speed wanders within a take."""
TURNS_A_BLOCK = 6.0
"""Turns of the slowest shaft in one block, so that its sidebands stand apart."""
FEWEST_BLOCKS = 7
APART_BINS = 4.2
"""Two tones this many bins apart are read separately."""
LOWEST_BAND_HZ = 250.0
HIGHEST_BAND_HZ = 12_000.0
TONES_HELD = 3.0
"""In the envelope, steady tones are held to this many times the floor's r.m.s."""
HELD_BINS = 9
"""Width of each such hold, in bins of a 3000th of half the rate: two takes' speeds differ."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectra:
    """One take's block spectra: of the samples, and of each band's squared envelope."""

    heard: TakeAtSpeed
    plain: BlockSpectra
    envelopes: Mapping[tuple[float, float], BlockSpectra]
    peakiness: Power
    overall_db: float
    bands_db: Array


def block_seconds(takes: Sequence[TakeAtSpeed], lines: Sequence[Line]) -> float:
    """One block length for all takes of a position, before and after alike.

    Long enough for the slowest shaft's sidebands and to part neighbouring turning tones, as far
    as the shortest take allows seven blocks.
    """
    longest = 2 * min(heard.take.recording.seconds for heard in takes) / FEWEST_BLOCKS
    slowest = min((hz for heard in takes for hz in heard.speeds_hz.values()), default=5.0)
    low = [line for line in lines if line.sort in ("turn", "belt")]
    places = np.sort([place for line in low for place in places_of(line, takes[0])])
    needed = APART_BINS / np.maximum(np.diff(places), 1e-6)
    fit = needed[needed <= longest]
    wanted = max(TURNS_A_BLOCK / max(slowest, 1e-3), float(fit.max(initial=0.0)))
    return float(np.clip(wanted, min(1.0, longest), longest))


def common_gain(takes: Sequence[TakeAtSpeed]) -> Spectrum:
    """Filter that levels the floor of all takes together and holds steady tones down.

    One filter for both sides, so that what changed between them stays changed.
    """
    rate = min(heard.rate_hz for heard in takes)
    spectra = [
        averaged_spectrum(
            heard.samples, heard.rate_hz, resolution_hz=rate / 6000.0, scaling="density"
        )
        for heard in takes
    ]
    places = spectra[0].frequencies
    places = places[places <= rate / 2]
    logs = [np.interp(places, made.frequencies, np.log(made.values + 1e-30)) for made in spectra]
    pooled = spectra[0].with_values(np.exp(np.mean(logs, axis=0)))
    floor = noise_floor(pooled, width=rate / 40.0).values
    over = maximum_filter1d(np.sqrt(pooled.values / floor), HELD_BINS)
    return pooled.with_values(np.minimum(1.0, TONES_HELD / over) / np.sqrt(floor))


def octaves(rate_hz: float, top_hz: float) -> tuple[tuple[float, float], ...]:
    """Bands the envelope is heard in, an octave each.

    >>> octaves(8000.0, 4000.0)
    ((250.0, 500.0), (500.0, 1000.0), (1000.0, 2000.0), (2000.0, 3920.0))
    """
    ceiling = min(0.98 * top_hz, 0.49 * rate_hz, HIGHEST_BAND_HZ)
    edges = [LOWEST_BAND_HZ]
    while edges[-1] * 1.5 < ceiling:
        edges.append(min(2 * edges[-1], ceiling))
    return tuple(itertools.pairwise(edges))


def spectra_of(
    heard: TakeAtSpeed,
    lines: Sequence[Line],
    block_s: float,
    gain: Spectrum,
    bands: Sequence[tuple[float, float]],
) -> Spectra:
    """Everything measured once of a take, from which any line can be read."""
    samples = heard.samples
    top = 1.1 * _highest(lines, "spectrum", heard)
    slow, slow_hz = samples, heard.rate_hz
    if 8.0 * top < heard.rate_hz:
        slow, slow_hz = resampled(samples, heard.rate_hz, 8.0 * top)
    plain = block_spectra(_undrifted(slow, slow_hz, heard), slow_hz, block_s)
    transform = _levelled(transformed(samples, heard.rate_hz), gain)
    reach = 1.1 * _highest(lines, "envelope", heard)
    envelopes = {band: _envelope_spectra(transform, band, reach, block_s, heard) for band in bands}
    return Spectra(
        heard=heard,
        plain=plain,
        envelopes=envelopes,
        peakiness=_peakiness(transform),
        overall_db=10.0 * float(np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-30)),
        bands_db=_floor_thirds(samples, heard.rate_hz),
    )


def source_of(spectra: Spectra, band: tuple[float, float] | None) -> BlockSpectra | None:
    """Spectra of one envelope band, of the samples without one; None where it was not heard."""
    return spectra.plain if band is None else spectra.envelopes.get(band)


def places_of(line: Line, heard: TakeAtSpeed, shift: float = 0.0) -> list[float]:
    """Frequencies of a line's components in one take, as far as the speeds are known, Hz."""
    found = [place.hz(heard.speeds_hz) for place in line.places]
    return [hz * (1.0 + shift) for hz in found if hz is not None]


def _highest(lines: Sequence[Line], domain: str, heard: TakeAtSpeed) -> float:
    places = [hz for line in lines if line.domain == domain for hz in places_of(line, heard)]
    inside = [hz for hz in places if hz < heard.rate_hz / 2]
    return max(inside, default=50.0)


def _undrifted(samples: Samples, rate_hz: float, heard: TakeAtSpeed) -> Samples:
    """Time stretched so that the shaft turns evenly at its mean speed: lines become sharp."""
    tracks = [track for track in heard.tracks.values() if track.drift > SPEED_SLACK / 2]
    if not tracks:
        return samples
    track = tracks[0]
    times = np.arange(samples.size) / rate_hz
    turns = track.turns_at(times)
    speed = turns[-1] / times[-1]
    return np.asarray(np.interp(times * speed, turns, samples), dtype=np.float32)


def _levelled(transform: Transform, gain: Spectrum) -> Transform:
    places = np.arange(transform.lines.size) * (transform.step / gain.step)
    low = np.minimum(places.astype(np.intp), len(gain) - 1)
    return Transform(
        lines=transform.lines * gain.values[low], frames=transform.frames, rate_hz=transform.rate_hz
    )


def _envelope_spectra(
    transform: Transform,
    band: tuple[float, float],
    top_hz: float,
    block_s: float,
    heard: TakeAtSpeed,
) -> BlockSpectra:
    envelope = band_envelope(transform, *band)
    squared, rate_hz = envelope.squared, envelope.rate_hz
    factor = max(1, int(rate_hz // (4.0 * top_hz)))
    count = squared.size // factor
    thin = squared[: count * factor].reshape(count, factor).mean(axis=1)
    return block_spectra(_undrifted(thin, rate_hz / factor, heard), rate_hz / factor, block_s)


def _peakiness(transform: Transform) -> Power:
    """Kurtosis of the levelled wave above the lowest band, over the Gaussian 3, by blocks."""
    lines = transform.lines.copy()
    lines[: int(LOWEST_BAND_HZ / transform.step)] = 0
    wave = scipy.fft.irfft(lines, n=transform.frames)
    count = int(np.clip(transform.seconds, 4, 40))
    blocks = wave[: wave.size // count * count].reshape(count, -1).astype(np.float64)
    square = np.mean(blocks**2, axis=1)
    if not np.all(square > 0):
        return Power(value=1.0, error=1.0, floor=0.0)
    ratios = np.mean(blocks**4, axis=1) / square**2 / 3.0
    error = float(np.std(np.log(ratios), ddof=1) / np.sqrt(count))
    value = float(np.exp(np.mean(np.log(ratios))))
    return Power(value=value, error=value * error, floor=0.0)


def _floor_thirds(samples: Samples, rate_hz: float) -> Array:
    """Floor between the lines in thirds of an octave, dB: what a change of gain moves alike."""
    spectrum = averaged_spectrum(samples, rate_hz, resolution_hz=rate_hz / 8000.0, scaling="power")
    floor = 10.0 * np.log10(noise_floor(spectrum).values + 1e-30)
    edges = rate_hz / 2 * 0.95 * 2.0 ** (-np.arange(21, -1, -1) / 3.0)
    bins = spectrum.index(edges)
    return np.array([floor[a : b + 1].mean() for a, b in itertools.pairwise(bins)])
