"""Makes the recordings of the demo: an invented lathe with one fault, heard by a phone.

Run ``python -m tests.make_demo_recordings FOLDER``; the folder must not be there yet. What is
planted is written here and nowhere in the program: the demo finds it from the sound.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile

from vibecheck.files.gear_table import read_machine
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.sweep import record_sweep

TABLE = "lathe-12-speed"
PLANTED = PlantedFault(part="43T (B1, II)", fault="broken or damaged tooth", severity=0.8)
SEED, SECONDS, RATE_HZ = 20, 12.0, 8000


def main(folder: Path) -> None:
    """Write one FLAC a lever position."""
    machine = read_machine(TABLE)
    takes, _ = record_sweep(
        machine, [PLANTED], rng=np.random.default_rng(SEED), seconds=SECONDS, rate_hz=RATE_HZ
    )
    folder.mkdir(parents=True)
    for take in takes:
        assert take.position is not None
        name = f"{take.position.replace(' ', '_')}.flac"
        soundfile.write(folder / name, take.recording.channel(0), RATE_HZ, subtype="PCM_16")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
