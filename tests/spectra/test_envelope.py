import numpy as np
import pytest

from vibecheck.spectra.bands import band_tree, candidate_bands, envelope_spectra
from vibecheck.spectra.envelope import (
    back_to_samples,
    band_envelope,
    envelope_spectrum,
    guarded,
    transformed,
)
from vibecheck.spectra.whitening import (
    floor_whitened,
)

RATE = 12_000.0


def noise(seconds=10.0, seed=1):
    return np.random.default_rng(seed).normal(size=int(RATE * seconds)).astype(np.float32)


def blows(hz, seconds=10.0, height=3.0, ring_hz=3000.0, seed=2):
    """Decaying rings with one per cent of jitter in their timing."""
    rng = np.random.default_rng(seed)
    out = np.zeros(int(RATE * seconds), dtype=np.float32)
    tail = np.arange(120) / RATE
    ring = (height * np.exp(-900 * tail) * np.sin(2 * np.pi * ring_hz * tail)).astype(np.float32)
    place = 0.0
    while place < seconds - 0.02:
        start = int(place * RATE)
        out[start : start + 120] += ring
        place += (1 + 0.01 * rng.normal()) / hz
    return out


def test_depth_of_a_modulated_tone_is_as_defined():
    # definition: m = 0.5 gives 2m/(1+m^2/2) = 0.8889 at W and (m^2/2)/(1+m^2/2) = 0.1111 at 2W
    time = np.arange(120_000) / RATE
    wave = (1 + 0.5 * np.cos(2 * np.pi * 20 * time)) * np.cos(2 * np.pi * 2000 * time)
    envelope = band_envelope(transformed(wave.astype(np.float32), RATE), 1500, 2500)
    depth = envelope_spectrum(envelope, top=100).depth
    for hz, expected in ((20.0, 0.8889), (40.0, 0.1111)):
        # a Hann line between bins keeps its power over three of them
        line = depth.slice(hz - 0.25, hz + 0.25).values
        assert np.sqrt(np.sum(line**2) / 1.5) == pytest.approx(expected, rel=0.02)


def test_noise_exceeds_the_depth_limit_as_often_as_stated():
    # definition: a line of band noise exceeds 2 sqrt(-ln p / (B T)) sqrt(1 - f/B) with chance p,
    # no window; the Hann window's noise bandwidth of 1.5 raises the level by sqrt(1.5)
    envelope = band_envelope(transformed(noise(), RATE), 2000, 4000)
    depth = envelope_spectrum(envelope, top=300).depth
    limit = 2 * np.sqrt(-np.log(0.01) / (2000 * 10.0)) * np.sqrt(1.5)
    places = depth.frequencies
    share = np.mean(depth.values[20:] > limit * np.sqrt(1 - places[20:] / 2000))
    assert share == pytest.approx(0.01, abs=0.006)


def test_envelope_significance_of_noise_is_exponential():
    heard = envelope_spectra(transformed(noise(20.0), RATE), top=400)
    for spectrum in heard:
        level = spectrum.significance.values[20:]
        assert np.mean(level > 3.0) == pytest.approx(np.exp(-3.0), rel=0.25)


def test_one_hard_knock_leaves_the_envelope_spectrum_almost_alone():
    quiet = noise() + blows(37.0, height=2.0)
    loud = quiet.copy()
    loud[50_000:50_060] += 400 * np.exp(-np.arange(60) / 10).astype(np.float32)
    strengths = []
    for wave in (quiet, loud):
        envelope = guarded(band_envelope(transformed(wave, RATE), 2000, 4000), stretch=1.0)
        strengths.append(envelope_spectrum(envelope, top=200).significance.at(37.0, within=0.3))
    assert strengths[1] > 0.6 * strengths[0] > 30


def test_a_loud_second_counts_no_more_than_a_quiet_one():
    wave = noise()
    wave[24_000:36_000] *= 20
    envelope = guarded(band_envelope(transformed(wave, RATE), 2000, 4000), stretch=1.0)
    seconds = envelope.squared[: int(10 * (envelope.squared.size // 10))].reshape(10, -1)
    means = seconds.mean(axis=1)
    assert means.max() < 2.5 * np.median(means)


def test_the_band_tree_starts_with_the_whole_and_never_cuts_too_narrow():
    bands = band_tree(100, 6000, narrowest=1400)
    assert (bands[0].low, bands[0].high) == (100, 6000)
    assert min(band.high - band.low for band in bands) >= 1400


def test_the_ringing_band_is_chosen_and_the_whole_range_is_kept():
    wave = 0.3 * noise() + blows(37.0, ring_hz=4500.0, height=4.0)
    bands = candidate_bands(transformed(wave, RATE), narrowest=900, most=4)
    assert bands[0].high - bands[0].low > 5000
    assert bands[1].low < 4500 < bands[1].high


def test_whitening_holds_tones_down_and_keeps_blows():
    time = np.arange(120_000) / RATE
    wave = noise() + blows(37.0) + (30 * np.sin(2 * np.pi * 2500 * time)).astype(np.float32)
    plain = transformed(wave, RATE)
    for white in (floor_whitened(plain), floor_whitened(plain, share=0.0)):
        envelope = guarded(band_envelope(white, 200, 5800), stretch=1.0)
        assert envelope_spectrum(envelope, top=200).significance.at(37.0, within=0.3) > 30
        size = np.abs(white.lines)
        assert size[int(2500 / white.step)] < 5 * np.median(size)


def test_a_transform_gives_its_samples_back():
    wave = noise(2.0)
    back = back_to_samples(transformed(wave, RATE))
    np.testing.assert_allclose(back, wave[: back.size] - wave[: back.size].mean(), atol=1e-4)
