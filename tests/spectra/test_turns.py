import numpy as np
import pytest

from vibecheck.errors import RecordingError
from vibecheck.spectra.cepstrum import spacing_found, spacing_strength
from vibecheck.spectra.orders import SpeedTrack
from vibecheck.spectra.shape import crest_factor, fm0, fm4, kurtosis, m6a, m8a, na4, nb4, rms
from vibecheck.spectra.spectrum import long_spectrum
from vibecheck.spectra.synchronous import difference, mesh_band, residual, synchronous_average
from vibecheck.spectra.uneven import evened, line_amplitude

STEADY = SpeedTrack(times_s=np.array([0.0, 20.0]), hz=np.array([10.0, 10.0]))


def gear(teeth=32, seconds=20.0, rate_hz=4000.0, bump=0.0, noise=0.5, seed=1):
    """A mesh tone at 10 turns a second, with one tooth in 32 lower by ``bump``."""
    time = np.arange(int(seconds * rate_hz)) / rate_hz
    turn = 10.0 * time
    wave = np.sin(2 * np.pi * teeth * turn)
    wave += bump * np.exp(-(((turn % 1.0) - 0.5) ** 2) / (2 * (0.4 / teeth) ** 2))
    return (wave + noise * np.random.default_rng(seed).normal(size=time.size)).astype(np.float32)


def test_noise_falls_with_the_root_of_the_turns():
    average = synchronous_average(gear(), 4000.0, STEADY, per_turn=400)
    left = residual(average.turn, [32])
    assert average.turns == 200
    assert left.std() == pytest.approx(0.5 / np.sqrt(200), rel=0.25)


def test_a_damaged_tooth_raises_fm4_and_a_sound_gear_leaves_it_near_three():
    sound, hurt = (
        difference(synchronous_average(gear(bump=b), 4000.0, STEADY, per_turn=400).turn, [32])
        for b in (0.0, 1.5)
    )
    # definition: Gaussian gives 3 with s.d. sqrt(24/N)
    assert fm4(sound) == pytest.approx(3.0, abs=4 * np.sqrt(24 / 400))
    assert fm4(hurt) > 5
    assert na4(hurt, [sound, sound, hurt]) > fm4(hurt)


def test_limits_of_the_moments_are_as_defined():
    noise = np.random.default_rng(2).normal(size=2_000_000)
    sine = np.sin(2 * np.pi * np.arange(100_000) / 100)
    # definition; Stewart 1977, Martin 1989 (formulas from memory)
    for measure, gaussian, steady in ((kurtosis, 3, 1.5), (m6a, 15, 2.5), (m8a, 105, 4.375)):
        assert measure(noise) == pytest.approx(gaussian, rel=0.05)
        assert measure(sine) == pytest.approx(steady, rel=1e-3)
    assert crest_factor(sine) == pytest.approx(np.sqrt(2), rel=1e-3)
    assert rms(sine) == pytest.approx(np.sqrt(0.5), rel=1e-3)


def test_fm0_of_a_clean_mesh_is_two_and_grows_with_a_broken_tooth():
    turn = np.sin(2 * np.pi * 32 * np.arange(1024) / 1024)
    assert fm0(turn, [32]) == pytest.approx(2.0, rel=1e-6)
    turn[500:520] *= 4
    assert fm0(turn, [32]) > 3


def test_nb4_of_a_steady_mesh_against_itself_is_its_kurtosis():
    envelope = mesh_band(np.random.default_rng(3).normal(size=1024).astype(np.float32), 64)
    assert nb4(envelope, [envelope]) == pytest.approx(kurtosis(envelope), rel=1e-6)


def test_too_few_turns_are_refused():
    with pytest.raises(RecordingError, match="two whole turns"):
        synchronous_average(gear(seconds=0.15), 4000.0, STEADY)


def test_the_spacing_of_sidebands_is_found():
    time = np.arange(80_000) / 4000.0
    wave = (1 + np.cos(2 * np.pi * 6.2 * time)) ** 4 * np.sin(2 * np.pi * 700 * time)
    wave += 0.05 * np.random.default_rng(4).normal(size=time.size)
    heard = long_spectrum(wave.astype(np.float32), 4000.0)
    assert spacing_found(heard, 4.0, 9.0, low=600, high=800)[0] == pytest.approx(6.2, rel=0.02)


def test_noise_has_no_spacing():
    noise = np.random.default_rng(5).normal(size=80_000).astype(np.float32)
    strength = spacing_strength(long_spectrum(noise, 4000.0), np.linspace(5, 20, 100))
    assert strength.max() < 6


def test_quantised_stamps_are_counted_and_truly_uneven_ones_are_interpolated():
    rng = np.random.default_rng(6)
    true = np.arange(2000) / 99.4
    for stamps, counted in (
        (np.floor(true / 0.0168) * 0.0168, true),
        (np.sort(rng.uniform(0, 20, 2000)), None),
    ):
        at = true if counted is not None else stamps
        wave = np.sin(2 * np.pi * 5.0 * at)
        samples, rate_hz = evened(stamps, wave)
        level = long_spectrum(samples, rate_hz, scaling="peak")
        assert level.at(5.0, within=0.1) == pytest.approx(1.0, abs=0.15)
    assert line_amplitude(stamps, wave, 5.0) == pytest.approx(1.0, abs=1e-6)
