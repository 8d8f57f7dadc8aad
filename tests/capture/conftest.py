"""A private sound server with a null sink: a sound card that records what is played into it."""

import os
import shutil
import signal
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

NEEDED = ("pulseaudio", "pacat", "pactl")
RATE_HZ = 48_000


@dataclass
class SoundServer:
    """A running private server and how to reach it."""

    folder: Path
    process: subprocess.Popen
    environment: dict

    def play(self, samples):
        """Play float32 samples, shape (frames,), into the sink in the background."""
        path = self.folder / "play.raw"
        np.asarray(samples, dtype="<f4").tofile(path)
        command = ["pacat", "--playback", "--raw", f"--rate={RATE_HZ}", "--channels=1",
                   "--format=float32le", "--device=null", str(path)]  # fmt: skip
        return subprocess.Popen(command, env=self.environment)

    def kill(self):
        """Take the device away at once."""
        self.process.kill()
        self.process.wait()


def why_not():
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if missing:
        return f"no sound server here: {', '.join(missing)} missing"
    try:
        import sounddevice  # noqa: F401
    except OSError:
        return "PortAudio is not installed"
    return ""


@pytest.fixture
def sound_server(tmp_path, monkeypatch):
    if reason := why_not():
        pytest.skip(reason)
    import sounddevice

    socket = tmp_path / "socket"
    environment = {**os.environ, "HOME": str(tmp_path), "XDG_RUNTIME_DIR": str(tmp_path),
                   "XDG_CONFIG_HOME": str(tmp_path / "config"),
                   "PULSE_SERVER": f"unix:{socket}", "PULSE_LATENCY_MSEC": "60",
                   "PULSE_RUNTIME_PATH": str(tmp_path / "run")}  # fmt: skip
    process = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no",
         "--disable-shm=yes",
         "-L", f"module-native-protocol-unix socket={socket} auth-anonymous=1",
         "-L", f"module-null-sink sink_name=null rate={RATE_HZ} channels=1 format=float32le",
         "-L", "module-remap-source master=null.monitor source_name=headstock remix=no"],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    for key in ("HOME", "XDG_RUNTIME_DIR", "XDG_CONFIG_HOME", "PULSE_SERVER", "PULSE_LATENCY_MSEC",
                "PULSE_RUNTIME_PATH"):  # fmt: skip
        monkeypatch.setenv(key, environment[key])
    try:
        _wait_for(process, environment)
        subprocess.run(["pactl", "set-default-source", "headstock"], env=environment, check=True)
        keep = subprocess.Popen(
            ["pacat", "--playback", "--raw", f"--rate={RATE_HZ}", "--channels=1",
             "--format=float32le", "--device=null", "/dev/zero"], env=environment,
        )  # fmt: skip
        sounddevice._terminate()
        sounddevice._initialize()
        yield SoundServer(tmp_path, process, environment)
        keep.kill()
        keep.wait()
    finally:
        sounddevice._terminate()
        sounddevice._initialize()
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
            process.wait(timeout=5)


def _wait_for(process, environment):
    for _ in range(100):
        if process.poll() is not None:
            pytest.skip("the private sound server does not start here")
        ready = subprocess.run(["pactl", "info"], env=environment, capture_output=True)
        if ready.returncode == 0:
            return
        time.sleep(0.05)
    pytest.skip("the private sound server does not answer here")
