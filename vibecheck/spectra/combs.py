"""Lines of slow signals, and how well a comb of whole multiples sits on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.special import gammaincc

from vibecheck.spectra.bands import usable_range
from vibecheck.spectra.envelope import Transform, band_envelope, decimated, guarded
from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.orders import SpeedTrack, levelled
from vibecheck.spectra.peaks import interpolated, peak_bins
from vibecheck.spectra.spectrum import Floats, Spectrum, fast_length
from vibecheck.spectra.whitening import floor_whitened

Numbers = NDArray[np.float64]
HARMONICS = 10
HIGHEST_SURPRISE = 5.0
"""No single line counts for more than this (natural log units): one strong line is no comb."""
FEWEST_LINES, MOST_LINES = 3, 1500
NEIGHBOURS = 60
"""Bins either side, at the least, among which a line's rarity is judged."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlowSignals:
    """The low end of a recording and the envelope of all of it, each at a low rate.

    ``signals`` holds pairs (samples, rate in Hz); ``top_hz`` is what they are good for.
    """

    signals: tuple[tuple[Floats, float], ...]
    top_hz: float

    @property
    def seconds(self) -> float:
        """Length."""
        samples, rate_hz = self.signals[0]
        return samples.size / rate_hz

    def part(self, start_s: float, end_s: float) -> SlowSignals:
        """One stretch of time."""
        parts = tuple(
            (samples[int(start_s * rate) : int(end_s * rate)], rate)
            for samples, rate in self.signals
        )
        return SlowSignals(signals=parts, top_hz=self.top_hz)

    def levelled(self, track: SpeedTrack, mean_hz: float) -> SlowSignals:
        """The same at a constant speed."""
        parts = tuple(
            (levelled(samples, rate, track, mean_hz), rate) for samples, rate in self.signals
        )
        return SlowSignals(signals=parts, top_hz=self.top_hz)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """Peaks of one spectrum, and how surprising it is to find one so strong just there."""

    places: Numbers
    surprise: Numbers
    step: float
    top: float


def slow_signals(transform: Transform, *, top_hz: float) -> SlowSignals:
    """Cut the low end and the envelope of the whole usable band out of one transform."""
    keep = min(transform.lines.size, int(np.ceil(2.0 * top_hz / transform.step)) + 1)
    size = 2 * scipy.fft.next_fast_len(keep)
    low = np.zeros(size // 2 + 1, dtype=np.complex64)
    low[:keep] = transform.lines[:keep]
    plain = np.asarray(scipy.fft.irfft(low, n=size), dtype=np.float32)
    level = floor_whitened(transform)
    envelope = guarded(band_envelope(level, *usable_range(transform), top=top_hz), stretch=1.0)
    blows, rate_hz = decimated(envelope.squared, envelope.rate_hz, top_hz)
    return SlowSignals(signals=((plain, size / transform.seconds), (blows, rate_hz)), top_hz=top_hz)


def comb_lines(slow: SlowSignals) -> list[Lines]:
    """Lines of both slow signals, Hann window over all of each."""
    return [_surprising(level) for level in _levels(slow)]


def comb_height(slow: SlowSignals, hz: float) -> float:
    """Sum of the logarithms of a comb's lines over the floor: a drift not levelled out, or one
    invented, spreads the lines and lowers them."""
    total = 0.0
    for level in _levels(slow):
        for multiple in range(1, HARMONICS + 1):
            total += float(np.log1p(level.at(multiple * hz, within=1.5 * level.step)))
    return total


def _levels(slow: SlowSignals) -> list[Spectrum]:
    found = []
    for samples, rate_hz in slow.signals:
        size = fast_length(samples.size)
        part = samples[:size] - samples[:size].mean(dtype=np.float64).astype(np.float32)
        lines = scipy.fft.rfft(part * np.hanning(size).astype(np.float32))
        step = rate_hz / size
        keep = min(lines.size, int(slow.top_hz / step) + 2)
        power = np.square(lines[:keep].real) + np.square(lines[:keep].imag)
        found.append(over_floor(Spectrum(values=power, step=step)))
    return found


def comb_score(sets: Sequence[Lines], speeds: Numbers) -> tuple[Numbers, int]:
    """Total surprise of the lines each speed's comb meets, and how many lines were looked for."""
    score, tried = np.zeros(speeds.size), 0
    for lines in sets:
        multiples = np.arange(1, min(HARMONICS, int(lines.top / speeds[-1])) + 1)
        if not multiples.size or lines.places.size < FEWEST_LINES:
            continue
        index, miss = nearest(lines, np.multiply.outer(multiples, speeds))
        near = np.maximum(0.0, 1.0 - (miss / lines.step) ** 2)
        score += np.einsum("ij,ij->j", near, lines.surprise[index])
        tried += multiples.size
    return score, tried


def score_surprise(score: Numbers, tried: int) -> Numbers:
    """-ln of the chance that a comb put down anywhere scores this much."""
    return np.asarray(-np.log(np.maximum(gammaincc(max(tried, 1), score), 1e-300)))


def nearest(lines: Lines, places: Numbers) -> tuple[NDArray[np.intp], Numbers]:
    """Index of the nearest line to each place, and how far it is off."""
    halfway = 0.5 * (lines.places[1:] + lines.places[:-1])
    nearer = np.searchsorted(halfway, places)
    return nearer, lines.places[nearer] - places


def _surprising(level: Spectrum) -> Lines:
    """Peaks above the noise, each with -ln of the share of the axis such peaks cover hereabouts."""
    values = level.values
    bins = peak_bins(values, reach=2)
    bins = bins[values[bins] > 2.0]
    if bins.size > MOST_LINES:
        bins = np.sort(bins[np.argsort(-values[bins])][:MOST_LINES])
    places = level.start + level.step * interpolated(values, bins)
    strength = values[bins].astype(float)
    reach = max(NEIGHBOURS * level.step, 0.12 * level.end)
    near = np.abs(places[:, None] - places[None, :]) <= reach
    rivals = np.sum(near & (strength[None, :] >= strength[:, None]), axis=1)
    width = np.minimum(places + reach, level.end) - np.maximum(places - reach, 0.0)
    surprise = -np.log(np.minimum(1.0, 2.0 * level.step * rivals / width))
    return Lines(
        places=places,
        surprise=np.minimum(surprise, HIGHEST_SURPRISE),
        step=level.step,
        top=level.end,
    )
