"""A gain that moves by itself, told from the sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from diagnosis.invented_sweeps import RATE_HZ, Sound, eight_speed_lathe, following_gain, heard

from vibecheck.diagnosis.compared.automatic_gain import breathing

MACHINE = eight_speed_lathe()


def with_bangs(seed, *, label="A2 B2 CL", bangs=12):
    """A steady machine and a hammer now and then in the shop."""
    rng = np.random.default_rng(seed)
    samples = np.array(heard(MACHINE, label, Sound(), rng).samples, dtype=float)
    time = np.arange(int(0.3 * RATE_HZ)) / RATE_HZ
    for start in rng.integers(0, samples.size - time.size, bangs):
        ring = np.exp(-time / 0.04) * rng.standard_normal(time.size)
        samples[start : start + time.size] += 1.5 * ring
    return samples


@pytest.mark.parametrize("seed", range(6))
def test_a_gain_that_ducks_after_bangs_is_found(seed):
    found = breathing(following_gain(with_bangs(seed)).astype(np.float32), RATE_HZ)
    assert found.found
    assert found.dip_db > 1.0


@pytest.mark.parametrize("seed", range(6))
def test_the_same_bangs_without_a_gain_are_not(seed):
    assert not breathing(with_bangs(seed).astype(np.float32), RATE_HZ).found


@pytest.mark.parametrize("label", ["A2 B2 CL", "A1 B1 CH"])
@pytest.mark.parametrize("sound", [Sound(), Sound(knock={"III": 0.5}), Sound(noise_db=10.0)])
def test_a_machine_by_itself_is_never_taken_for_a_gain(label, sound):
    for seed in range(3):
        rng = np.random.default_rng(seed)
        take = heard(MACHINE, label, replace(sound, seat_db=3.0), rng)
        assert not breathing(take.samples, RATE_HZ).found


def test_an_echo_is_no_gain():
    samples = with_bangs(1)
    late = np.zeros_like(samples)
    for delay in (0.05, 0.11, 0.19, 0.3):
        step = int(delay * RATE_HZ)
        late[step:] += 0.5 * np.exp(-delay / 0.2) * samples[:-step]
    assert not breathing((samples + late).astype(np.float32), RATE_HZ).found


def test_too_short_a_take_says_nothing():
    assert not breathing(np.ones(100, dtype=np.float32), RATE_HZ).found
