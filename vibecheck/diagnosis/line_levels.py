"""Levels of every compared line in one take, with the uncertainty the take itself shows."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.block_spectra import (
    REACH_BINS,
    BlockSpectra,
    Power,
    bins_of,
    block_spectra,
    line_power,
)
from vibecheck.diagnosis.compared_lines import Line
from vibecheck.diagnosis.ready import resampled
from vibecheck.diagnosis.speed_track import SpeedTrack
from vibecheck.recording import Take
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
HEARD = 3.0
"""Standard uncertainties above nothing from which a line counts as heard."""
LOWEST_BAND_HZ = 250.0
HIGHEST_BAND_HZ = 12_000.0
TONES_HELD = 3.0
"""In the envelope, steady tones are held to this many times the floor's r.m.s."""
HELD_BINS = 9
"""Width of each such hold, in bins of a 3000th of half the rate: two takes' speeds differ."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeAtSpeed:
    """A take and the speeds found in it.

    Attributes
    ----------
    take : Take
    speeds_hz : mapping of str to float
        Rigid group -> mean speed of its first rotor.
    tracks : mapping of str to SpeedTrack
        The same through the take, where it was followed; the tightest is used to undo drift.
    channel : int
    doubt : str
        Why its speed or lever position is not to be relied on, "" when it is.
    """

    take: Take
    speeds_hz: Mapping[str, float]
    tracks: Mapping[str, SpeedTrack] = field(default_factory=dict)
    channel: int = 0
    doubt: str = ""

    @property
    def samples(self) -> Samples:
        """The channel compared, mean removed."""
        recording = self.take.recording
        raw = recording.channel(min(self.channel, recording.channels - 1))
        return np.asarray(raw - raw.mean(dtype=np.float64).astype(np.float32))

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.take.recording.rate_hz


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Powers of every line in one take; None where the take cannot carry the line."""

    powers: tuple[Power | None, ...]
    overall_db: float
    bands_db: Array
    """Noise floor between the lines, one value for each third of an octave."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """How all takes of one position are listened to: alike, before and after.

    Attributes
    ----------
    lines : tuple of Line
        As they can be told apart at this block length.
    block_s : float
    shifts : tuple of float
        Relative shift found for each line that may slip, 0 for the others.
    bands : tuple of (low, high) or None
        Envelope band each line is heard in, None for lines of the plain spectrum.
    """

    lines: tuple[Line, ...]
    block_s: float
    shifts: tuple[float, ...]
    bands: tuple[tuple[float, float] | None, ...]


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
    places = np.sort([place for line in low for place in _places(line, takes[0])])
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


def listening(
    lines: Sequence[Line],
    spectra: Sequence[Spectra],
    block_s: float,
    bands: Sequence[tuple[float, float]],
) -> Listening:
    """Settle shifts and bands from all takes together, and leave out what cannot be told apart."""
    told = _apart(lines, spectra)
    shifts, chosen = [], []
    for line in told:
        best_band = None
        if line.domain == "envelope":
            best_band = max(bands, key=lambda band: _salience(line, spectra, band), default=None)
        shifts.append(_shift(line, spectra, best_band))
        chosen.append(best_band)
    return Listening(lines=told, block_s=block_s, shifts=tuple(shifts), bands=tuple(chosen))


def levels_of(spectra: Spectra, how: Listening) -> Levels:
    """Read every line of one take."""
    powers: list[Power | None] = []
    busy: dict[tuple[float, float] | None, NDArray[np.bool_]] = {}
    for line, shift, band in zip(how.lines, how.shifts, how.bands, strict=True):
        if line.domain == "shape":
            powers.append(spectra.peakiness)
            continue
        source = _source(spectra, band) if band or line.domain == "spectrum" else None
        if source is None or not _carried(line, spectra.heard, source):
            powers.append(None)
            continue
        if band not in busy:
            busy[band] = _busy(how.lines, how.shifts, line.domain, spectra.heard, source)
        places = _places(line, spectra.heard, shift)
        widths = [SPEED_SLACK * place for place in places]
        powers.append(line_power(source, places, widths, busy[band]))
    return Levels(powers=tuple(powers), overall_db=spectra.overall_db, bands_db=spectra.bands_db)


def _source(spectra: Spectra, band: tuple[float, float] | None) -> BlockSpectra | None:
    return spectra.plain if band is None else spectra.envelopes.get(band)


def _places(line: Line, heard: TakeAtSpeed, shift: float = 0.0) -> list[float]:
    found = [place.hz(heard.speeds_hz) for place in line.places]
    return [hz * (1.0 + shift) for hz in found if hz is not None]


def _carried(line: Line, heard: TakeAtSpeed, source: BlockSpectra) -> bool:
    """Whether speed is known and the recording can be believed at every component."""
    places = _places(line, heard)
    if len(places) < len(line.places):
        return False
    support = heard.take.recording.support
    top = heard.take.recording.top_hz if line.domain == "spectrum" else np.inf
    last = source.step_hz * (source.power.shape[1] - 1 - REACH_BINS)
    low = max(support.low_hz if line.domain == "spectrum" else 0.0, 2.5 * source.step_hz)
    return all(low <= place <= min(top, last) for place in places)


def _highest(lines: Sequence[Line], domain: str, heard: TakeAtSpeed) -> float:
    places = [hz for line in lines if line.domain == domain for hz in _places(line, heard)]
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


def _apart(lines: Sequence[Line], spectra: Sequence[Spectra]) -> tuple[Line, ...]:
    """Lines whose every component stands clear of the more important lines before them."""
    kept: list[Line] = []
    taken: dict[str, list[tuple[float, int]]] = {"spectrum": [], "envelope": []}
    for line in lines:
        if line.domain == "shape":
            kept.append(line)
            continue
        clash = _clash(line, spectra, taken[line.domain])
        if clash is not None:
            other = kept[clash]
            names = dict.fromkeys((*other.same_as, line.name))
            kept[clash] = replace(other, same_as=tuple(names))
            continue
        taken[line.domain] += [
            (place, len(kept)) for place in _places(line, spectra[0].heard)[: _claims(line)]
        ]
        kept.append(line)
    return tuple(kept)


def _claims(line: Line) -> int:
    """How many components claim their place: of blows only the first, for shafts in whole ratio
    share the multiples."""
    return {"blows": 1, "bearing": 3}.get(line.sort, len(line.places))


def _clash(
    line: Line, spectra: Sequence[Spectra], taken: Sequence[tuple[float, int]]
) -> int | None:
    step = max(one.plain.step_hz for one in spectra)
    for place in _places(line, spectra[0].heard)[: _claims(line)]:
        for other, index in taken:
            apart = 2 * REACH_BINS * step + SPEED_SLACK * place
            if abs(place - other) < apart:
                return index
    return None


def _busy(
    lines: Sequence[Line],
    shifts: Sequence[float],
    domain: str,
    heard: TakeAtSpeed,
    source: BlockSpectra,
) -> NDArray[np.bool_]:
    busy = np.zeros(source.power.shape[1], dtype=bool)
    for line, shift in zip(lines, shifts, strict=True):
        if line.domain != domain:
            continue
        for place in _places(line, heard, shift):
            low, high = bins_of(place, SPEED_SLACK * place, source)
            busy[low : high + 1] = True
    return busy


def _salience(line: Line, spectra: Sequence[Spectra], band: tuple[float, float]) -> float:
    """How far a line stands out in a band, over all takes of both sides together."""
    shift = _shift(line, spectra, band)
    return float(_stands_out(line, spectra, band, np.array([shift]))[0])


def _shift(line: Line, spectra: Sequence[Spectra], band: tuple[float, float] | None) -> float:
    low, high = line.slip
    if low == high or line.domain == "shape":
        return 0.0
    sources = [_source(one, band) for one in spectra]
    places = [max(_places(line, one.heard), default=0.0) for one in spectra]
    if None in sources or min(places) <= 0:
        return 0.0
    step = min(s.step_hz for s in sources if s) / max(places)
    grid = np.arange(low, high + step / 2, step / 2)
    return float(grid[int(np.argmax(_stands_out(line, spectra, band, grid)))])


def _stands_out(
    line: Line, spectra: Sequence[Spectra], band: tuple[float, float] | None, grid: Array
) -> Array:
    total = np.zeros(grid.size)
    for one in spectra:
        source = _source(one, band)
        if source is None:
            continue
        mean = source.mean()
        for place in _places(line, one.heard):
            bins = np.rint(place * (1.0 + grid) / source.step_hz).astype(np.intp)
            near = np.clip(bins, 1, mean.size - 2)
            around = mean[max(1, near.min() - 30) : near.max() + 31]
            level = float(np.median(around)) if around.size else 1.0
            value = (mean[near - 1] + mean[near] + mean[near + 1]) / max(3.0 * level, 1e-30)
            total += np.log(np.maximum(value, 1.0))
    return total
