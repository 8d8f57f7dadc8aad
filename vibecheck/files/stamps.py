"""From samples with their own time stamps to evenly spaced ones, and how far to trust them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError

GAP_STEPS = 2.5
"""A step longer than this many usual steps is a gap: samples were lost there."""
REPEATED_SHARE = 0.05
"""More repeated stamps than this share mean a clock coarser than the sampling."""
FEW_HOLES = 0.02
"""Share of steps that may stand for missing single samples."""
EVEN_JITTER = 0.02
"""Stamps within this share of a step need no resampling."""
FILTERED_ABOVE_HZ = 2000.0
"""Loggers slower than this (phones, hobby boards) are taken to sample without a filter."""
TIME_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Even:
    """Evenly spaced samples and what the stamps told.

    Attributes
    ----------
    samples : ndarray of float64, shape (frames, columns)
    rate_hz : float
        True mean rate.
    jitter_s : float
        Standard deviation of the stamps about even spacing.
    high_hz : float
        Frequency up to which the samples may be believed.
    aliased : bool
        Whether higher tones may have folded down.
    """

    samples: NDArray[np.float64]
    rate_hz: float
    jitter_s: float
    high_hz: float
    aliased: bool
    notes: tuple[str, ...]


def time_unit(stamps: NDArray[np.float64]) -> str:
    """Guess the unit of a time column: the first that gives a rate a logger can have.

    >>> time_unit(np.arange(100) * 10.0)
    'ms'
    """
    steps = np.diff(np.unique(stamps))
    usual = float(np.median(steps)) if steps.size else 0.0
    whole = bool(np.all(stamps == np.round(stamps)))
    for unit, seconds in TIME_UNITS.items():
        if whole and unit == "s":
            continue
        if usual > 0 and 4.0 <= 1.0 / (usual * seconds) <= 1e6:
            return unit
    return "s"


def evenly(stamps_s: NDArray[np.float64], samples: NDArray[np.float64], name: str) -> Even:
    """Put stamped samples on an even grid at their true mean rate, without inventing any.

    Samples with a coarse clock (many repeated stamps) are spread evenly, for the stamps only tell
    when a batch was handed over. Distinct but uneven stamps are resampled by a cubic spline. Of a
    log with gaps the longest unbroken stretch is kept.
    """
    notes: list[str] = []
    stamps_s, samples = _forward(stamps_s, samples, notes, name)
    stamps_s, samples = _once(stamps_s, samples, notes)
    stamps_s, samples = _unbroken(stamps_s, samples, notes)
    if stamps_s.size < 16:
        raise RecordingError(
            f"only {stamps_s.size} samples in the longest unbroken stretch", "Log again.", name
        )
    share = float(np.mean(np.diff(stamps_s) == 0))
    places = _places(stamps_s) if share == 0 else np.arange(stamps_s.size)
    rate_hz, jitter_s = _line(stamps_s, places)
    missing = int(places[-1]) + 1 - stamps_s.size
    notes.append(_drift_words(stamps_s, places, rate_hz))
    if missing:
        notes.append(f"{missing} single sample(s) missing: filled in from their neighbours")
    if share > REPEATED_SHARE:
        notes.append(
            f"{100 * share:.0f} % of the time stamps repeat: the clock is coarser than the "
            f"sampling (stamps {1000 * jitter_s:.3g} ms off even spacing); samples were taken as "
            "evenly spaced"
        )
    elif missing and jitter_s * rate_hz <= EVEN_JITTER:
        samples = _filled(places, samples)
    elif jitter_s * rate_hz > EVEN_JITTER:
        samples = _resampled(stamps_s, samples, rate_hz)
        notes.append(
            f"uneven time stamps ({1000 * jitter_s:.3g} ms jitter): resampled to {rate_hz:.6g} Hz"
        )
    return _judged(samples, rate_hz, jitter_s, notes)


def even_without_stamps(samples: NDArray[np.float64], rate_hz: float) -> Even:
    """Samples whose rate was told, with nothing known of the true spacing."""
    note = f"{rate_hz:g} samples a second as told; the log has no time stamps to check it by"
    return _judged(samples, rate_hz, 0.0, [note])


def _judged(
    samples: NDArray[np.float64], rate_hz: float, jitter_s: float, notes: list[str]
) -> Even:
    aliased = rate_hz < FILTERED_ABOVE_HZ
    uneven = jitter_s * rate_hz > EVEN_JITTER
    high_hz = rate_hz * (0.4 if uneven else 0.45) if aliased or uneven else rate_hz / 2
    if aliased:
        notes.append(
            f"usable below {high_hz:.3g} Hz only; such loggers sample without a filter, so a tone "
            f"above {rate_hz / 2:.3g} Hz may show as a false low one (alias)"
        )
    return Even(
        samples=samples,
        rate_hz=rate_hz,
        jitter_s=jitter_s,
        high_hz=high_hz,
        aliased=aliased,
        notes=tuple(note for note in notes if note),
    )


def _forward(
    stamps_s: NDArray[np.float64],
    samples: NDArray[np.float64],
    notes: list[str],
    name: str,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    good = np.isfinite(stamps_s)
    back = int(np.count_nonzero(np.diff(stamps_s[good]) < 0))
    if not good.all():
        notes.append(f"{np.count_nonzero(~good)} samples without a time stamp left out")
    if back:
        if back > 0.05 * stamps_s.size:
            raise RecordingError(
                "the time column runs backwards again and again",
                "Name the right column, or give the rate (--rate).",
                name,
            )
        notes.append(f"time runs backwards at {back} place(s): put in order")
    order = np.argsort(stamps_s[good], kind="stable")
    return stamps_s[good][order], samples[good][order]


def _once(
    stamps_s: NDArray[np.float64], samples: NDArray[np.float64], notes: list[str]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Leave out records logged twice: the same stamp with all the same numbers."""
    same = (np.diff(stamps_s) == 0) & np.all(np.diff(samples, axis=0) == 0, axis=1)
    count = int(np.count_nonzero(same))
    if count == 0:
        return stamps_s, samples
    notes.append(f"{count} record(s) were logged twice and counted once")
    keep = np.concatenate(([True], ~same))
    return stamps_s[keep], samples[keep]


