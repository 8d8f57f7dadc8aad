"""What many takes say together of one bearing family: likelihood ratios that add up.

A take's surprise is calibrated: where nothing rolls, ten to the minus k of all orders reach k. A
flaw that is heard reaches anything. Slow takes hardly strike, so how slow a shaft may turn and
still be heard is left open: below that speed silence says nothing, above it silence speaks against
the flaw. The slip is near one value in all takes, and differs a little with load and warmth.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.special import logsumexp

from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.field import Field

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEP = 3e-4
"""Relative spacing of trial orders."""
HEARD_MEAN = 5.0
"""Mean surprise (decimal) of a flaw where it is heard."""
MOST = 6.0
"""Decoys follow their law down to one in a million; nothing rarer is claimed of one take."""
HEARD, QUIET = 0.85, 0.05
"""How often a flaw is heard in takes fast enough for it, and in slower ones."""
REACHES = (0.1, 0.3, 0.6, 0.85)
"""Slowest speed at which it may be heard, over the fastest recorded: each as likely."""
SLIP_VARIES, FARTHEST = 5e-3, 1.35e-2
"""Scatter of slip from take to take (it moves with load and warmth), and where it ends."""
USUAL_DECOYS, PACE = 0.1, 2.2
"""Share of decoys with any evidence at all, and how fast they thin out beyond (nats)."""


def take_ratios(surprise: Numbers) -> Numbers:
    """Likelihood of a surprise where the flaw is heard, over that where nothing rolls.

    >>> [round(float(r), 2) for r in take_ratios(np.array([0.0, 1.0, 2.0]))]
    [0.09, 0.71, 5.82]
    """
    held = np.minimum(surprise, MOST)
    heard = np.exp(-held / HEARD_MEAN) / HEARD_MEAN
    return np.asarray(heard / (np.log(10.0) * 10.0**-held))


def hidden(ground: Field, family: Family, trial: Numbers) -> Flags:
    """Trial orders whose first two lines lie under lines of something else, or past the end."""
    level, mask = ground.spectra[-1].significance, ground.masked[-1]
    covered = np.ones(trial.size, dtype=bool)
    for harmonic in (1, min(2, family.harmonics)):
        index = np.rint(harmonic * trial * ground.scale(ground.spectra[-1]) / level.step)
        inside = index < mask.size
        covered &= ~inside | mask[np.minimum(index, mask.size - 1).astype(np.intp)]
    return covered


def together(ratios: Sequence[Numbers], speeds: Sequence[float]) -> Numbers:
    """Natural log of the evidence of all takes at every common order, shape (trials,).

    Parameters
    ----------
    ratios : sequence of ndarray, shape (trials,)
        Of each take, see `take_ratios`; 1 where the take cannot tell.
    speeds : sequence of float
        Speed of the shaft in each take.
    """
    kernel = _slip_kernel()
    wide = np.stack([slipping(each, kernel) for each in ratios])
    share = np.asarray(speeds) / max(speeds)
    totals = []
    for reach in REACHES:
        heard = np.where(share >= reach, HEARD, QUIET)[:, None]
        totals.append(np.log1p(heard * (wide - 1.0)).sum(axis=0))
    return np.asarray(logsumexp(totals, axis=0) - np.log(len(REACHES)))


def slipping(ratio: Numbers, kernel: Numbers | None = None) -> Numbers:
    """A take's ratios averaged over how its own slip may differ from the common one."""
    kernel = _slip_kernel() if kernel is None else kernel
    reach = kernel.size // 2
    return np.convolve(np.pad(ratio, reach, mode="edge"), kernel, "valid")


def _slip_kernel() -> Numbers:
    reach = round(FARTHEST / STEP)
    weights = np.exp(-np.abs(np.arange(-reach, reach + 1)) * STEP / SLIP_VARIES)
    return np.asarray(weights / weights.sum())


def within(evidence: Numbers, inside: Flags) -> float:
    """Evidence for a common order somewhere in the window, every order in it as likely."""
    return float(logsumexp(evidence[inside]) - np.log(max(1, inside.sum())))


def own_place(surprise: Numbers, middle: int) -> int:
    """Where one take has the family whose common order is at ``middle``."""
    reach = round(FARTHEST / STEP)
    low = max(0, middle - reach)
    part = surprise[low : middle + reach + 1]
    away = np.abs(np.arange(low, low + part.size) - middle) * STEP / SLIP_VARIES
    held = np.minimum(part, 2 * MOST) + 1e-3 * part
    return low + int(np.argmax(held - away / np.log(10.0)))


def decoy_chance(reached: float, decoys: Numbers, free: Flags, width: int) -> float:
    """Decimal logarithm of the chance that a decoy window gathers as much evidence.

    Decoys of thousands of sweeps thin out exponentially; a sweep whose own decoys reach higher than
    usual has its yardstick moved up by as much.
    """
    peak = np.exp(np.minimum(decoys, 600.0))
    windows = np.log(np.maximum(uniform_filter1d(peak, max(3, width)), 1e-300))
    usual = float(np.quantile(windows[free], 1.0 - USUAL_DECOYS)) if free.any() else 0.0
    beyond = reached - max(0.0, usual)
    if beyond <= 0.0:
        return 0.0
    return float(max(np.log10(USUAL_DECOYS) - beyond / (PACE * np.log(10.0)), -60.0))
