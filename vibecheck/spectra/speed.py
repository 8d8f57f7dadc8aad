"""Running speed from the recording itself: the comb of whole multiples of one shaft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from vibecheck.spectra.bands import usable_range
from vibecheck.spectra.envelope import (
    Transform,
    band_envelope,
    envelope_spectrum,
    guarded,
    transformed,
)
from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.peaks import interpolated, peak_bins
from vibecheck.spectra.spectrum import Floats, Spectrum
from vibecheck.spectra.whitening import floor_whitened

Numbers = NDArray[np.float64]
HARMONICS = 10
HIGHEST_SURPRISE = 5.0
"""No single line counts for more than this (natural log units): one strong line is no comb."""
NEAR = 0.015
"""Half the trust goes to speeds this close to the nominal, half to the whole searched range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedFound:
    """A speed heard in a recording, or that none was.

    Attributes
    ----------
    hz : float
        Turns a second, mean over the recording; 0 when not found.
    uncertainty_hz : float
        One standard uncertainty of the mean.
    chance : float
        Probability that some speed in the searched range would fit this well by accident.
    drift_hz : float
        Speed at the end less speed at the start, straight line; 0 when not measurable.
    lines : tuple of int
        Which multiples were seen.
    reason : str
        Why not found, in words; empty when found.
    """

    hz: float
    uncertainty_hz: float
    chance: float
    drift_hz: float = 0.0
    lines: tuple[int, ...] = ()
    reason: str = ""

    @property
    def found(self) -> bool:
        """Whether a speed was heard."""
        return self.hz > 0


@dataclass(frozen=True, slots=True, eq=False)
class _Lines:
    """Peaks of one spectrum and how surprising it is to find one so strong just here."""

    places: Numbers
    surprise: Numbers
    step: float
    top: float


def speed_from_comb(
    samples: Floats | Transform,
    rate_hz: float = 0.0,
    *,
    nominal_hz: float,
    search: float = 0.10,
    chance: float = 1e-3,
    drift: bool = True,
) -> SpeedFound:
    """Running speed near a nominal, from the whole multiples of the shaft.

    Both the plain spectrum and the spectrum of the envelope are searched; every line counts by
    how rare lines as strong as it are around it, up to a limit.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,), or Transform
    rate_hz : float
        Needed with samples.
    nominal_hz : float
    search : float
        Half-width of the search, as a share of the nominal.
    chance : float
        A comb that would be found this often by accident is not believed.
    drift : bool
        Whether to follow the speed through the recording.
    """
    whole = samples if isinstance(samples, Transform) else transformed(samples, rate_hz)
    sets = comb_lines(whole, top_hz=(HARMONICS + 2) * nominal_hz * (1 + search))
    best = comb_speed(sets, nominal_hz=nominal_hz, search=search)
    if best.chance > chance:
        return SpeedFound(
            hz=0.0,
            uncertainty_hz=0.0,
            chance=best.chance,
            reason="no comb of whole multiples stands out near the nominal speed",
        )
    return best


def speed_unaided(
    transform: Transform, *, low_hz: float = 3.0, high_hz: float = 120.0
) -> SpeedFound:
    """A running speed with nothing to go by: the most surprising comb of all.

    Every tenth of the range pays for the others having been tried; a comb whose odd multiples are
    missing is taken for half of a slower one and passed over.
    """
    span = 0.1
    centres = np.exp(np.arange(np.log(low_hz * 1.1), np.log(high_hz), 2 * span * 0.95))
    sets = comb_lines(transform, top_hz=(HARMONICS + 2) * high_hz)
    found = [comb_speed(sets, nominal_hz=float(c), search=span) for c in centres]
    best = min(found, key=lambda one: one.chance / max(len(one.lines), 1))
    chance = min(1.0, best.chance * len(found))
    if chance > 1e-3:
        return SpeedFound(
            hz=0.0,
            uncertainty_hz=0.0,
            chance=chance,
            reason="no comb of whole multiples stands out anywhere",
        )
    return best


def comb_lines(transform: Transform, *, top_hz: float) -> list[_Lines]:
    """Lines of the plain spectrum and of the whole band's envelope, up to ``top_hz``."""
    keep = min(transform.lines.size, int(top_hz / transform.step) + 2)
    hann = _hann_lines(transform.lines, keep)
    plain = Spectrum(
        values=np.square(hann.real) + np.square(hann.imag),
        step=transform.step,
        resolution=1.5 * transform.step,
    )
    level = floor_whitened(transform)
    envelope = guarded(band_envelope(level, *usable_range(transform)), stretch=1.0)
    heard = envelope_spectrum(envelope, top=top_hz)
    return [_lines(over_floor(plain)), _lines(heard.significance)]