def _unbroken(
    stamps_s: NDArray[np.float64], samples: NDArray[np.float64], notes: list[str]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    steps = np.diff(stamps_s)
    distinct = steps[steps > 0]
    if not distinct.size:
        return stamps_s, samples
    usual = max(float(np.median(distinct)), float(np.mean(distinct)) / 2)
    breaks = np.flatnonzero(steps > GAP_STEPS * usual) + 1
    if not breaks.size:
        return stamps_s, samples
    edges = np.concatenate(([0], breaks, [stamps_s.size]))
    longest = int(np.argmax(np.diff(edges)))
    part = slice(int(edges[longest]), int(edges[longest + 1]))
    notes.append(
        f"{breaks.size} gap(s), the widest {steps.max():.3g} s: the longest unbroken stretch was "
        f"kept, {part.stop - part.start} of {stamps_s.size} samples"
    )
    return stamps_s[part], samples[part]


def _places(stamps_s: NDArray[np.float64]) -> NDArray[np.int64]:
    """Place of each sample on an even grid, with holes where single samples are missing.

    Holes are believed only when they are few and explain the stamps far better than none.
    """
    plain = np.arange(stamps_s.size)
    steps = np.diff(stamps_s)
    counts = np.maximum(np.round(steps / np.median(steps)), 1).astype(np.int64)
    if counts.max() == 1 or np.mean(counts > 1) > FEW_HOLES:
        return plain
    holed = np.concatenate(([0], np.cumsum(counts)))
    better = _line(stamps_s, holed)[1] < 0.5 * _line(stamps_s, plain)[1]
    return holed if better else plain


def _filled(places: NDArray[np.int64], samples: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.interpolate import CubicSpline

    even = np.empty((int(places[-1]) + 1, samples.shape[1]))
    even[places] = samples
    holes = np.setdiff1d(np.arange(len(even)), places)
    even[holes] = CubicSpline(places, samples, axis=0)(holes)
    return even


def _line(stamps_s: NDArray[np.float64], places: NDArray[np.int64]) -> tuple[float, float]:
    """True mean rate, and the spread of the stamps about even spacing."""
    index = places.astype(np.float64)
    index -= index.mean()
    centred = stamps_s - stamps_s.mean()
    step = float(index @ centred / (index @ index))
    return 1.0 / step, float(np.std(centred - step * index))


def _drift_words(stamps_s: NDArray[np.float64], places: NDArray[np.int64], rate_hz: float) -> str:
    half = stamps_s.size // 2
    first, last = (
        _line(stamps_s[part], places[part])[0] for part in (slice(half), slice(half, None))
    )
    drift = abs(last - first) / rate_hz
    words = f"true rate {rate_hz:.6g} Hz from the time stamps"
    return f"{words}, drifting by {100 * drift:.2g} % during the log" if drift > 2e-3 else words


def _resampled(
    stamps_s: NDArray[np.float64], samples: NDArray[np.float64], rate_hz: float
) -> NDArray[np.float64]:
    from scipy.interpolate import CubicSpline

    distinct, first = np.unique(stamps_s, return_index=True)
    count = int(np.floor((distinct[-1] - distinct[0]) * rate_hz)) + 1
    grid = np.minimum(distinct[0] + np.arange(count) / rate_hz, distinct[-1])
    even: NDArray[np.float64] = CubicSpline(distinct, samples[first], axis=0)(grid)
    return even
