import sys
from fractions import Fraction

import numpy as np
import pytest

from vibecheck.errors import RecordingError
from vibecheck.files.audio import read_recording
from vibecheck.files.video import video_facts


def write(path, codec, rate_hz, hz=437.0, layout="mono", seconds=6, form=None):
    av = pytest.importorskip("av", reason="PyAV is not installed")
    if codec not in av.codecs_available:
        pytest.skip(f"this PyAV has no encoder for {codec}")
    sound = 0.4 * np.sin(2 * np.pi * hz * np.arange(seconds * rate_hz) / rate_hz)
    sound = (sound * 32767).astype(np.int16)
    with av.open(str(path), "w", format=form) as container:
        stream = container.add_stream(codec, rate=rate_hz, layout=layout)
        fifo = av.AudioFifo()
        frame = av.AudioFrame.from_ndarray(sound[np.newaxis], format="s16", layout="mono")
        frame.sample_rate, frame.time_base = rate_hz, Fraction(1, rate_hz)
        fifo.write(frame)
        resampler = av.AudioResampler(
            format=stream.codec_context.format, layout=layout, rate=rate_hz,
            frame_size=stream.codec_context.frame_size or None,
        )  # fmt: skip
        pieces = resampler.resample(fifo.read(0, partial=True)) + resampler.resample(None)
        for piece in pieces:
            container.mux(stream.encode(piece))
        container.mux(stream.encode(None))


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "lossy"),
    [
        ("memo.m4a", "aac", 44_100, True),
        ("memo2.m4a", "alac", 48_000, False),
        ("clip.mp4", "aac", 48_000, True),
        ("clip.mov", "pcm_s16le", 44_100, False),
        ("clip.3gp", "aac", 16_000, True),
        ("clip.webm", "libopus", 48_000, True),
        ("memo.amr", "libopencore_amrnb", 8_000, True),
    ],
)
def test_phone_files_come_back_at_their_pitch_and_say_what_was_lost(
    tmp_path, name, codec, rate_hz, lossy
):
    path = tmp_path / name
    write(path, codec, rate_hz)
    recording = read_recording(path)
    samples = recording.channel(0)
    padded = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 19))
    assert recording.rate_hz == rate_hz
    assert np.argmax(padded) * rate_hz / (1 << 19) == pytest.approx(437.0, abs=0.1)
    middle = samples[rate_hz : 5 * rate_hz]
    assert np.std(middle) * np.sqrt(2) == pytest.approx(0.4, rel=0.2 if lossy else 0.001)
    assert recording.support.levels is not lossy
    assert video_facts(path).lossy is lossy
    assert any("lossy" in why for why in recording.support.reasons) is lossy


def test_a_video_that_is_none_is_refused(tmp_path):
    pytest.importorskip("av", reason="PyAV is not installed")
    path = tmp_path / "clip.mp4"
    path.write_bytes(b"no video" * 100)
    with pytest.raises(RecordingError, match="no sound can be read"):
        read_recording(path)


def test_without_the_library_the_message_says_how_to_get_it(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "av", None)
    path = tmp_path / "clip.mp4"
    path.write_bytes(b"x")
    with pytest.raises(RecordingError, match=r"PyAV.*vibecheck\[video\]"):
        read_recording(path)
