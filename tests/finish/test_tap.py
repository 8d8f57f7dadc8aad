import numpy as np
import pytest
from scipy import signal

from vibecheck.errors import RecordingError
from vibecheck.finish.tap import modes

RATE = 12_000


def taps(parts, *, count=4, noise=0.003, seed=1):
    """Impulse responses by scipy's own linear-system code, one a second, in noise."""
    random = np.random.default_rng(seed)
    time = np.arange(int(0.9 * RATE)) / RATE
    ring = np.zeros(time.size)
    for hz, damping, size in parts:
        turn = 2 * np.pi * hz
        system = signal.lti([turn], [1, 2 * damping * turn, turn * turn])
        ring += size * signal.impulse(system, T=time)[1]
    samples = random.normal(0, noise, (count + 1) * RATE)
    for tap in range(count):
        start = int((0.5 + tap) * RATE)
        samples[start : start + ring.size] += ring * random.uniform(0.5, 1.5)
    return samples.astype(np.float32)


@pytest.mark.parametrize(
    ("hz", "damping"), [(120, 0.05), (312, 0.02), (312, 0.06), (870, 0.01), (2400, 0.015)]
)
def test_a_single_mode_comes_back_with_its_damping(hz, damping):
    best = modes(taps([(hz, damping, 1.0)]), RATE)[0]
    assert best.hz == pytest.approx(hz, rel=0.004)
    assert best.damping == pytest.approx(damping, rel=0.08)


def test_two_close_modes_are_told_apart():
    found = sorted(modes(taps([(312, 0.03, 1.0), (345, 0.025, 0.9)]), RATE), key=lambda m: m.hz)
    assert [m.hz for m in found[:2]] == pytest.approx([312, 345], rel=0.005)
    assert [m.damping for m in found[:2]] == pytest.approx([0.03, 0.025], rel=0.12)


def test_half_power_width_is_a_second_opinion_for_a_lone_mode():
    best = modes(taps([(312, 0.03, 1.0)]), RATE)[0]
    assert best.half_power_damping == pytest.approx(best.damping, rel=0.1)


def test_noise_without_a_tap_is_refused():
    noise = np.random.default_rng(2).normal(size=3 * RATE).astype(np.float32)
    with pytest.raises(RecordingError, match="no tap"):
        modes(noise, RATE)
