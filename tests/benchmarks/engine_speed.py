"""How long the single-take engine takes, against reading the file, one FFT and one envelope."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import scipy.fft
import scipy.signal
import soundfile

from vibecheck.diagnosis.families import bearing_families
from vibecheck.diagnosis.one_take import hear_bearing

RATE, SECONDS = 48_000, 10.0
FAMILIES = bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04)


def best(of: int, work: Callable[[], object]) -> float:
    """Least processor time of several runs, in seconds: steadier on a busy machine."""
    times = []
    for _ in range(of):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def take() -> np.ndarray:
    """An invented take: noise, a shaft's multiples, and blows."""
    rng = np.random.default_rng(1)
    seconds = np.arange(int(RATE * SECONDS)) / RATE
    wave = 0.05 * rng.normal(size=seconds.size)
    wave += sum(0.01 * np.sin(2 * np.pi * m * 24.3 * seconds) for m in range(1, 8))
    wave[:: RATE // 87] += 0.5
    return wave.astype(np.float32)


def main() -> None:
    """Print the bare costs, the engine's, and the ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        soundfile.write(path, take(), RATE, subtype="PCM_24")
        samples, _ = soundfile.read(path, dtype="float32")
        sos = scipy.signal.butter(4, (2000, 6000), "bandpass", fs=RATE, output="sos")
        bare = {
            "read": best(5, lambda: soundfile.read(path, dtype="float32")),
            "one FFT (scipy.fft.rfft)": best(5, lambda: scipy.fft.rfft(samples)),
            "one envelope (sosfiltfilt, hilbert)": best(
                3, lambda: np.abs(scipy.signal.hilbert(scipy.signal.sosfiltfilt(sos, samples)))
            ),
        }
        engine = best(
            5,
            lambda: hear_bearing(
                soundfile.read(path, dtype="float32")[0], RATE, shaft_hz=24.0, families=FAMILIES
            ),
        )
    for name, seconds in {**bare, "the whole engine, reading too": engine}.items():
        print(f"{name:38s} {1000 * seconds:8.1f} ms")
    print(f"ratio {engine / sum(bare.values()):.2f} (wanted: at most 5)")


if __name__ == "__main__":
    main()
