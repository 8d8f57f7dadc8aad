"""Is a set of readings of the healthy size, or of the size a fault makes?

Readings of one part in several takes share one unknown size: a gear's teeth are the same teeth in
every take, so a second take does not double the surprise of a lively but healthy gear. Sizes are
integrated out; a reading scatters about its part's size as a gamma variable.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

Numbers = NDArray[np.float64]

LIVELY, ALL_LIVELY = 2.0, 0.15
"""How many times as much the lively ones among healthy parts differ as the rest; and how much rarer
it is that whatever they have in common is lively (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeLaw:
    """How readings of healthy and of faulty parts are distributed.

    Attributes
    ----------
    healthy, faulty : float
        Median size of a part's readings.
    healthy_spread, faulty_spread : float
        Spread of that size from part to part, natural logarithm.
    shape : float
        Gamma shape of one reading about its part's size (scatter is 1 / sqrt(shape)).
    healthy_shape : float, optional
        The same of a healthy part, where chance makes its readings less alike than a fault's.
    lively_share : float
        Share of healthy parts that differ ``LIVELY`` times as much as the rest.
    """

    healthy: float
    healthy_spread: float
    faulty: float
    faulty_spread: float
    shape: float = 1.6
    lively_share: float = 0.0
    healthy_shape: float | None = None

    def log_healthy(self, readings: Sequence[float], apart: Sequence[Sequence[int]] = ()) -> float:
        """Log likelihood of the readings together, were the part healthy: usual or lively.

        ``apart`` are the numbers of readings that one of the parts of it makes by itself: it may
        be the only lively one.
        """
        given = tuple(readings)
        if not given:
            return 0.0
        usual = self._log_sound(given, 1.0)
        if not self.lively_share:
            return usual
        either = [
            np.log1p(-self.lively_share) + usual,
            np.log(ALL_LIVELY * self.lively_share) + self._log_sound(given, LIVELY),
        ]
        for own in map(set, apart):
            mine = tuple(value for k, value in enumerate(given) if k in own)
            rest = tuple(value for k, value in enumerate(given) if k not in own)
            alone = self._log_sound(mine, LIVELY) + self._log_sound(rest, 1.0)
            either.append(np.log(self.lively_share) + alone)
        return float(np.logaddexp.reduce(either))

    def _log_sound(self, readings: tuple[float, ...], lively: float) -> float:
        """Log likelihood of readings of sound parts that differ so many times as much as most."""
        shape = self.shape if self.healthy_shape is None else self.healthy_shape
        return _together(readings, self.healthy, lively * self.healthy_spread, shape)

    def log_faulty(self, readings: Sequence[float]) -> float:
        """Log likelihood of the readings together, were the part faulty."""
        return _together(tuple(readings), self.faulty, self.faulty_spread, self.shape)

    def log_odds(self, readings: Sequence[float]) -> float:
        """Natural log odds of faulty against healthy, before any prior.

        >>> law = SizeLaw(healthy=1.1, healthy_spread=0.45, faulty=7, faulty_spread=0.7)
        >>> law.log_odds([8, 7, 9]) > 3 > 0 > law.log_odds([1, 0.5, 2])
        True
        """
        return self.log_faulty(readings) - self.log_healthy(readings)


@lru_cache(maxsize=200_000)
def _together(readings: tuple[float, ...], middle: float, spread: float, shape: float) -> float:
    if not readings:
        return 0.0
    steps = np.linspace(-4.0, 4.0, 41)
    sizes = middle * np.exp(spread * steps)
    values = np.maximum(np.array(readings), 0.05)
    count, total, logs = values.size, values.sum(), np.log(values).sum()
    log_each = (
        count * (shape * np.log(shape / sizes) - gammaln(shape))
        + (shape - 1.0) * logs
        - shape * total / sizes
    )
    weights = -0.5 * steps**2
    return float(logsumexp(log_each + weights) - logsumexp(weights))
