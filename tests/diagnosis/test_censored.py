"""Silent levels: against multivariate normal probabilities of another library."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from vibecheck.diagnosis.chance import censored
from vibecheck.diagnosis.chance.censored import EDGE_DB, LAPSE, log_likelihood


def test_levels_all_heard_are_a_plain_gaussian() -> None:
    rng = np.random.default_rng(1)
    root = rng.normal(size=(4, 4))
    covariance = root @ root.T + np.eye(4)
    mean, levels = rng.normal(size=4), rng.normal(size=4)
    said = log_likelihood(levels, np.zeros(4, dtype=bool), mean[None], covariance[None])
    assert said[0] == pytest.approx(multivariate_normal(mean, covariance).logpdf(levels))


def test_one_silence_is_the_chance_of_lying_below() -> None:
    said = log_likelihood(
        np.array([-3.0]), np.array([True]), np.array([[2.0]]), np.array([[[12.0]]])
    )
    below = norm.cdf((-3.0 - 2.0) / np.sqrt(12.0 + EDGE_DB**2))
    assert said[0] == pytest.approx(np.log(LAPSE + (1 - LAPSE) * below))


def test_several_silences_near_the_orthant_probability_of_scipy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Genz's integral (scipy.stats.multivariate_normal.cdf), without lapses; within 10 %."""
    monkeypatch.setattr(censored, "LAPSE", 0.0)
    rng = np.random.default_rng(4)
    for _ in range(20):
        covariance = 9.0 * np.exp(-0.5 * np.subtract.outer(*[rng.uniform(0, 3, 5)] * 2) ** 2)
        covariance += np.diag(rng.uniform(0.5, 3.0, 5))
        limits = rng.normal(0, 3.0, 5)
        said = log_likelihood(limits, np.ones(5, dtype=bool), np.zeros((1, 5)), covariance[None])
        edges = covariance + EDGE_DB**2 * np.eye(5)
        true = multivariate_normal(np.zeros(5), edges).cdf(limits)
        assert said[0] == pytest.approx(np.log(true), abs=0.12)


def test_several_beliefs_at_once_are_each_as_alone() -> None:
    rng = np.random.default_rng(7)
    levels, silent = rng.normal(0, 5, 6), np.array([False, True, False, True, True, False])
    covariance = np.stack([np.eye(6) * k + 4.0 for k in (3.0, 9.0)])
    means = rng.normal(size=(2, 6))
    both = log_likelihood(levels, silent, means, covariance)
    for k in (0, 1):
        alone = log_likelihood(levels, silent, means[k : k + 1], covariance[k : k + 1])
        assert both[k] == pytest.approx(alone[0])
