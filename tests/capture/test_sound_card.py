import resource
import signal
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
import soundfile

from vibecheck.capture.card_source import CardSource
from vibecheck.capture.level import block_level, decoded
from vibecheck.capture.sound_card import capture
from vibecheck.capture.wave_stream import HEADER_BYTES, header, recovered, started
from vibecheck.errors import DeviceError, RecordingError

RATE_HZ = 48_000


class Blocks:
    """A source that delivers blocks of int16 in real time or as fast as it can."""

    def __init__(self, plan, block=480):
        self.plan, self.block, self.closed, self.done = plan, block, False, threading.Event()
        self.vanished = False

    def start(self, deliver):
        threading.Thread(target=self._run, args=(deliver,), daemon=True).start()

    def _run(self, deliver):
        value, due = 0, time.monotonic()
        for step in self.plan:
            if step == "vanish":
                self.vanished = True
                return
            if isinstance(step, float):
                time.sleep(step)
                due += step
                continue
            for _ in range(step):
                count = np.arange(value, value + self.block).astype("<i2")
                value += self.block
                deliver(count.tobytes(), False)
                due += self.block / RATE_HZ
                time.sleep(max(due - time.monotonic(), 0))

    def alive(self):
        return not self.vanished

    def close(self):
        self.closed = True


def record(source, path, seconds=1.0, **more):
    return capture(source, path, rate_hz=RATE_HZ, channels=1, sample_format="int16",
                   seconds=seconds, **more)  # fmt: skip


def counted(path):
    samples, rate_hz = soundfile.read(path, dtype="int16")
    assert rate_hz == RATE_HZ
    assert np.array_equal(samples, np.arange(samples.size).astype("<i2"))
    return samples.size


def test_a_take_ends_after_exactly_the_frames_asked_for(tmp_path):
    done = record(Blocks([200]), tmp_path / "a.part", seconds=0.503)
    assert (done.ending, done.frames, done.lost_s) == ("complete", 24_144, 0.0)
    assert counted(done.path) == 24_144


def test_a_stalled_callback_is_found_by_the_clock_though_nothing_is_flagged(tmp_path):
    done = record(Blocks([50, 0.6, 50]), tmp_path / "a.part", seconds=1.0)
    assert done.ending == "complete"
    assert done.flagged == 0
    assert done.lost_s == pytest.approx(0.6, abs=0.05)


def test_a_device_that_goes_quiet_for_good_ends_the_take_with_what_came(tmp_path):
    done = record(Blocks([30, 5.0]), tmp_path / "a.part", stall_s=0.3)
    assert done.ending == "stalled"
    assert counted(done.path) == 30 * 480


def test_a_vanished_device_leaves_what_came_before(tmp_path):
    source = Blocks([30, "vanish"])
    done = record(source, tmp_path / "a.part")
    assert done.ending == "device gone"
    assert source.closed
    assert counted(done.path) == 30 * 480


def test_a_device_that_never_speaks_is_an_error_and_leaves_no_file(tmp_path):
    with pytest.raises(DeviceError, match="nothing comes"):
        record(Blocks([3.0]), tmp_path / "a.part", first_block_s=0.2)
    assert not list(tmp_path.iterdir())


def test_the_user_can_stop_a_take_and_keep_it(tmp_path):
    done = record(Blocks([100]), tmp_path / "a.part", on_level=lambda level: level.seconds < 0.2)
    assert done.ending == "stopped"
    assert done.seconds == pytest.approx(0.2, abs=0.02)


def test_a_take_is_never_written_over_another(tmp_path):
    path = tmp_path / "a.part"
    path.write_text("precious")
    with pytest.raises(RecordingError, match="Nothing is overwritten"):
        record(Blocks([10]), path)
    assert path.read_text() == "precious"


