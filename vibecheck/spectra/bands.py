"""Which bands to listen in: a tree of whole, half, third, quarter ... of the usable range."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.spectra.envelope import (
    EnvelopeSpectrum,
    Form,
    Transform,
    band_envelope,
    envelope_spectrum,
    guarded,
)
from vibecheck.spectra.orders import SpeedTrack
from vibecheck.spectra.whitening import floor_whitened

SHARES = (1, 2, 3, 4, 6)
"""Into how many equal bands the usable range is cut, level by level (Antoni 2007, Mech. Syst.
Signal Process. 21:108-124, uses halves and thirds in the same way)."""
KNOCK_STRETCH = 1.0
"""Seconds over which the level is evened out before anything repeated is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """From ``low`` to ``high``, with the kurtosis of its guarded envelope when known."""

    low: float
    high: float
    kurtosis: float = 0.0


def band_tree(
    low: float, high: float, *, narrowest: float, shares: Sequence[int] = SHARES
) -> list[Band]:
    """The whole range first, then its halves, thirds, ..., none narrower than ``narrowest``.

    >>> [round(band.low) for band in band_tree(0, 6000, narrowest=1000, shares=(1, 2, 3))]
    [0, 0, 3000, 0, 2000, 4000]
    """
    bands: list[Band] = []
    for share in shares:
        if share > 1 and (high - low) / share < narrowest:
            break
        edges = np.linspace(low, high, share + 1)
        bands += [Band(low=float(a), high=float(b)) for a, b in itertools.pairwise(edges)]
    return bands


def usable_range(
    transform: Transform, *, low: float = 0.0, high: float = 0.0
) -> tuple[float, float]:
    """From just above the lowest to just below half the rate, inside what may be believed."""
    half = transform.rate_hz / 2
    return max(low, 0.02 * half), min(high or half, 0.98 * half)


def candidate_bands(
    transform: Transform, *, narrowest: float, most: int = 8, low: float = 0.0, high: float = 0.0
) -> list[Band]:
    """The whole range and the bands whose envelope is most unlike steady noise.

    The kurtosis is that of the guarded envelope (2 for Gaussian noise), so one knock cannot choose
    the band.
    """
    bands = band_tree(*usable_range(transform, low=low, high=high), narrowest=narrowest)
    scored = []
    for band in bands:
        envelope = guarded(band_envelope(transform, band.low, band.high), stretch=KNOCK_STRETCH)
        squared = envelope.squared.astype(np.float64)
        kurtosis = float(np.mean(squared**2) / np.mean(squared) ** 2)
        scored.append(Band(low=band.low, high=band.high, kurtosis=kurtosis))
    rest = sorted(scored[1:], key=lambda band: -band.kurtosis)
    return [scored[0], *rest[: most - 1]]


def envelope_spectra(
    transform: Transform,
    *,
    top: float,
    narrowest: float = 0.0,
    low: float = 0.0,
    high: float = 0.0,
    forms: Sequence[Form] = ("squared",),
    shares: Sequence[int] = SHARES,
    whiten: float = 0.0,
    stretch: float = KNOCK_STRETCH,
    track: SpeedTrack | None = None,
    mean_hz: float = 0.0,
) -> list[EnvelopeSpectrum]:
    """Envelope spectra of every band of the tree, knocks guarded against.

    Parameters
    ----------
    transform : Transform
        Of the recording, in Hz or in orders.
    top : float
        Highest modulation rate wanted, in the transform's axis.
    narrowest : float
        Narrowest band worth cutting; never below ``top``.
    low, high : float
        Limits of what may be believed; 0 for none.
    forms : sequence of {"squared", "logarithm"}
    whiten : float
        Steady tones are held down; the floor is levelled by this share. Below 0: neither.
    stretch : float
        Seconds (or revolutions) over which loudness is evened out.
    track, mean_hz : SpeedTrack, float
        A drifting speed to be levelled out, and the speed to level it to.
    """
    level = transform if whiten < 0 else floor_whitened(transform, share=whiten)
    bottom, ceiling = usable_range(transform, low=low, high=high)
    top = min(top, (ceiling - bottom) / 2)
    bands = band_tree(bottom, ceiling, narrowest=max(narrowest, top), shares=shares)
    spectra = []
    for band in bands:
        envelope = guarded(band_envelope(level, band.low, band.high, top=top), stretch=stretch)
        for form in forms:
            spectra.append(
                envelope_spectrum(
                    envelope,
                    top=top,
                    form=form,
                    low=band.low,
                    high=band.high,
                    track=track,
                    mean_hz=mean_hz,
                )
            )
    return spectra
