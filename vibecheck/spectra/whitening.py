"""Making a spectrum level before looking for repeated blows in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecheck.spectra.envelope import Transform, back_to_samples, transformed
from vibecheck.spectra.floor import FEWEST_BINS, noise_floor
from vibecheck.spectra.spectrum import Floats, Spectrum


def floor_whitened(
    transform: Transform, *, width: float = 0.0, highest: float = 3.0, share: float = 1.0
) -> Transform:
    """Lines far above the local floor held down, and on request the floor made level.

    What the method study kept of whitening: holding tones down matters (a mesh line or mains hum
    would rule the envelope); levelling resonances costs more than it brings, because a resonance
    is where blows ring loudest over the noise.

    Parameters
    ----------
    width : float
        Neighbourhood of the floor in axis units; default one hundredth of the band.
    highest : float
        Lines are held to this many times the floor's r.m.s., so that a steady tone (a mesh line,
        mains) cannot rule the envelope. Noise alone exceeds 3 once in 8,000 lines.
    share : float
        1 makes the floor level; 0 leaves resonances as they are and only holds tones down;
        between the two, resonances are flattened in part.
    """
    power = np.square(transform.lines.real) + np.square(transform.lines.imag)
    step = transform.step
    width = width or max(transform.rate_hz / 200.0, FEWEST_BINS * step)
    floor = noise_floor(Spectrum(values=power, step=step), width=width).values
    ratio = np.sqrt(power / floor)
    gain = np.minimum(1.0, highest / np.maximum(ratio, 1e-12)) / floor ** (0.5 * share)
    return replace(transform, lines=transform.lines * gain.astype(np.float32))


def levelled_samples(samples: Floats, rate_hz: float) -> Floats:
    """Samples with their spectrum made level; for shape numbers and listening."""
    return back_to_samples(floor_whitened(transformed(samples, rate_hz)))
