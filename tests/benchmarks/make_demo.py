"""Make the demo recordings: an invented eight-speed lathe with one tooth broken off a gear.

    python tests/benchmarks/make_demo.py [FOLDER]

writes one FLAC file a lever position into FOLDER (``recordings/demo-lathe`` when not given). The
seed is fixed: the same program makes the same samples.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile

from vibecheck.files.gear_table import read_machine
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.sweep import record_sweep

TABLE = "lathe-8-speed"
TEETH, SHAFT = 50, "III"
SEED = 20
SHOP = Conditions(
    channel="microphone",
    high_pass_hz=40.0,
    room_noise=0.08,
    oil_noise=0.55,
    sensor_noise=0.01,
    knocks_per_s=0.05,
    hum_level=0.06,
    fan_hz=187.0,
    fan_level=0.03,
    drift=0.002,
    hunting=0.0002,
    belt_wander=0.0003,
    gain=2.0,
)


def main(folder: Path) -> None:
    """Write the takes, and say what was planted."""
    machine = read_machine(TABLE)
    gear = next(g for g in machine.gears if g.teeth.value == TEETH and g.shaft == SHAFT)
    broken = PlantedFault(part=gear.name, fault="broken or damaged tooth", severity=0.4)
    takes, truth = record_sweep(
        machine,
        (broken,),
        rng=np.random.default_rng(SEED),
        conditions=SHOP,
        individual=Individual(seed=SEED),
        seconds=(12.0, 14.0),
        rate_hz=16000.0,
    )
    folder.mkdir(parents=True, exist_ok=True)
    for take, true in zip(takes, truth.takes, strict=True):
        assert take.position is not None
        path = folder / (take.position.replace(" ", "_") + ".flac")
        samples = take.recording.channel()
        soundfile.write(path, samples, int(take.recording.rate_hz), subtype="PCM_16")
        print(
            f"{path.name}: {take.recording.seconds:.2f} s, {path.stat().st_size} bytes, "
            f"shaft {SHAFT} {true.rotor_hz[SHAFT]:.3f} Hz, loudest {np.abs(samples).max():.2f}"
        )


if __name__ == "__main__":
    shipped = Path(__file__).parents[2] / "recordings" / "demo-lathe"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else shipped)
