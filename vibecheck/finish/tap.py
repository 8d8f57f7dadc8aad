"""Structure modes from a tap: how the tool, bar or slide rings when it is knocked.

Each tap is followed by a free decay, a sum of dying sinusoids. Their frequencies and damping are
fitted by the matrix pencil (Hua and Sarkar 1990, IEEE Trans. Acoust. Speech Signal Process.
38:814-824, method from memory) in a band about each spectral peak, tap by tap; the spread over the
taps is the uncertainty. The half-power width of the spectrum is kept beside it as a second
opinion.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from vibecheck.errors import RecordingError

LONGEST_DECAY_S = 0.5
ONSET_OVER_FLOOR = 8.0
LEAST_GAP_S = 0.15
FAINTEST = 0.05
"""Peaks below this part of the largest are left out."""
MOST_MODES = 6
HEAVIEST_DAMPING = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One way the structure rings.

    Attributes
    ----------
    hz, hz_uncertainty : float
        Natural frequency.
    damping, damping_uncertainty : float
        Fraction of critical damping.
    strength : float
        Largest mode 1.
    taps : int
        In how many taps it was found.
    half_power_damping : float
        Damping from the half-power width of the spectrum; wide when modes overlap; nan when the
        decay was too short to see it.
    """

    hz: float
    damping: float
    hz_uncertainty: float = 0.0
    damping_uncertainty: float = 0.0
    strength: float = 1.0
    taps: int = 1
    half_power_damping: float = float("nan")


def modes(
    samples: NDArray[np.float32], rate_hz: float, *, low_hz: float = 20.0, high_hz: float = 0.0
) -> tuple[Mode, ...]:
    """Modes seen in a take of one or more taps, strongest first.

    Parameters
    ----------
    samples : ndarray, shape (frames,)
        One channel, machine stopped.
    rate_hz : float
        Samples a second.
    low_hz, high_hz : float
        Band to look in; 0 means up to 0.4 of the rate.

    Raises
    ------
    RecordingError
        When no tap stands out of the noise.
    """
    array = np.asarray(samples, dtype=np.float64)
    array = array - np.median(array)
    decays = _decays(array, rate_hz)
    if not decays:
        raise RecordingError(
            "no tap stands out of the noise",
            "Stop the machine, knock firmly with a soft mallet or a brass bar, a second between "
            "knocks, and record again.",
        )
    top = high_hz or 0.4 * rate_hz
    peaks = _peaks(decays, rate_hz, low_hz, top)
    found = [mode for peak in peaks if (mode := _mode(peak, decays, rate_hz))]
    return _ranked(found)


