import numpy as np
import pytest

from vibecheck.capture.lateness import Lateness


def clock(late_s, block_s=0.01, rate_hz=48_000.0):
    made = Lateness(rate_hz)
    for index, late in enumerate(late_s):
        made.add((index + 1) * block_s + late, round(block_s * rate_hz))
    return made


def test_a_busy_computer_that_catches_up_lost_nothing():
    late = np.random.default_rng(1).exponential(0.02, 3000)
    late[500:520] = 0.4
    late[-3:] = 0.2
    late[0] = 0.3
    assert clock(late).lost_s == 0.0


@pytest.mark.parametrize("lost_s", [0.1, 0.7, 5.0])
def test_lost_samples_leave_every_later_block_late(lost_s):
    late = np.random.default_rng(1).exponential(0.005, 3000)
    late[1700:] += lost_s
    assert clock(late).lost_s == pytest.approx(lost_s, abs=0.005)


def test_a_card_whose_clock_runs_a_little_slow_lost_nothing():
    assert clock(np.arange(60_000) * 0.01 * 1e-4).lost_s == 0.0


def test_nothing_came_and_one_block_came():
    assert clock([]).lost_s == 0.0
    assert clock([0.5]).lost_s == 0.0