@pytest.fixture
def small_disk():
    """No file may grow beyond 40 000 bytes: what a full disk looks like to a writer."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, handler)


def test_a_full_disk_ends_the_take_and_keeps_what_fitted(tmp_path, small_disk):
    done = record(Blocks([100]), tmp_path / "a.part")
    assert done.ending == "disk full"
    assert counted(done.path) == (40_000 - HEADER_BYTES) // 2


KILLED = """
import sys, time, os, signal
import numpy as np
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from vibecheck.capture.wave_stream import started
stream = started(Path(sys.argv[1]), 48000, 2, "int24")
for block in range(int(2.7 * 100)):
    stream.add((np.arange(480 * 2 * 3) % 251).astype(np.uint8).tobytes())
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_killed_recorder_loses_at_most_the_last_second_and_nothing_once_recovered(tmp_path):
    path = tmp_path / "a.part"
    done = subprocess.run([sys.executable, "-c", KILLED, str(path), str(tmp_path)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert 1.7 <= soundfile.info(path).duration <= 2.7
    assert recovered(path) == pytest.approx(2.7, abs=0.01)
    assert soundfile.info(path).duration == pytest.approx(2.7, abs=0.01)


def test_half_a_frame_at_the_end_is_cut_on_recovery(tmp_path):
    stream = started(tmp_path / "a.part", RATE_HZ, 2, "int24")
    stream.add(bytes(range(250)) * 6)
    stream.file.write(b"\1\2\3\4")
    stream.file.close()
    assert recovered(tmp_path / "a.part") == pytest.approx(250 / RATE_HZ)
    assert soundfile.info(tmp_path / "a.part").frames == 250


def test_a_file_with_nothing_saved_is_said_so(tmp_path):
    (tmp_path / "a.part").write_bytes(b"RIFF")
    with pytest.raises(RecordingError, match="nothing of this take"):
        recovered(tmp_path / "a.part")


def test_above_four_gigabytes_the_header_is_rf64():
    long = header(5 << 30, RATE_HZ, 1, "int24")
    assert (long[:4], long[12:16], len(long)) == (b"RF64", b"ds64", HEADER_BYTES)
    assert int.from_bytes(long[28:36], "little") == 5 << 30
    assert header(1 << 30, RATE_HZ, 1, "int24")[:4] == b"RIFF"


@pytest.mark.parametrize(
    ("sample_format", "raw"),
    [("int16", b"\x00\x40\x00\xc0"), ("int24", b"\x00\x00\x40\x00\x00\xc0"),
     ("float32", np.array([0.5, -0.5], dtype="<f4").tobytes())],
)  # fmt: skip
def test_every_sample_format_is_metered_alike(sample_format, raw):
    assert decoded(raw, sample_format) == pytest.approx([0.5, -0.5])
    assert block_level(raw, sample_format, 0.0).peak_db == pytest.approx(-6.02, abs=0.01)


@pytest.mark.parametrize("sample_format", ["int16", "int24"])
def test_a_recording_through_a_real_sound_server_is_the_same_to_the_bit(
    sound_server, tmp_path, sample_format
):
    from vibecheck.capture.devices import device_named

    bits = 15 if sample_format == "int16" else 23
    rng = np.random.default_rng(4)
    played = np.zeros(3 * RATE_HZ // 2, dtype=np.float32)
    played[RATE_HZ // 2 :] = np.round(
        rng.uniform(-0.5, 0.5, RATE_HZ) * 2**bits
    ) / 2**bits  # fmt: skip
    player = []

    def on_level(level):
        if not player:
            player.append(sound_server.play(played))
        return True

    device = device_named("pulse")
    source = CardSource(device, RATE_HZ, 1, sample_format)
    done = capture(source, tmp_path / "a.part", rate_hz=RATE_HZ, channels=1,
                   sample_format=sample_format, seconds=2.4, on_level=on_level)  # fmt: skip
    player[0].wait()
    assert (done.ending, done.lost_s) == ("complete", 0.0)
    heard, rate_hz = soundfile.read(done.path, dtype="float32")
    assert rate_hz == RATE_HZ
    wanted = played[RATE_HZ // 2 :]
    at = np.flatnonzero(heard == wanted[5000])
    at = next(place - 5000 for place in at if heard[place + 1] == wanted[5001])
    assert np.array_equal(heard[at + 1000 : at + wanted.size], wanted[1000:])


def test_a_sound_server_that_dies_in_mid_take_leaves_what_came(sound_server, tmp_path):
    from vibecheck.capture.devices import device_named

    source = CardSource(device_named("pulse"), RATE_HZ, 1, "int16")

    def on_level(level):
        if level.seconds > 0.5:
            sound_server.kill()
        return True

    done = capture(source, tmp_path / "a.part", rate_hz=RATE_HZ, channels=1,
                   sample_format="int16", seconds=8.0, on_level=on_level)  # fmt: skip
    assert done.ending in ("device gone", "stalled")
    assert 0.4 < done.seconds < 2.0
    assert soundfile.info(done.path).frames == done.frames


def test_devices_are_found_by_part_of_their_name(sound_server):
    from vibecheck.capture.devices import device_named, input_devices

    assert device_named("PULSE").name == "pulse"
    assert device_named(None) in input_devices()
    with pytest.raises(DeviceError, match="no input is called 'lathe'"):
        device_named("lathe")


def test_without_portaudio_the_message_says_what_to_install(monkeypatch):
    from vibecheck.capture import devices

    def missing(name):
        raise OSError("PortAudio library not found")

    monkeypatch.setattr(devices.importlib, "import_module", missing)
    monkeypatch.setattr(sys, "platform", "linux")
    with pytest.raises(DeviceError, match="apt install libportaudio2") as error:
        devices.input_devices()
    assert error.value.exit_code == 4
