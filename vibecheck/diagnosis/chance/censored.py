"""Likelihood of levels some of which are known only to lie below what would have been heard.

What is silent speaks too: a tone that stands 30 dB above where its neighbours would be heard is
remarkable even when not one of them is. Heard levels are Gaussian; each silent one multiplies in
the chance of lying below its limit, taken one after the other and matched by a Gaussian each time
(assumed density filtering; Minka 2001, "A family of algorithms for approximate Bayesian
inference", chapter 3; the same as Mendell and Elston 1974 for orthant probabilities).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Numbers = NDArray[np.float64]

EDGE_DB, LAPSE = 2.0, 0.05
"""How sharp a limit is; and the chance that a tone is silent for a reason of its own."""


def log_likelihood(
    levels: Numbers, silent: NDArray[np.bool_], mean: Numbers, covariance: Numbers
) -> Numbers:
    """Natural logarithm of the likelihood, for several beliefs at once.

    Parameters
    ----------
    levels : ndarray, shape (readings,)
        Levels heard; where silent, the limit below which nothing would be heard.
    silent : ndarray of bool, shape (readings,)
    mean : ndarray, shape (beliefs, readings)
    covariance : ndarray, shape (beliefs, readings, readings)

    Returns
    -------
    ndarray, shape (beliefs,)

    Examples
    --------
    >>> both = np.array([[[4.0, 0.0], [0.0, 4.0]]])
    >>> silent = np.array([False, True])
    >>> quiet, loud = (
    ...     log_likelihood(np.array([0.0, limit]), silent, np.zeros((1, 2)), both)[0]
    ...     for limit in (-9.0, 9.0)
    ... )
    >>> bool(quiet < loud - 2)
    True
    """
    heard = ~silent
    root = np.linalg.cholesky(covariance[:, heard][:, :, heard])
    off = (levels[heard] - mean[:, heard])[..., None]
    white = np.linalg.solve(root, off)[..., 0]
    said: Numbers = (
        -0.5 * np.sum(white**2, axis=1)
        - np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        - 0.5 * heard.sum() * np.log(2.0 * np.pi)
    )
    if not silent.any():
        return said
    across = np.linalg.solve(root, covariance[:, heard][:, :, silent])
    middle = mean[:, silent] + np.einsum("bhs,bh->bs", across, white)
    left = covariance[:, silent][:, :, silent] - np.swapaxes(across, 1, 2) @ across
    for k, limit in enumerate(levels[silent]):
        said += _below(limit, k, middle, left)
    return said


def _below(limit: float, k: int, middle: Numbers, left: Numbers) -> Numbers:
    """Log chance that one level is below its limit; changes in place what is believed of others."""
    spread = np.sqrt(np.maximum(left[:, k, k], 0.0) + EDGE_DB**2)
    z = np.clip((limit - middle[:, k]) / spread, -30.0, 30.0)
    dense = (1.0 - LAPSE) * np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    chance = LAPSE + (1.0 - LAPSE) * ndtr(z)
    first = -dense / spread / chance
    second = -z * dense / spread**2 / chance - first**2
    column = left[:, :, k].copy()
    middle += column * first[:, None]
    left += column[:, :, None] * column[:, None, :] * second[:, None, None]
    return np.asarray(np.log(chance))
