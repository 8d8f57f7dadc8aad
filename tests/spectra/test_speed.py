import numpy as np
import pytest

from vibecheck.spectra.orders import SpeedTrack, levelled, resampled_to_angle
from vibecheck.spectra.spectrum import long_spectrum
from vibecheck.spectra.speed import speed_from_comb, speed_unaided

RATE = 8000.0


def running(hz, *, seconds=10.0, noise=1.0, drift=0.0, seed=1, multiples=range(1, 9)):
    """A shaft's whole multiples with falling heights; speed drifts by ``drift`` of itself."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(seconds * RATE)) / RATE
    turns = hz * (time + drift * (time**2 / (2 * seconds) - time / 2))
    wave = sum(0.3 / m**0.5 * np.sin(2 * np.pi * m * turns + rng.uniform(0, 6)) for m in multiples)
    return (wave + noise * rng.normal(size=time.size)).astype(np.float32)


@pytest.mark.parametrize("off", [-0.09, -0.03, 0.0, 0.05, 0.09])
def test_speed_is_found_anywhere_in_the_search_range(off):
    found = speed_from_comb(running(24.3), RATE, nominal_hz=24.3 / (1 + off))
    assert found.hz == pytest.approx(24.3, rel=5e-4)
    assert abs(found.hz - 24.3) < 5 * found.uncertainty_hz


@pytest.mark.parametrize("seed", range(12))
def test_noise_has_no_speed(seed):
    noise = np.random.default_rng(seed).normal(size=80_000).astype(np.float32)
    assert not speed_from_comb(noise, RATE, nominal_hz=25.0).found


def test_a_single_strong_tone_is_no_comb():
    time = np.arange(80_000) / RATE
    wave = np.random.default_rng(3).normal(size=time.size) + 5 * np.sin(2 * np.pi * 25.7 * time)
    assert not speed_from_comb(wave.astype(np.float32), RATE, nominal_hz=25.0).found


def test_a_comb_outside_the_range_is_not_taken_for_the_speed():
    assert not speed_from_comb(running(33.0), RATE, nominal_hz=25.0).found


def test_a_drifting_speed_is_followed():
    found = speed_from_comb(running(24.0, drift=0.02, noise=0.5), RATE, nominal_hz=24.5)
    assert found.hz == pytest.approx(24.0, rel=2e-3)
    assert found.drift_hz == pytest.approx(0.48, rel=0.35)


def test_a_steady_speed_is_not_given_a_drift():
    assert speed_from_comb(running(24.0), RATE, nominal_hz=24.0).track is None


def test_a_speed_is_found_with_nothing_to_go_by():
    found = speed_unaided_of(running(17.3, noise=0.5))
    assert found.hz == pytest.approx(17.3, rel=1e-3)


def speed_unaided_of(wave):
    from vibecheck.spectra.envelope import transformed

    return speed_unaided(transformed(wave, RATE))


def test_a_chirp_is_one_line_in_orders():
    track = SpeedTrack(times_s=np.array([0.0, 10.0]), hz=np.array([20.0, 30.0]))
    time = np.arange(80_000) / RATE
    wave = np.sin(2 * np.pi * 3 * track.turns_at(time)).astype(np.float32)
    angle = resampled_to_angle(wave, RATE, track, per_turn=64)
    orders = long_spectrum(angle, 64.0, scaling="peak", axis="order")
    assert orders.at(3.0, within=0.02) == pytest.approx(1.0, abs=0.03)
    assert orders.slice(3.1, 30.0).values.max() < 0.01


def test_levelling_puts_a_drifting_tone_back_on_one_line():
    track = SpeedTrack(times_s=np.array([0.0, 10.0]), hz=np.array([24.0, 26.0]))
    time = np.arange(10_000) / 1000.0
    wave = np.sin(2 * np.pi * 2 * track.turns_at(time)).astype(np.float32)
    level = long_spectrum(levelled(wave, 1000.0, track, 25.0), 1000.0, scaling="peak")
    assert level.at(50.0, within=0.1) > 0.9
