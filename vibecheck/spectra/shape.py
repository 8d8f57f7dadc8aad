"""Numbers for the shape of a signal, and the usual condition indicators of gears.

Definitions: Stewart 1977 (FM0, FM4), Martin 1989 (M6A, M8A), Zakrajsek, Townsend & Decker 1993,
NASA TM-105950 (NA4, NB4); formulas from memory, limiting values by definition.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Samples = NDArray[np.floating]


def rms(samples: Samples) -> float:
    """Root mean square about the mean, in the samples' unit."""
    return float(np.std(samples, dtype=np.float64))


def peak(samples: Samples) -> float:
    """Largest excursion from the mean."""
    part = samples - np.mean(samples, dtype=np.float64)
    return float(np.max(np.abs(part)))


def crest_factor(samples: Samples) -> float:
    """Peak over r.m.s.: 1.414 for a sine, 3 to 5 for noise, more for knocks; 0 for silence."""
    level = rms(samples)
    return peak(samples) / level if level > 0 else 0.0


def _moment(samples: Samples, power: int) -> float:
    """Normalised central moment: mean of the power over the power of the r.m.s."""
    part = np.asarray(samples, dtype=np.float64)
    part = part - part.mean()
    level = float(np.mean(part**2))
    return float(np.mean(part**power) / level ** (power / 2)) if level > 0 else 0.0


def kurtosis(samples: Samples) -> float:
    """Fourth moment over the square of the second: 3 for Gaussian noise, 1.5 for a sine.

    >>> round(kurtosis(np.sin(2 * np.pi * np.arange(1000) / 100)), 3)
    1.5
    """
    return _moment(samples, 4)


def fm0(turn: Samples, teeth: Sequence[int], *, harmonics: int = 8) -> float:
    """Peak to peak of a synchronous average over the sum of its mesh line amplitudes.

    Rises when the pattern of the whole turn changes (a broken tooth); mesh amplitudes are peaks.
    """
    lines = 2.0 * np.abs(scipy.fft.rfft(np.asarray(turn, dtype=np.float64))) / turn.size
    mesh = sum(
        float(lines[count * harmonic])
        for count in teeth
        for harmonic in range(1, harmonics + 1)
        if count * harmonic < lines.size
    )
    return float(np.ptp(turn)) / mesh if mesh > 0 else 0.0


def fm4(difference: Samples) -> float:
    """Kurtosis of the difference signal: 3 when sound, more when one or two teeth differ."""
    return _moment(difference, 4)


def m6a(difference: Samples) -> float:
    """Sixth normalised moment of the difference signal: 15 for Gaussian, 2.5 for a sine."""
    return _moment(difference, 6)


def m8a(difference: Samples) -> float:
    """Eighth normalised moment of the difference signal: 105 for Gaussian, 4.375 for a sine."""
    return _moment(difference, 8)


def _against_history(signal: Samples, history: Sequence[Samples]) -> float:
    part = np.asarray(signal, dtype=np.float64)
    part = part - part.mean()
    spread = float(np.mean([np.var(np.asarray(each, dtype=np.float64)) for each in history]))
    return float(np.mean(part**4) / spread**2) if spread > 0 else 0.0


def na4(residual: Samples, history: Sequence[Samples]) -> float:
    """Fourth moment of the residual over the squared mean variance of it and the earlier ones.

    ``history`` holds the residuals of all takes so far, this one included: unlike FM4 it keeps
    rising when damage spreads to many teeth.
    """
    return _against_history(residual, history)


def nb4(mesh_envelope: Samples, history: Sequence[Samples]) -> float:
    """As NA4, of the envelope of the band round the mesh line."""
    return _against_history(mesh_envelope, history)