def comb_speed(sets: Sequence[_Lines], *, nominal_hz: float, search: float) -> SpeedFound:
    """The best comb near ``nominal_hz``, however unlikely or likely it is by chance."""
    finest = min(lines.step for lines in sets)
    count = int(np.ceil(2 * search * nominal_hz / (finest / (3.0 * HARMONICS)))) + 1
    speeds = nominal_hz * np.linspace(1 - search, 1 + search, count)
    total = np.zeros(count)
    tried = 0
    for lines in sets:
        score, used = _comb_score(lines, speeds)
        total += score
        tried = tried + used
    surprise = -np.log(np.maximum(gammaincc(max(tried, 1), total), 1e-300))
    places_per_hz = HARMONICS / (4.0 * finest)
    toll = np.where(
        np.abs(speeds / nominal_hz - 1.0) <= NEAR,
        np.log(max(1.0, 2 * 2 * min(NEAR, search) * nominal_hz * places_per_hz)),
        np.log(max(1.0, 2 * 2 * search * nominal_hz * places_per_hz)),
    )
    best = int(np.argmax(surprise - toll))
    by_chance = float(np.exp(min(0.0, toll[best] - surprise[best])))
    return _refined(sets, float(speeds[best]), by_chance)


def _refined(sets: Sequence[_Lines], speed: float, by_chance: float) -> SpeedFound:
    """Least squares of matched lines on their multiples."""
    weights, pulls, seen = 0.0, 0.0, set()
    for _ in range(3):
        weights, pulls, seen = 1e-30, 0.0, set()
        for lines in sets:
            for multiple in range(1, HARMONICS + 1):
                index, miss = _nearest(lines, np.array([multiple * speed]))
                if abs(miss[0]) > 0.7 * lines.step or lines.surprise[index[0]] < 1.0:
                    continue
                trust = lines.surprise[index[0]] * (multiple / lines.step) ** 2
                weights += trust
                pulls += trust * miss[0] / multiple
                seen.add(multiple)
        speed += pulls / weights
    spread = 0.3 / np.sqrt(max(weights / HIGHEST_SURPRISE, 1e-12))
    return SpeedFound(
        hz=speed, uncertainty_hz=float(spread), chance=by_chance, lines=tuple(sorted(seen))
    )


def _comb_score(lines: _Lines, speeds: Numbers) -> tuple[Numbers, int]:
    score = np.zeros(speeds.size)
    used = 0
    for multiple in range(1, HARMONICS + 1):
        if multiple * speeds[-1] > lines.top or lines.places.size < 3:
            break
        index, miss = _nearest(lines, multiple * speeds)
        near = np.maximum(0.0, 1.0 - (miss / lines.step) ** 2)
        score += near * lines.surprise[index]
        used += 1
    return score, used


def _nearest(lines: _Lines, places: Numbers) -> tuple[NDArray[np.intp], Numbers]:
    after = np.clip(np.searchsorted(lines.places, places), 1, lines.places.size - 1)
    before = after - 1
    nearer = np.where(
        np.abs(lines.places[after] - places) < np.abs(lines.places[before] - places), after, before
    )
    return nearer.astype(np.intp), lines.places[nearer] - places


def _lines(level: Spectrum) -> _Lines:
    """Peaks above the noise, each with -ln of the share of the axis such peaks cover hereabouts."""
    values = level.values
    bins = peak_bins(values, reach=2)
    bins = bins[values[bins] > 2.0]
    places = level.start + level.step * interpolated(values, bins)
    strength = values[bins].astype(float)
    surprise = np.zeros(places.size)
    reach = max(60 * level.step, 0.12 * level.end)
    for index in range(places.size):
        low, high = np.searchsorted(places, (places[index] - reach, places[index] + reach))
        rivals = int(np.sum(strength[low:high] >= strength[index]))
        width = min(places[index] + reach, level.end) - max(places[index] - reach, 0.0)
        surprise[index] = -np.log(min(1.0, 2.0 * level.step * rivals / width))
    return _Lines(
        places=places,
        surprise=np.minimum(surprise, HIGHEST_SURPRISE),
        step=level.step,
        top=level.end,
    )


def _hann_lines(lines: NDArray[np.complex64], keep: int) -> NDArray[np.complex64]:
    """What a Hann window over the whole recording would have given."""
    out = lines[:keep].copy()
    out[1:-1] -= 0.5 * (lines[: keep - 2] + lines[2:keep])
    out[0] = out[-1] = 0
    return out
