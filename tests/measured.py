"""The measured public recordings with known faults, for tests and benchmarks only.

They are no part of the project. ``VIBECHECK_MEASURED`` names their folder; without it they are
looked for beside the checkout. Tests that need them skip, saying so.

Sources: CWRU bearing data centre (graded in Smith & Randall 2015, Mech. Syst. Signal Process.
64-65:100-131); Analog Devices CbM-Datasets; HIT-SM bearing datasets; UESTC bearing dataset
(10.1109/JSEN.2025.3635217); M. Recio, MSc test results (Apache-2.0); gearbox set mirrored from
OpenEI 623 (10.1016/j.procs.2020.03.370); Nectoux et al. 2012, PRONOSTIA, IEEE PHM Denver.
"""

from __future__ import annotations

import gzip
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import scipy.io
from numpy.typing import NDArray

Samples = NDArray[np.float32]


def folder() -> Path:
    """Where the recordings are expected."""
    told = os.environ.get("VIBECHECK_MEASURED")
    return Path(told) if told else Path(__file__).parents[2] / "shared" / "data"


def path(name: str) -> Path:
    """One file of the set; skips the test when it is not there."""
    wanted = folder() / name
    if not wanted.exists():
        pytest.skip(f"measured recordings not found: no {wanted}; set VIBECHECK_MEASURED")
    return wanted


@dataclass(frozen=True)
class Record:
    """One measured recording: channels by name, rate, and the speed its file claims."""

    channels: dict[str, Samples]
    rate_hz: float
    stated_rpm: float | None

    def __getitem__(self, channel: str) -> Samples:
        return self.channels[channel]

    @property
    def first(self) -> Samples:
        return next(iter(self.channels.values()))


@dataclass(frozen=True)
class Bearing:
    """Orders of a bearing, by element count and geometry."""

    elements: int
    ball: float
    pitch: float


DRIVE_END = Bearing(9, 0.3126, 1.537)
FAN_END = Bearing(8, 0.2656, 1.122)
HIT = Bearing(9, 7.94, 39.04)
ADI = Bearing(8, 0.3125, 1.318)
UESTC = Bearing(8, 7.938, 34.0)
MOTOR = Bearing(8, 7.0, 31.0)


def cwru(number: int) -> Record:
    """CWRU record by its original number; channels DE, FE, BA where recorded."""
    content = scipy.io.loadmat(path(f"cwru/{number}.mat"))
    channels, rpm = {}, None
    for key, value in content.items():
        if key.endswith("RPM"):
            rpm = float(np.ravel(value)[0])
        elif isinstance(value, np.ndarray) and value.size > 10_000:
            name = key[-7:-5] if key.endswith("_time") else "DE"
            channels[name] = value.ravel().astype(np.float32)
    return Record(channels, 48_000.0 if number in (97, 98, 99, 100) else 12_000.0, rpm)


def matrix(name: str, rate_hz: float, rpm: float) -> Record:
    """A MATLAB file with one long variable (HIT, UESTC)."""
    content = scipy.io.loadmat(path(name))
    long = {
        key: value.ravel().astype(np.float32)
        for key, value in content.items()
        if isinstance(value, np.ndarray) and value.size > 10_000
    }
    return Record(long, rate_hz, rpm)


def hit(name: str) -> Record:
    """HIT-SM: Normal, IR2 or OR2 at a nominal 1200 r/min."""
    return matrix(f"hit_sm/{name}_1200.mat", 51_200.0, 1200.0)


def uestc(letter: str) -> Record:
    """UESTC: I or O at a nominal 1400 r/min."""
    return matrix(f"uestc/{letter}_1400_5.mat", 20_000.0, 1400.0)


def adi(code: str) -> Record:
    """Fault simulator by the middle of its file name ("HIR_GS_BaLo_WA"); channels X, Y, Z."""
    text = path(f"adi_mfs/1800_{code}_00lb.csv").read_text()
    rows = [line.replace(" ", "").split(";")[1:4] for line in text.splitlines()[1:]]
    values = np.array([row for row in rows if len(row) == 3 and all(row)], dtype=np.float32)
    return Record(dict(zip("XYZ", values.T, strict=True)), 20_000.0, 1800.0)


def gearbox(name: str) -> Record:
    """Two-stage gearbox: h30hz0, h30hz90, b30hz0, b30hz90; channels a1 to a4."""
    with gzip.open(path(f"sq_gear/{name}.csv.gz"), "rt") as text:
        values = np.loadtxt(text, delimiter=",", skiprows=1, dtype=np.float32)
    names = (f"a{index}" for index in range(1, 5))
    return Record(dict(zip(names, values.T, strict=True)), 12_800.0, 1800.0)


def motor_sound(part: str) -> Record:
    """Motor by microphone; ``part`` is the middle of the file's name, such as "Healthy_Hi-Fi"."""
    import soundfile

    name = f"mrecio_motor/mic_Motor2_{part}_7cm_50Hz.wav"
    samples, rate_hz = soundfile.read(path(name), dtype="float32", always_2d=True)
    return Record({"sound": samples[:, 0]}, float(rate_hz), 1492.0)


def motor_phone(part: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Motor by a phone's motion sensor: times in s, accelerations (3, n) in m/s^2, uneven."""
    text = path(f"mrecio_motor/phone_Motor2_{part}_Yaxis_50Hz.dat").read_text()
    rows = [row.split(",") for row in text.strip().strip(";").split(";")]
    values = np.array([[float(cell) for cell in row] for row in rows if len(row) == 7])
    inner = values[(values[:, 0] != 999) & (values[:, 0] != 111)]
    return inner[:, 6] / 1000.0, inner[:, 3:6].T


def snapshot(number: int) -> Record:
    """PRONOSTIA snapshot of 0.1 s, horizontal and vertical, g."""
    rows = np.loadtxt(path(f"femto/acc_{number:05d}.csv"), delimiter=",", dtype=np.float64)
    channels = {"horizontal": rows[:, 4], "vertical": rows[:, 5]}
    return Record({k: v.astype(np.float32) for k, v in channels.items()}, 25_600.0, None)
