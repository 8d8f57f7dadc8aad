"""Whole and half multiples of the shaft: unbalance, misalignment, looseness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecheck.spectra.envelope import Transform
from vibecheck.spectra.floor import over_floor
from vibecheck.spectra.spectrum import Spectrum

MULTIPLES = 8
SURE = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftLines:
    """What turns with the shaft.

    Attributes
    ----------
    once, twice : float
        Peak values of the lines at one and two times the shaft, in the samples' unit.
    once_share : float
        Share of the whole recording's mean square carried by the once-a-turn line.
    once_dominance : float
        Share of the once-a-turn line in the power of the first eight multiples.
    halves : int
        How many of 1/2, 3/2, 5/2 and 7/2 times the shaft stand out.
    multiples : int
        How many of the first eight multiples stand out.
    imbalance_odds, looseness_odds : float
        Against "nothing wrong". One take without a comparison never makes either likely.
    """

    once: float = 0.0
    twice: float = 0.0
    once_share: float = 0.0
    once_dominance: float = 0.0
    halves: int = 0
    multiples: int = 0
    imbalance_odds: float = 0.0
    looseness_odds: float = 0.0


def shaft_lines(
    transform: Transform, shaft_hz: float, *, quantity: str = "acceleration"
) -> ShaftLines:
    """Measure the whole and half multiples of a shaft in one take.

    Unbalance makes one clean line, once a turn, that rules both its own multiples and the
    recording; misalignment spreads over two and three; looseness adds halves to a long row.
    """
    plain = hann_power(transform, top=(MULTIPLES + 2) * shaft_hz)
    level = over_floor(plain)
    within = min(1.5 * plain.step, 0.2 * shaft_hz)
    power = np.array([plain.at(m * shaft_hz, within=within) for m in range(1, MULTIPLES + 1)])
    seen = [level.at(m * shaft_hz, within=within) > SURE for m in range(1, MULTIPLES + 1)]
    halves = [level.at((m + 0.5) * shaft_hz, within=within) > SURE for m in range(4)]
    whole = float(np.sum(np.abs(transform.lines[1:]).astype(np.float64) ** 2))
    mean_square = max(2.0 * whole / transform.frames**2, 1e-300)
    share = float(power[0] / mean_square) if seen[0] else 0.0
    dominance = float(power[0] / max(power.sum(), 1e-300))
    measurable = quantity in ("acceleration", "velocity", "displacement")
    return ShaftLines(
        once=float(np.sqrt(2.0 * power[0])),
        twice=float(np.sqrt(2.0 * power[1])),
        once_share=share,
        once_dominance=dominance,
        halves=sum(halves),
        multiples=sum(seen),
        imbalance_odds=_imbalance(share, dominance) if measurable else 0.0,
        looseness_odds=1.5 if sum(halves) >= 3 and sum(seen) >= 7 else 0.0,
    )


def hann_power(transform: Transform, *, top: float) -> Spectrum:
    """Plain spectrum of the whole recording under a Hann window, scaling "power"."""
    keep = min(transform.lines.size, int(top / transform.step) + 3)
    lines = transform.lines[:keep].copy()
    lines[1:-1] -= 0.5 * (transform.lines[: keep - 2] + transform.lines[2:keep])
    lines[0] = lines[-1] = 0
    power = (np.square(lines.real) + np.square(lines.imag)) * (2.0 / transform.frames**2)
    return Spectrum(
        values=power.astype(np.float32),
        step=transform.step,
        axis=transform.axis,
        resolution=1.5 * transform.step,
    )


def _imbalance(share: float, dominance: float) -> float:
    """Odds 1 when the line carries a twelfth of all power and three fifths of its multiples'."""
    rising = 2.0 * np.log(max(share, 1e-6) / 0.083) + 6.0 * np.log(max(dominance, 1e-6) / 0.6)
    return float(np.exp(np.clip(rising, -12.0, 1.5)))
