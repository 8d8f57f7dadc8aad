"""Does the recording's gain move by itself? Told from the sound alone.

An automatic gain turns everything down after something loud and lets it rise again: for a while
after each loud moment *every* band is quieter than before it, by the same amount. No machine does
that; an echo or a ringing casting does the opposite.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.block_spectra import block_spectra

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

FRAME_S = 0.04
RELEASES_DB_S = (3.0, 10.0, 30.0)
"""How fast a gain might come back, dB a second; the clearest is used."""
BELOW_HELD_DB = 1.5
"""Frames this far below the last loud moment are compared: the loud moment itself is not."""
LEAST_DIP_DB = 0.8
"""A gain that moves less than this does no harm to a comparison."""
LEAST_SHARE = 0.5
"""Share of all bands that must dip, each clearly on its own."""
FEWEST_BANDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Breathing:
    """What the gain seems to do.

    Attributes
    ----------
    dip_db : float
        How much quieter all bands are just after the louder moments than long after them.
    share : float
        Share of bands that dip clearly.
    found : bool
        Whether this is an automatic gain at work.
    """

    dip_db: float
    share: float
    found: bool


NO_BREATHING = Breathing(dip_db=0.0, share=0.0, found=False)


def breathing(samples: Samples, rate_hz: float) -> Breathing:
    """Look for an automatic gain in a recording.

    Parameters
    ----------
    samples : ndarray of float32, shape (frames,)
    rate_hz : float

    Returns
    -------
    Breathing
        ``found`` stays False for recordings too short or too narrow to tell, and for a gain that
        had nothing to react to: silence here is no proof.
    """
    if samples.size < 4 * rate_hz or rate_hz < 3000:
        return NO_BREATHING
    bands = _band_levels(samples, rate_hz)
    if bands.shape[1] < FEWEST_BANDS:
        return NO_BREATHING
    return max(
        (_dip(bands, release) for release in RELEASES_DB_S), key=lambda b: b.dip_db * b.share
    )


def _band_levels(samples: Samples, rate_hz: float) -> Array:
    """Level of thirds of an octave against time, dB, shape (frames, bands)."""
    spectra = block_spectra(samples, rate_hz, FRAME_S)
    edges = 0.45 * rate_hz * 2.0 ** (-np.arange(24, -1, -1) / 3.0)
    bins = np.rint(edges[edges > 4 * spectra.step_hz] / spectra.step_hz).astype(int)
    power = [
        spectra.power[:, low:high].mean(axis=1)
        for low, high in itertools.pairwise(bins)
        if high > low
    ]
    levels = 10.0 * np.log10(np.stack(power, axis=1).astype(np.float64) + 1e-20)
    return np.asarray(levels)


def _dip(bands: Array, release_db_s: float) -> Breathing:
    """Regress each band's level on how loud the last loud moment was."""
    loudness = 10.0 * np.log10(np.sum(10.0 ** (bands / 10.0), axis=1))
    held = _held(loudness, release_db_s * FRAME_S / 2)
    quiet = loudness < held - BELOW_HELD_DB
    if np.count_nonzero(quiet) < 50:
        return NO_BREATHING
    driver = held[quiet] - held[quiet].mean()
    spread = float(np.quantile(driver, 0.95) - np.quantile(driver, 0.05))
    if spread < 1.0:
        return NO_BREATHING
    levels = bands[quiet] - bands[quiet].mean(axis=0)
    slopes = driver @ levels / (driver @ driver)
    errors = _slope_errors(driver, levels, slopes)
    clear = slopes < -3.0 * errors
    share = float(np.mean(clear))
    dip = float(-np.median(slopes) * spread)
    alike = float(np.std(slopes)) < 0.6 * abs(float(np.median(slopes))) + 2 * float(
        np.median(errors)
    )
    found = share >= LEAST_SHARE and dip >= LEAST_DIP_DB and alike
    return Breathing(dip_db=dip, share=share, found=bool(found))


def _held(loudness: Array, fall_db: float) -> Array:
    """Peak loudness, falling at a steady rate between loud moments."""
    steps = fall_db * np.arange(loudness.size)
    return np.asarray(np.maximum.accumulate(loudness + steps) - steps)


def _slope_errors(driver: Array, levels: Array, slopes: Array) -> Array:
    """Standard errors of the slopes, neighbouring frames not being independent."""
    left = levels - driver[:, None] * slopes
    after = np.sum(left[1:] * left[:-1], axis=0) / np.maximum(np.sum(left**2, axis=0), 1e-20)
    inflation = (1 + np.clip(after, 0, 0.98)) / (1 - np.clip(after, 0, 0.98))
    variance = np.sum(left**2, axis=0) / (driver.size - 2) / (driver @ driver) * inflation
    return np.asarray(np.sqrt(variance))
