"""Our spectra, envelopes and shape numbers against scipy.signal, scipy.stats and librosa.

These libraries are written by others and share no code with ours beyond the Fourier transform.
"""

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from numpy.testing import assert_allclose

from vibecheck.spectra.envelope import band_envelope, envelope_spectrum, transformed
from vibecheck.spectra.peaks import peaks
from vibecheck.spectra.shape import crest_factor, kurtosis, rms
from vibecheck.spectra.spectrum import averaged_spectrum, long_spectrum
from vibecheck.spectra.speed import speed_from_comb

RATE_HZ = 16_000.0


@pytest.fixture(scope="module")
def machine_sound():
    """A shaft at 23.7 turns a second, a swelling tooth tone, blows, and noise."""
    rng = np.random.default_rng(8)
    time = np.arange(int(12 * RATE_HZ)) / RATE_HZ
    wave = sum(0.2 / k * np.sin(2 * np.pi * 23.7 * k * time + k) for k in range(1, 9))
    wave = wave + 0.4 * (1 + 0.6 * np.cos(2 * np.pi * 23.7 * time)) * np.sin(
        2 * np.pi * 23.7 * 31 * time
    )
    since = np.mod(time, 1 / 83.1)
    wave = wave + 1.5 * np.exp(-since * 700) * np.sin(2 * np.pi * 4200 * since)
    return (wave + 0.2 * rng.normal(size=time.size)).astype(np.float32)


@pytest.mark.parametrize("resolution_hz", [1.0, 5.0, 40.0])
@pytest.mark.parametrize("scaling", ["density", "power"])
def test_averaged_spectra_agree_with_scipys_welch(machine_sound, resolution_hz, scaling):
    ours = averaged_spectrum(machine_sound, RATE_HZ, resolution_hz=resolution_hz, scaling=scaling)
    length = round(RATE_HZ / ours.step)
    frequencies, theirs = scipy.signal.welch(
        machine_sound.astype(float),
        RATE_HZ,
        window="hann",
        nperseg=length,
        noverlap=length - max(length // 2, 1),
        detrend="constant",
        scaling="density" if scaling == "density" else "spectrum",
    )
    assert_allclose(ours.frequencies, frequencies, rtol=1e-9)
    inside = slice(3, -3)  # scipy halves the first and last bin; ours are not read there
    assert_allclose(ours.values[inside], theirs[inside], rtol=2e-3, atol=1e-7 * theirs.max())


def test_the_mean_square_is_that_of_the_samples(machine_sound):
    density = averaged_spectrum(machine_sound, RATE_HZ, resolution_hz=4.0, scaling="density")
    assert density.values.sum() * density.step == pytest.approx(
        np.var(machine_sound.astype(float)), rel=0.01
    )


def test_a_bands_envelope_is_that_of_scipys_filter_and_hilbert(machine_sound):
    low, high = 3000.0, 5400.0
    ours = band_envelope(transformed(machine_sound, RATE_HZ), low, high)
    filtered = scipy.signal.sosfiltfilt(
        scipy.signal.butter(6, (low, high), "bandpass", fs=RATE_HZ, output="sos"),
        machine_sound.astype(float),
    )
    theirs = np.abs(scipy.signal.hilbert(filtered)) ** 2
    at = np.arange(int(0.5 * ours.rate_hz), int(11.0 * ours.rate_hz)) / ours.rate_hz
    there = np.interp(at, np.arange(theirs.size) / RATE_HZ, theirs)
    here = np.interp(at, np.arange(ours.squared.size) / ours.rate_hz, ours.squared)
    assert np.corrcoef(here, there)[0, 1] > 0.98
    assert here.mean() == pytest.approx(there.mean(), rel=0.05)


def test_what_repeats_in_the_envelope_is_what_scipys_envelope_shows(machine_sound):
    envelope = band_envelope(transformed(machine_sound, RATE_HZ), 3000.0, 5400.0)
    ours = envelope_spectrum(envelope, top=400.0).depth
    filtered = scipy.signal.sosfiltfilt(
        scipy.signal.butter(6, (3000, 5400), "bandpass", fs=RATE_HZ, output="sos"),
        machine_sound.astype(float),
    )
    squared = np.abs(scipy.signal.hilbert(filtered)) ** 2
    frequencies, theirs = scipy.signal.periodogram(
        squared / squared.mean(), RATE_HZ, window="hann", scaling="spectrum"
    )
    for multiple in (1, 2, 3):
        near = np.abs(frequencies - 83.1 * multiple) < 0.5
        height = np.sqrt(2 * theirs[near].max())
        assert ours.at(83.1 * multiple, within=0.5) == pytest.approx(height, rel=0.1)


def test_peaks_stand_where_scipy_finds_them(machine_sound):
    level = long_spectrum(machine_sound, RATE_HZ).slice(0.0, 1200.0)
    ours = sorted(peaks(level), key=lambda peak: -peak.value)[:12]
    bins, _ = scipy.signal.find_peaks(level.values, distance=3)
    strongest = bins[np.argsort(-level.values[bins])][:12]
    places = level.frequencies[strongest]
    assert all(np.min(np.abs(places - peak.place)) < level.step for peak in ours)


def test_shape_numbers_agree_with_scipys_statistics(machine_sound):
    wave = machine_sound.astype(float)
    assert kurtosis(wave) == pytest.approx(scipy.stats.kurtosis(wave, fisher=False), rel=1e-4)
    level = np.sqrt(np.mean((wave - wave.mean()) ** 2))
    assert rms(wave) == pytest.approx(level, rel=1e-3)
    peak = np.abs(wave - wave.mean()).max()
    assert crest_factor(wave) == pytest.approx(peak / level, rel=1e-2)


@pytest.fixture(scope="module")
def librosa():
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("librosa")


@pytest.mark.filterwarnings("ignore")
def test_averaged_spectra_agree_with_librosas_short_spectra(machine_sound, librosa):
    length = 4096
    ours = averaged_spectrum(
        machine_sound, RATE_HZ, resolution_hz=1.5 * RATE_HZ / length, scaling="power"
    )
    assert round(RATE_HZ / ours.step) == pytest.approx(length, rel=0.02)
    size = round(RATE_HZ / ours.step)
    short = librosa.stft(
        machine_sound, n_fft=size, hop_length=size // 2, window="hann", center=False
    )
    theirs = 2 * np.mean(np.abs(short) ** 2, axis=1) / (size / 2) ** 2
    assert_allclose(ours.values[5:-5], theirs[5:-5], rtol=5e-3, atol=1e-6 * theirs.max())
    assert_allclose(
        ours.frequencies, librosa.fft_frequencies(sr=RATE_HZ, n_fft=size), rtol=1e-6, atol=1e-6
    )


@pytest.mark.filterwarnings("ignore")
def test_running_speed_agrees_with_librosas_pitch(machine_sound, librosa):
    # yin: de Cheveigne & Kawahara 2002, J. Acoust. Soc. Am. 111:1917, as librosa has it
    slow = scipy.signal.decimate(machine_sound.astype(float), 16, zero_phase=True)
    pitch = librosa.yin(
        slow.astype(np.float32), fmin=15, fmax=60, sr=RATE_HZ / 16, frame_length=1024
    )
    ours = speed_from_comb(machine_sound, RATE_HZ, nominal_hz=24.5)
    assert ours.hz == pytest.approx(23.7, rel=5e-4)
    assert np.median(pitch) == pytest.approx(ours.hz, rel=0.01)
