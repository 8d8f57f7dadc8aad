"""One take and one bearing, on sounds made here: what is named, and what is not."""

import numpy as np
import pytest

from vibecheck.spectra.speed import speed_from_comb

RATE = 12_000.0


def turning(hz, multiples, *, seed, seconds=10.0, noise=0.2):
    """A steady shaft's whole multiples in noise."""
    rng = np.random.default_rng(seed)
    times = np.arange(int(RATE * seconds)) / RATE
    wave = noise * rng.standard_normal(times.size)
    for multiple in range(1, multiples + 1):
        height = 0.05 * rng.uniform(0.3, 1.0)
        wave += height * np.sin(2 * np.pi * multiple * hz * times + rng.uniform(0, 6))
    return wave.astype(np.float32)


@pytest.mark.parametrize("seed", range(12))
def test_eight_sharp_multiples_are_not_given_a_drift(seed):
    found = speed_from_comb(turning(24.37, 8, seed=seed), RATE, nominal_hz=24.0)
    assert found.drift_hz == 0
    assert found.hz == pytest.approx(24.37, rel=1e-4)
