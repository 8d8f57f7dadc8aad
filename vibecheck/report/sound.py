"""What to listen to: the knock slowed down, the tooth tone alone, a click at every turn."""

from __future__ import annotations

import io
import wave
from dataclasses import replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.recording import Recording
from vibecheck.report.drawn import folded
from vibecheck.spectra.envelope import band_envelope, transformed

Samples = NDArray[np.float32]
LOUD = 0.7
"""Peak of everything made here, as a fraction of full scale."""
CLICK_S = 0.012
CLICK_HZ = 2200.0
SLOW_WINDOW = 512


def stretch_of(recording: Recording, start_s: float, length_s: float) -> Recording:
    """A stretch of one channel; as much of it as there is."""
    first = min(int(start_s * recording.rate_hz), recording.frames - 1)
    last = min(first + int(length_s * recording.rate_hz), recording.frames)
    return replace(recording, samples=recording.channel(0)[first:last])


def levelled(recording: Recording) -> Recording:
    """The same sound, as loud as is comfortable."""
    peak = float(np.abs(recording.samples).max())
    return replace(recording, samples=recording.samples * np.float32(LOUD / max(peak, 1e-30)))


def band_passed(recording: Recording, low_hz: float, high_hz: float) -> Recording:
    """Only what lies between two frequencies, edges rounded over a tenth of an octave.

    Raises
    ------
    RecordingError
        Nothing of the band is in the recording.
    """
    if not 0 <= low_hz < min(high_hz, recording.rate_hz / 2):
        raise RecordingError(
            f"no band from {low_hz:g} to {high_hz:g} Hz in it",
            f"Ask for one below {recording.rate_hz / 2:g} Hz.",
            recording.name,
        )
    samples = recording.channel(0)
    lines = scipy.fft.rfft(samples)
    places = scipy.fft.rfftfreq(samples.size, 1.0 / recording.rate_hz)
    edges = np.log2(np.maximum(places, 1e-9))
    rising = np.clip((edges - np.log2(max(low_hz, 1e-9))) / 0.1 + 1.0, 0.0, 1.0)
    falling = np.clip((np.log2(high_hz) - edges) / 0.1 + 1.0, 0.0, 1.0)
    gain = (0.5 - 0.5 * np.cos(np.pi * rising * falling)).astype(np.float32)
    made = scipy.fft.irfft(lines * gain, n=samples.size).astype(np.float32)
    return levelled(replace(recording, samples=made))


def slowed(recording: Recording, times: float) -> Recording:
    """The knocks drawn apart, each at its own pitch; what hums steadily is taken away first.

    Parameters
    ----------
    times : float
        How many times longer it lasts.
    """
    import librosa

    samples = recording.channel(0).astype(np.float32)
    blows = librosa.effects.percussive(samples, margin=1.5, n_fft=SLOW_WINDOW)
    made = librosa.effects.time_stretch(
        blows, rate=1.0 / times, n_fft=SLOW_WINDOW, hop_length=SLOW_WINDOW // 8
    )
    return levelled(replace(recording, samples=np.asarray(made, dtype=np.float32)))


def with_clicks(recording: Recording, turn_hz: float) -> Recording:
    """Two channels: the sound, and a click at the loudest place of every turn.

    A knock that keeps step with the clicks belongs to what turns at that rate.
    """
    sound = levelled(recording).channel(0)
    offset_s = _loudest_place(recording, turn_hz) / turn_hz
    clicks = np.zeros_like(sound)
    click = _click(recording.rate_hz)
    seconds = sound.size / recording.rate_hz
    for turn in range(int((seconds - offset_s) * turn_hz) + 1):
        at = round((offset_s + turn / turn_hz) * recording.rate_hz)
        part = click[: max(0, sound.size - at)]
        clicks[at : at + part.size] += part
    return replace(recording, samples=np.stack([sound, np.float32(LOUD) * clicks]))


def _loudest_place(recording: Recording, turn_hz: float) -> float:
    """Where in a turn it is loudest, 0 to 1, counted from the start of the recording."""
    whole = transformed(recording.channel(0), recording.rate_hz)
    top = 0.45 * recording.rate_hz
    loudness = band_envelope(whole, min(200.0, top / 4), top)
    levels, _ = folded(loudness.squared, loudness.rate_hz, turn_hz, parts=360)
    return (int(np.argmax(levels)) + 0.5) / levels.size


def _click(rate_hz: float) -> Samples:
    time = np.arange(int(CLICK_S * rate_hz)) / rate_hz
    tone = np.sin(2 * np.pi * min(CLICK_HZ, rate_hz / 4) * time)
    return np.asarray(tone * np.exp(-time / (CLICK_S / 5)), dtype=np.float32)


def tooth_tone(recording: Recording, mesh_hz: float, turn_hz: float) -> Recording:
    """The tooth tone of a pair with its companions three turns either side."""
    aside = max(3.5 * turn_hz, 0.04 * mesh_hz)
    return band_passed(recording, max(mesh_hz - aside, 1.0), mesh_hz + aside)


def wav(recording: Recording) -> bytes:
    """The sound as a 16-bit WAV file; samples must lie within -1 and 1."""
    frames = np.clip(recording.samples, -1.0, 1.0).T * 32767.0
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(recording.channels)
        file.setsampwidth(2)
        file.setframerate(round(recording.rate_hz))
        file.writeframes(np.rint(frames).astype("<i2").tobytes())
    return buffer.getvalue()
