"""Does the recording's gain move by itself? Told from the sound alone.

An automatic gain turns everything down after something loud and lets it rise again: for a while
*every* band, tones and the noise between them, is quieter by one and the same amount. A machine
that surges, an echo or a ringing casting moves some bands, by different amounts, and upwards.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.block_spectra import block_spectra

Array = NDArray[np.float64]
Samples = NDArray[np.float32]

FRAME_S = 0.04
FRAMES_TOGETHER = 15
"""Frames, half-overlapping, whose median is one value: 0.3 s, so that single blows do not count."""
LOWEST_SHARE = 0.1
"""The quietest tenth of the time is held against the middle of it."""
LEAST_DIP_DB = 2.0
"""A gain that moves less does little harm, and a machine that surges can do as much itself."""
LEAST_SHARE = 0.8
"""Share of bands that must be down by half the dip or more."""
LIKENESS = 0.35
"""Scatter of the bands' dips over the dip: a gain turns all down alike."""
CLEAR = 4.0
"""Times the dip must exceed what independent bands would show by chance."""
FEWEST_BANDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Breathing:
    """What the gain seems to do.

    Attributes
    ----------
    dip_db : float
        How much quieter all bands are together in the quietest tenth of the time.
    share : float
        Share of bands that take part.
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
    levels = _slow(_band_levels(samples, rate_hz))
    if levels.shape[1] < FEWEST_BANDS:
        return NO_BREATHING
    moved = levels - np.median(levels, axis=0)
    common = np.median(moved, axis=1)
    own = 1.4826 * np.median(np.abs(moved - common[:, None]), axis=0)
    by_chance = 1.2533 * float(np.median(own)) / np.sqrt(levels.shape[1])
    low = common <= np.quantile(common, LOWEST_SHARE)
    dips = -np.mean(moved[low], axis=0)
    dip = float(np.median(dips))
    if dip <= 0:
        return NO_BREATHING
    share = float(np.mean(dips > 0.5 * dip))
    spread = 1.4826 * float(np.median(np.abs(dips - dip)))
    found = (
        dip >= max(LEAST_DIP_DB, CLEAR * by_chance)
        and share >= LEAST_SHARE
        and spread <= LIKENESS * dip
    )
    return Breathing(dip_db=dip, share=share, found=bool(found))


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
    return np.asarray(10.0 * np.log10(np.stack(power, axis=1).astype(np.float64) + 1e-20))


def _slow(levels: Array) -> Array:
    """Medians of neighbouring frames."""
    count = levels.shape[0] // FRAMES_TOGETHER
    cut = levels[: count * FRAMES_TOGETHER]
    return np.asarray(np.median(cut.reshape(count, FRAMES_TOGETHER, -1), axis=1))
