import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.audio import read_recording

RATE_HZ = 48_000


def tone(hz=437.0, seconds=6.0, rate_hz=RATE_HZ, amplitude=0.4):
    return (
        amplitude * np.sin(2 * np.pi * hz * np.arange(int(seconds * rate_hz)) / rate_hz)
    ).astype(np.float32)


def loudest_hz(recording):
    samples = recording.channel(0)
    lines = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    return np.argmax(lines) * recording.rate_hz / samples.size


@pytest.mark.parametrize(
    ("suffix", "container", "subtype"),
    [
        ("wav", "WAV", "PCM_16"),
        ("wav", "WAV", "PCM_24"),
        ("wav", "WAV", "FLOAT"),
        ("flac", "FLAC", "PCM_24"),
        ("aiff", "AIFF", "PCM_16"),
        ("caf", "CAF", "PCM_16"),
        ("ogg", "OGG", "VORBIS"),
        ("opus", "OGG", "OPUS"),
        ("mp3", "MP3", "MPEG_LAYER_III"),
    ],
)
def test_every_sound_format_comes_back_at_its_pitch_rate_and_level(
    tmp_path, suffix, container, subtype
):
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, tone(), RATE_HZ, format=container, subtype=subtype)
    recording = read_recording(path)
    lossy = suffix in {"ogg", "opus", "mp3"}
    assert recording.rate_hz == RATE_HZ
    assert loudest_hz(recording) == pytest.approx(437.0, abs=0.2)
    rms = np.sqrt(np.mean(np.square(recording.channel(0)[RATE_HZ:-RATE_HZ])))
    assert rms == pytest.approx(0.4 / np.sqrt(2), rel=0.03 if lossy else 1e-3)
    assert recording.support.levels is not lossy
    assert any("lossy" in reason for reason in recording.support.reasons) is lossy


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 96_000, 192_000])
def test_rates_from_8_to_192_khz_are_read(tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(rate_hz=rate_hz), rate_hz)
    recording = read_recording(path)
    assert recording.rate_hz == rate_hz
    assert loudest_hz(recording) == pytest.approx(437.0, abs=0.2)


def test_channels_stay_apart_and_one_can_be_asked_for(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.stack([tone(300), tone(500), tone(700)], axis=1), RATE_HZ)
    assert read_recording(path).channels == 3
    assert loudest_hz(read_recording(path, channel=2)) == pytest.approx(700, abs=0.2)
    with pytest.raises(RecordingError, match="channel 4 of 3"):
        read_recording(path, channel=3)


def test_a_stretch_can_be_asked_for(tmp_path):
    path = tmp_path / "take.wav"
    both = np.concatenate([tone(300), tone(500)])
    soundfile.write(path, both, RATE_HZ, subtype="FLOAT")
    part = read_recording(path, start_s=6.5, length_s=2.0)
    assert np.array_equal(part.channel(0), both[int(6.5 * RATE_HZ) : int(8.5 * RATE_HZ)])
    with pytest.raises(UsageError, match="outside the 12"):
        read_recording(path, start_s=20.0)


def test_a_file_that_is_not_sound_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    path.write_text("no sound at all\n" * 100)
    with pytest.raises(RecordingError, match="no sound file"):
        read_recording(path)


def test_an_empty_file_and_an_empty_recording_are_refused(tmp_path):
    empty = tmp_path / "empty.wav"
    empty.touch()
    with pytest.raises(RecordingError, match="empty"):
        read_recording(empty)
    soundfile.write(empty, np.zeros(0), RATE_HZ)
    with pytest.raises(RecordingError, match="no samples"):
        read_recording(empty)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    with pytest.raises(RecordingError, match="no such file"):
        read_recording(tmp_path / "none.wav")
    with pytest.raises(RecordingError, match="a folder"):
        read_recording(tmp_path)


