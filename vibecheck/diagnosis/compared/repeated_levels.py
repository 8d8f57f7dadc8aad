"""Levels of one lever position, repeated on both sides of a comparison."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell:
    """Levels of every line at one lever position, both sides.

    Attributes
    ----------
    before_db, after_db : ndarray, shape (lines, takes of that side)
    before_noise_db, after_noise_db : ndarray, same shapes
        Standard uncertainty of each level from the take's own noise.
    fit : ndarray of bool, shape (lines,)
        Lines heard on both sides, from which a spread may be learned.
    """

    before_db: Array
    after_db: Array
    before_noise_db: Array
    after_noise_db: Array
    fit: NDArray[np.bool_]

    @property
    def lines(self) -> int:
        """How many lines."""
        return int(self.before_db.shape[0])

    @property
    def spare(self) -> int:
        """Repeats beyond the first on each side: the degrees of freedom of each line's spread."""
        return int(self.before_db.shape[1] + self.after_db.shape[1] - 2)

    @property
    def change_db(self) -> Array:
        """Mean after less mean before."""
        return np.asarray(self.after_db.mean(axis=1) - self.before_db.mean(axis=1))

    @property
    def weight(self) -> float:
        """Variance of a mean difference over that of one take: 1/m + 1/n."""
        return float(1.0 / self.before_db.shape[1] + 1.0 / self.after_db.shape[1])

    @property
    def noise_variance(self) -> Array:
        """Mean square of the takes' own noise, each line."""
        both = np.concatenate([self.before_noise_db, self.after_noise_db], axis=1)
        return np.asarray(np.mean(both**2, axis=1))

    def residuals(self) -> Array:
        """Levels less the mean of their side, shape (lines, takes of both sides)."""
        sides = (self.before_db, self.after_db)
        parts = [part - part.mean(axis=1, keepdims=True) for part in sides]
        return np.asarray(np.concatenate(parts, axis=1))


def line_residuals(cell: Cell) -> Array:
    """Residuals with the part shared by all fit lines of a take removed, rescaled for it."""
    residuals = cell.residuals()
    count = int(np.count_nonzero(cell.fit))
    if count < 2:
        return np.zeros_like(residuals)
    common = residuals[cell.fit].mean(axis=0)
    return np.asarray((residuals - common) * sqrt(count / (count - 1.0)))