def _decays(array: NDArray[np.float64], rate_hz: float) -> list[NDArray[np.float64]]:
    """The free decay after each tap, from just past its peak to the next tap."""
    block = max(int(0.002 * rate_hz), 1)
    count = array.size // block
    level = np.abs(array[: count * block]).reshape(count, block).max(axis=1)
    floor = float(np.median(level))
    loud = level > max(ONSET_OVER_FLOOR * floor, 0.1 * float(level.max(initial=0.0)))
    gap = max(int(LEAST_GAP_S * rate_hz / block), 1)
    starts: list[int] = []
    last = -gap
    for index in np.flatnonzero(loud):
        if index - last >= gap:
            starts.append(int(index))
        last = int(index)
    if not starts:
        return []
    ends = [*(s - 2 for s in starts[1:]), count]
    longest = int(LONGEST_DECAY_S * rate_hz)
    found = []
    for start, end in zip(starts, ends, strict=True):
        piece = array[start * block : end * block]
        peak = int(np.argmax(np.abs(piece[: gap * block // 3])))
        piece = piece[peak + block : peak + block + longest]
        if piece.size > 0.02 * rate_hz:
            found.append(piece)
    return found


def _spectrum(decays: list[NDArray[np.float64]], size: int) -> NDArray[np.float64]:
    power = [np.abs(fft.rfft(d / max(np.abs(d).max(), 1e-30), size)) ** 2 for d in decays]
    return np.asarray(np.sqrt(np.mean(power, axis=0)))


def _peaks(
    decays: list[NDArray[np.float64]], rate_hz: float, low_hz: float, high_hz: float
) -> list[tuple[float, float]]:
    """(hertz, half-power damping) of spectral peaks, strongest first."""
    size = fft.next_fast_len(4 * max(d.size for d in decays), real=True)
    spectrum = _spectrum(decays, size)
    axis = np.arange(spectrum.size) * rate_hz / size
    band = (axis >= low_hz) & (axis <= high_hz)
    middle = spectrum[1:-1]
    crest = (middle > spectrum[:-2]) & (middle >= spectrum[2:]) & band[1:-1]
    where = np.flatnonzero(crest) + 1
    where = where[np.argsort(-spectrum[where])]
    if where.size == 0:
        return []
    where = where[spectrum[where] > FAINTEST * spectrum[where[0]]]
    kept: list[int] = []
    for index in where:
        if all(abs(axis[index] / axis[other] - 1) > 0.03 for other in kept):
            kept.append(int(index))
    return [(float(axis[i]), _half_power(spectrum, axis, i)) for i in kept[:MOST_MODES]]


def _half_power(spectrum: NDArray[np.float64], axis: NDArray[np.float64], index: int) -> float:
    limit = spectrum[index] / np.sqrt(2)
    low = index
    while low > 0 and spectrum[low] > limit:
        low -= 1
    high = index
    while high < spectrum.size - 1 and spectrum[high] > limit:
        high += 1
    return float((axis[high] - axis[low]) / (2 * axis[index]))


def _mode(
    peak: tuple[float, float], decays: list[NDArray[np.float64]], rate_hz: float
) -> Mode | None:
    near_hz, half_power = peak
    poles = [p for d in decays if (p := _pole(d, near_hz, rate_hz))]
    if not poles or len(poles) < len(decays) / 2:
        return None
    tones = np.array([p[0] for p in poles])
    dampings = np.array([p[1] for p in poles])
    spread = 2 / np.sqrt(len(poles)) if len(poles) > 1 else 0.0
    return Mode(
        hz=float(np.median(tones)),
        damping=float(np.median(dampings)),
        hz_uncertainty=float(max(spread * tones.std(), 0.002 * near_hz)),
        damping_uncertainty=float(max(spread * dampings.std(), 0.05 * np.median(dampings))),
        strength=float(np.median([p[2] for p in poles])),
        taps=len(poles),
        half_power_damping=half_power,
    )


def _pole(
    decay: NDArray[np.float64], near_hz: float, rate_hz: float
) -> tuple[float, float, float] | None:
    """(hertz, damping, strength) of the strongest dying sinusoid near a frequency."""
    zoomed, slow_hz = _zoom(decay, near_hz, rate_hz)
    if zoomed.size < 12:
        return None
    roots = _pencil(zoomed)
    moments = np.arange(zoomed.size)
    weights, *_ = np.linalg.lstsq(
        roots[np.newaxis, :] ** moments[:, np.newaxis], zoomed, rcond=None
    )
    best: tuple[float, float, float] | None = None
    for root, weight in zip(roots, weights, strict=True):
        pole = np.log(root) * slow_hz
        whole = pole + 2j * pi * near_hz
        damping = -whole.real / abs(whole)
        hertz = abs(whole) / (2 * pi)
        if not (0 < damping < HEAVIEST_DAMPING and abs(hertz / near_hz - 1) < 0.08):
            continue
        energy = float(abs(weight) / np.sqrt(max(damping * hertz, 1e-9)))
        if best is None or energy > best[2]:
            best = (float(hertz), float(damping), energy)
    return best


def _zoom(
    decay: NDArray[np.float64], near_hz: float, rate_hz: float
) -> tuple[NDArray[np.complex128], float]:
    """Complex samples of the band within a third of ``near_hz``, at a low rate, its edges cut."""
    half = near_hz / 3
    size = decay.size
    spectrum = fft.fft(decay)
    first, last = ceil((near_hz - half) * size / rate_hz), int((near_hz + half) * size / rate_hz)
    band = spectrum[first : min(last, size // 2)]
    slow_hz = band.size * rate_hz / size
    turned = fft.ifft(band) * band.size / size
    shift = (first * rate_hz / size - near_hz) / slow_hz
    zoomed = turned * np.exp(2j * pi * shift * np.arange(band.size))
    edge = 3
    useful = _length(np.abs(zoomed[edge:-edge]))
    return zoomed[edge : edge + useful], slow_hz


def _length(size: NDArray[np.float64]) -> int:
    """Samples until the decay has sunk into what is left at its end."""
    if size.size < 16:
        return int(size.size)
    floor = float(np.median(size[-size.size // 4 :]))
    above = np.flatnonzero(size > max(3 * floor, 0.02 * float(size.max())))
    return int(min(max((above[-1] + 1) if above.size else 0, 16), size.size, 240))


def _pencil(samples: NDArray[np.complex128], most: int = 4) -> NDArray[np.complex128]:
    """Roots z of samples = sum of weight * z**n; as many as stand out of the noise."""
    length = samples.size // 3
    rows = samples.size - length
    hankel = np.array([samples[i : i + length + 1] for i in range(rows)])
    _, values, right = np.linalg.svd(hankel, full_matrices=False)
    order = int(np.clip((values > 0.03 * values[0]).sum(), 1, min(most, length - 1)))
    space = right[:order].T
    shift, *_ = np.linalg.lstsq(space[:-1], space[1:], rcond=None)
    roots = np.linalg.eigvals(shift)
    return np.asarray(roots[np.abs(roots) > 1e-6])


def _ranked(found: list[Mode]) -> tuple[Mode, ...]:
    """Strongest first, strengths against the strongest, doubles dropped."""
    found.sort(key=lambda mode: -mode.strength)
    kept: list[Mode] = []
    for mode in found:
        faint = mode.strength < FAINTEST * found[0].strength
        if faint or mode.damping_uncertainty > mode.damping:
            continue
        if all(abs(mode.hz / other.hz - 1) > 0.01 for other in kept):
            kept.append(mode)
    if not kept:
        return ()
    top = kept[0].strength
    return tuple(
        Mode(
            hz=m.hz,
            damping=m.damping,
            hz_uncertainty=m.hz_uncertainty,
            damping_uncertainty=m.damping_uncertainty,
            strength=m.strength / top,
            taps=m.taps,
            half_power_damping=m.half_power_damping,
        )
        for m in kept
    )