@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_a_truncated_file_is_refused_unless_the_part_is_accepted(tmp_path, suffix):
    path = tmp_path / f"take.{suffix}"
    noise = np.random.default_rng(1).normal(0, 0.1, 10 * RATE_HZ).astype(np.float32)
    soundfile.write(path, noise, RATE_HZ, subtype="PCM_16")
    os.truncate(path, path.stat().st_size * 4 // 10)
    with pytest.raises(RecordingError, match=r"ends 6\.00 s before|damaged after"):
        read_recording(path)
    part = read_recording(path, partial=True)
    assert 3.0 <= part.seconds < 4.5
    assert part.channel(0)[:1000] == pytest.approx(noise[:1000], abs=1e-4)


@pytest.mark.parametrize("told", [0, 0xFFFFFFFF])
def test_a_file_whose_recorder_was_killed_is_read_to_its_end(tmp_path, told):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(), RATE_HZ, subtype="PCM_16")
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = struct.pack("<I", told)
    path.write_bytes(data)
    assert read_recording(path).seconds == pytest.approx(6.0)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_not_numbers_are_refused_with_their_place(tmp_path, bad):
    path = tmp_path / "take.wav"
    samples = tone()
    samples[3 * RATE_HZ : 3 * RATE_HZ + 5] = bad
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    with pytest.raises(RecordingError, match=r"5 samples are not numbers, the first at 3\.00 s"):
        read_recording(path)


@pytest.mark.parametrize("value", [0.0, 0.25])
def test_silence_and_a_steady_offset_are_refused(tmp_path, value):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.full(RATE_HZ, value), RATE_HZ, subtype="FLOAT")
    with pytest.raises(RecordingError, match="silence"):
        read_recording(path)


def test_too_short_is_refused_and_short_is_said(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(seconds=0.01), RATE_HZ)
    with pytest.raises(RecordingError, match="too short"):
        read_recording(path)
    soundfile.write(path, tone(seconds=0.5), RATE_HZ)
    assert any("0.5 s long" in reason for reason in read_recording(path).support.reasons)


@pytest.mark.parametrize("subtype", ["PCM_16", "FLOAT", "PCM_U8"])
@pytest.mark.parametrize("ceiling", [1.0, 0.7])
def test_clipping_is_said_and_bars_levels_even_below_full_scale(tmp_path, subtype, ceiling):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.clip(tone(amplitude=0.9) * 1.3, -ceiling, ceiling), RATE_HZ,
                    subtype=subtype)  # fmt: skip
    support = read_recording(path).support
    assert any("clipped" in reason for reason in support.reasons)
    assert not support.levels


@pytest.mark.parametrize("hz", [5.0, 30.0, 440.0, 9_000.0, 24_000.0 / 7])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_U8", "PCM_24", "FLOAT"])
def test_a_full_scale_sine_is_not_called_clipped(tmp_path, hz, subtype):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(hz, amplitude=0.999), RATE_HZ, subtype=subtype)
    assert not any("clipped" in reason for reason in read_recording(path).support.reasons)


def test_a_long_file_keeps_its_steadiest_running_stretch(tmp_path):
    path = tmp_path / "long.wav"
    rng = np.random.default_rng(3)
    loud = rng.normal(0, 0.1, 300 * 8000) * (1 + 0.8 * np.sin(np.arange(300 * 8000) / 8000 / 3))
    steady = rng.normal(0, 0.1, 100 * 8000)
    off = rng.normal(0, 0.001, 200 * 8000)
    soundfile.write(path, np.concatenate([off, loud, steady, off]), 8000)
    recording = read_recording(path, keep_s=60)
    assert recording.seconds == 60
    words = next(reason for reason in recording.support.reasons if "steadiest" in reason)
    began_s = float(words.split("from ")[1].split(" s")[0])
    assert 495 <= began_s <= 545


MEASURE = """
import sys
from vibecheck.files.audio import read_recording
recording = read_recording(sys.argv[1])
most = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(recording.seconds, most.split()[1])
"""
"""The most memory since the program began; what getrusage says counts its parent's memory too."""


def test_an_hour_is_streamed_in_little_memory(tmp_path):
    path = tmp_path / "hour.wav"
    block = np.random.default_rng(5).normal(0, 3000, 60 * 44_100).astype(np.int16)
    with soundfile.SoundFile(path, "w", 44_100, 1, "PCM_16") as file:
        for _ in range(60):
            file.write(block)
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True
    )
    seconds, kilobytes = map(float, done.stdout.split())
    Path(path).unlink()
    assert seconds == 180
    assert kilobytes < 400_000


def test_a_stream_that_does_not_say_its_length_is_refused_in_words(tmp_path):
    path = tmp_path / "take.flac"
    soundfile.write(path, tone(), RATE_HZ)
    data = bytearray(path.read_bytes())
    data[21] &= 0xF0  # total samples of the STREAMINFO block (RFC 9639, section 8.2)
    data[22:26] = bytes(4)
    path.write_bytes(data)
    with pytest.raises(RecordingError, match="does not say how long it is"):
        read_recording(path)
