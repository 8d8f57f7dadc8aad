"""How far a part stands out from what its company, the sensor and the take explain.

Levels heard of many parts in many takes are laid out as one Gaussian model: what they all share,
what a take or a frequency does to all alike, and how much sound parts differ among themselves. A
part's excess is then its best linear estimate, with the standard deviation left to it by all the
rest (mixed model; Henderson 1975, Biometrics 31, 423). A part without fair company gets a wide one
and so can say little; nothing else needs to hold it back. How alike this machine's sound parts are
nobody knows beforehand: several answers are tried, and the readings themselves say which is
likely, with the part under suspicion taken as faulty or as one more lively sound one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

Numbers = NDArray[np.float64]
Owner = TypeVar("Owner", bound=Hashable)

LIVELY_SHARE, LIVELY = 1e-3, 2.0
"""Among sound parts, this share differs this many times as much as the rest (judgement)."""
ALIKE_STEPS = (0.33, 0.5, 0.7, 1.0, 1.5, 2.2)
"""How alike sound parts may be, over the usual."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excess:
    """A part's level over what the rest explains, its standard deviation were the part sound."""

    over: float
    spread: float
    readings: int

    def log_odds(self, faulty: float, faulty_spread: float) -> float:
        """Natural log odds of a fault that adds ``faulty`` +- ``faulty_spread``, before any prior.

        >>> plain = Excess(over=30.0, spread=6.0, readings=5)
        >>> lonely = Excess(over=30.0, spread=25.0, readings=5)
        >>> plain.log_odds(18, 8) > 5 > 1 > lonely.log_odds(18, 8) > 0
        True
        """
        fault = _log_normal(self.over - faulty, float(np.hypot(self.spread, faulty_spread)))
        sound = np.logaddexp(
            np.log(1 - LIVELY_SHARE) + _log_normal(self.over, self.spread),
            np.log(LIVELY_SHARE) + _log_normal(self.over, LIVELY * self.spread),
        )
        return float(fault - sound)


def _log_normal(away: float, spread: float) -> float:
    return -0.5 * (away / spread) ** 2 - float(np.log(spread * np.sqrt(2 * np.pi)))


@dataclass(frozen=True, slots=True, kw_only=True)
class StandsOut(Generic[Owner]):
    """Every part's excess and natural log odds of a fault, before any prior."""

    excesses: Mapping[Owner, Excess]
    log_odds: Mapping[Owner, float]


def alike(labels: Sequence[Hashable]) -> Numbers:
    """1 where two readings share a label, else 0: the covariance of what the label brings."""
    known = {label: number for number, label in enumerate(dict.fromkeys(labels))}
    numbers = np.array([known[label] for label in labels])
    same: Numbers = (numbers[:, None] == numbers[None, :]).astype(np.float64)
    return same


def stands_out(
    values: Numbers,
    covariance: Callable[[float], Numbers],
    owners: Sequence[Owner],
    *,
    faulty: float,
    faulty_spread: float,
    machines: float,
) -> StandsOut[Owner]:
    """Hold every owner of readings against all the rest.

    Parameters
    ----------
    values : ndarray, shape (readings,)
        About zero in the mean, or with a wide common part in the covariance.
    covariance : callable
        Of the readings of a machine without any fault, shape (readings, readings), given how much
        its sound parts differ over the usual (1).
    owners : sequence, length readings
    faulty, faulty_spread : float
        What a fault adds to its owner's readings.
    machines : float
        How differently alike the sound parts of one machine and another are, natural logarithm.

    Returns
    -------
    StandsOut
        The excess is that at the usual likeness; the odds are over all of them.
    """
    if not len(owners):
        return StandsOut(excesses={}, log_odds={})
    steps = np.array(ALIKE_STEPS)
    weights = -0.5 * (np.log(steps) / machines) ** 2
    tried = [excesses(values, covariance(float(step)), owners) for step in steps]
    sound = np.array([likelihood for _, likelihood in tried]) + weights
    usual, _ = tried[int(np.argmin(np.abs(np.log(steps))))]
    odds = {
        name: float(
            logsumexp(sound + np.array([e[name].log_odds(faulty, faulty_spread) for e, _ in tried]))
            - logsumexp(sound)
        )
        for name in usual
    }
    return StandsOut(excesses=usual, log_odds=odds)


def excesses(
    values: Numbers, covariance: Numbers, owners: Sequence[Owner]
) -> tuple[dict[Owner, Excess], float]:
    """Excess of every owner of readings, and the log likelihood of all readings were none faulty.

    Parameters
    ----------
    values : ndarray, shape (readings,)
    covariance : ndarray, shape (readings, readings)
    owners : sequence, length readings
    """
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, values)
    names = list(dict.fromkeys(owners))
    belongs = np.array([[owner == name for name in names] for owner in owners], dtype=np.float64)
    turned = np.linalg.solve(root, belongs)
    weight = np.sum(turned**2, axis=0)
    over = turned.T @ white / weight
    found = {
        name: Excess(
            over=float(over[k]),
            spread=float(weight[k] ** -0.5),
            readings=int(belongs[:, k].sum()),
        )
        for k, name in enumerate(names)
    }
    return found, float(-0.5 * white @ white - np.log(np.diag(root)).sum())
