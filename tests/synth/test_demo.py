"""The demo recordings are those of the shipped table, and small."""

from pathlib import Path

import pytest

from vibecheck.files.gear_table import read_machine

DEMO = Path(__file__).parents[2] / "recordings" / "demo-lathe"


def test_the_demo_has_one_small_recording_for_every_position_of_its_table() -> None:
    soundfile = pytest.importorskip("soundfile")
    stems = {path.stem.replace("_", " ") for path in DEMO.glob("*.flac")}
    assert stems == {position.label for position in read_machine("lathe-8-speed").positions}
    assert sum(path.stat().st_size for path in DEMO.iterdir()) < 3_000_000
    for path in DEMO.glob("*.flac"):
        facts = soundfile.info(path)
        assert facts.samplerate == 16000
        assert facts.duration >= 12
