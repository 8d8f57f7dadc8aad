"""How long the engine takes, against reading the same files, one FFT and one envelope of each.

    python tests/benchmarks/engine_speed.py

Everything is processor time, the least of several runs, so that a busy machine does not matter
much. The bare cost is what nobody can avoid: read the samples, transform all of them once
(`scipy.fft.rfft`), and take one envelope the usual way (band-pass and `scipy.signal.hilbert`).
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import scipy.fft
import scipy.signal
import soundfile

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.single.one_take import hear_bearing
from vibecheck.files.audio import read_recording
from vibecheck.files.gear_table import read_machine
from vibecheck.files.shipped import shipped_path
from vibecheck.files.takes import read_takes
from vibecheck.machine.parts import Machine
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.sweep import record_sweep

RATE_HZ = 48_000
SWEEP_RATE_HZ = 16_000
FAMILIES = bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04)


def least(of: int, work: Callable[[], object]) -> float:
    """Least processor time of several runs, in seconds."""
    times = []
    for _ in range(of):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def one_take(seconds: float) -> np.ndarray:
    """An invented take: noise, a shaft's multiples, and blows."""
    rng = np.random.default_rng(1)
    times = np.arange(int(RATE_HZ * seconds)) / RATE_HZ
    wave = 0.05 * rng.normal(size=times.size)
    wave += sum(0.01 * np.sin(2 * np.pi * m * 24.3 * times) for m in range(1, 8))
    wave[:: RATE_HZ // 87] += 0.5
    return wave.astype(np.float32)


def bare(paths: Sequence[Path]) -> None:
    """Read every file, one FFT of all its samples, one envelope."""
    for path in paths:
        samples, rate_hz = soundfile.read(path, dtype="float32")
        scipy.fft.rfft(samples)
        edges = (0.08 * rate_hz, 0.25 * rate_hz)
        sos = scipy.signal.butter(4, edges, "bandpass", fs=rate_hz, output="sos")
        np.abs(scipy.signal.hilbert(scipy.signal.sosfiltfilt(sos, samples)))


def sixteen(folder: Path) -> Machine:
    """Write a sweep of the 16-speed lathe, one damaged tooth in it; returns its table."""
    machine = read_machine("lathe-16-speed")
    fault = PlantedFault(part=machine.gears[0].name, fault="broken or damaged tooth", severity=0.5)
    takes, _ = record_sweep(
        machine,
        (fault,),
        rng=np.random.default_rng(4),
        conditions=Conditions(),
        seconds=12.0,
        rate_hz=SWEEP_RATE_HZ,
    )
    for take in takes:
        name = (take.position or "").replace(" ", "_")
        soundfile.write(folder / f"{name}.flac", take.recording.channel(), SWEEP_RATE_HZ)
    return machine


def swept(machine: Machine, folder: Path) -> None:
    """Read and diagnose a folder of takes."""
    diagnose(machine, read_takes(folder, [p.label for p in machine.positions]))


def heard(path: Path) -> None:
    """Read one take and judge one bearing."""
    recording = read_recording(path)
    hear_bearing(recording.channel(), recording.rate_hz, shaft_hz=24.0, families=FAMILIES)


def listed(path: Path) -> None:
    """Read one take of which nothing is known and list its tones."""
    diagnose(None, [Take(recording=read_recording(path))])


def row(name: str, paths: Sequence[Path], work: Callable[[], object], runs: int) -> None:
    """Measure and print one line of the table."""
    cost, own = least(runs, lambda: bare(paths)), least(runs, work)
    seconds = sum(soundfile.info(path).duration for path in paths)
    print(f"{name:44s} {seconds:6.0f} {cost:8.2f} {own:8.2f} {own / cost:7.2f}", flush=True)


def main() -> None:
    """Print the table."""
    print(f"{'what':44s} {'s long':>6s} {'bare s':>8s} {'ours s':>8s} {'ratio':>7s}")
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        for seconds in (10.0, 60.0):
            path = folder / f"take{seconds:.0f}.wav"
            soundfile.write(path, one_take(seconds), RATE_HZ, subtype="PCM_24")
            kind = f"{seconds:.0f} s at {RATE_HZ // 1000} kHz"
            row(f"one take, one bearing, {kind}", [path], lambda p=path: heard(p), 5)
            row(f"one take, nothing known, {kind}", [path], lambda p=path: listed(p), 3)
        demo = shipped_path("recordings", "demo-lathe")
        lathe = read_machine("lathe-8-speed")
        row("the demo, 8 positions", sorted(demo.glob("*.flac")), lambda: swept(lathe, demo), 2)
        many = folder / "sixteen"
        many.mkdir()
        machine = sixteen(many)
        row("a sweep, 16 positions", sorted(many.iterdir()), lambda: swept(machine, many), 2)


if __name__ == "__main__":
    main()
