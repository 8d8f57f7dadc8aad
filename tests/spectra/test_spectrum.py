import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecheck.errors import RecordingError
from vibecheck.spectra.floor import line_significance, noise_floor, over_floor
from vibecheck.spectra.peaks import peaks
from vibecheck.spectra.spectrum import Spectrum, averaged_spectrum, fast_length, long_spectrum


def tone(hz, rate_hz=4096.0, seconds=8.0, amplitude=1.0):
    time = np.arange(int(rate_hz * seconds)) / rate_hz
    return (amplitude * np.sin(2 * np.pi * hz * time)).astype(np.float32)


@pytest.mark.parametrize(
    ("scaling", "expected"), [("peak", 3.0), ("rms", 3.0 / np.sqrt(2)), ("power", 4.5)]
)
def test_a_tone_reads_its_own_height_in_every_scaling(scaling, expected):
    found = averaged_spectrum(tone(512, amplitude=3), 4096.0, resolution_hz=1.5, scaling=scaling)
    assert found.at(512.0) == pytest.approx(expected, rel=1e-3)


def test_density_of_white_noise_is_its_mean_square_over_half_the_rate():
    noise = np.random.default_rng(1).normal(scale=2.0, size=200_000).astype(np.float32)
    found = averaged_spectrum(noise, 1000.0, resolution_hz=3.0, scaling="density")
    assert found.values[5:-5].mean() == pytest.approx(4.0 / 500.0, rel=0.03)


def test_resolution_states_the_window_too():
    found = averaged_spectrum(tone(512), 4096.0, resolution_hz=3.0)
    assert found.resolution == pytest.approx(1.5 * found.step, rel=1e-3)
    assert found.resolution == pytest.approx(3.0, rel=0.05)


def test_many_averages_scatter_as_their_stated_degrees_of_freedom_say():
    noise = np.random.default_rng(2).normal(size=400_000).astype(np.float32)
    found = averaged_spectrum(noise, 1000.0, resolution_hz=2.0, scaling="density")
    scatter = found.values[10:-10].std() / found.values[10:-10].mean()
    assert scatter == pytest.approx(1 / np.sqrt(found.averages), rel=0.12)


@settings(max_examples=25, deadline=None)
@given(gain=st.floats(1e-3, 1e3))
def test_gain_multiplies_peaks_and_leaves_significance_alone(gain):
    noise = np.random.default_rng(3).normal(size=20_000).astype(np.float32)
    one, other = (over_floor(long_spectrum(noise * g, 1000.0)) for g in (1.0, np.float32(gain)))
    np.testing.assert_allclose(one.values, other.values, rtol=2e-2, atol=1e-4)


def test_significance_of_noise_is_exponential_even_on_a_sloping_floor():
    noise = np.cumsum(np.random.default_rng(4).normal(size=300_000)).astype(np.float32)
    level = over_floor(long_spectrum(noise, 1000.0)).values[200:-10]
    assert np.mean(level > 3.0) == pytest.approx(np.exp(-3.0), rel=0.15)


def test_the_floor_does_not_rise_under_lines():
    rng = np.random.default_rng(5)
    noise = rng.normal(size=80_000)
    lines = sum(tone(hz, 4096.0, 80_000 / 4096, 2.0) for hz in range(100, 2000, 40))
    quiet, busy = (
        noise_floor(long_spectrum(x.astype(np.float32), 4096.0)).at(1010.0)
        for x in (noise, noise + lines)
    )
    assert busy == pytest.approx(quiet, rel=0.25)


def test_surprise_of_averaged_spectra_allows_for_the_averages():
    noise = np.random.default_rng(6).normal(size=400_000).astype(np.float32)
    level = over_floor(averaged_spectrum(noise, 1000.0, resolution_hz=1.0, scaling="power"))
    assert np.mean(line_significance(level)[5:-5] > 3.0) == pytest.approx(np.exp(-3.0), rel=0.3)


def test_noise_alone_shows_no_peaks_and_a_weak_tone_shows_one():
    noise = np.random.default_rng(7).normal(size=40_000)
    assert peaks(long_spectrum(noise.astype(np.float32), 4096.0), chance=1e-4) == []
    heard = noise + 0.08 * tone(700.3, 4096.0, 40_000 / 4096)
    (found,) = peaks(long_spectrum(heard.astype(np.float32), 4096.0), chance=1e-4)
    assert found.place == pytest.approx(700.3, abs=0.02)


@given(size=st.integers(2, 10_000_000))
def test_fast_lengths_are_products_of_two_three_five_and_lose_little(size):
    found = fast_length(size)
    rest = found
    for factor in (2, 3, 5):
        while rest % factor == 0:
            rest //= factor
    assert rest == 1
    assert found <= size < found * 1.5 + 2


def test_an_empty_spectrum_is_refused():
    with pytest.raises(RecordingError, match="empty spectrum"):
        Spectrum(values=np.array([], dtype=np.float32), step=1.0)
