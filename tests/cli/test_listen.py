from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main

RATE_HZ = 8000


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Four seconds of noise with a blow every quarter of a second."""
    samples = 0.01 * np.random.default_rng(1).standard_normal(4 * RATE_HZ)
    samples[:: RATE_HZ // 4] += 0.8
    soundfile.write(tmp_path / "knock.wav", samples, RATE_HZ)
    return tmp_path / "knock.wav"


def run(*arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(main, ["listen", *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_a_band_and_clicks_are_saved_and_nothing_is_written_over(
    recording: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "out"
    asked = [str(recording), "--turn", "4", "--band", "500", "2000", "--save", str(folder)]
    for _ in range(2):
        code, stdout, _ = run(*asked, "--slow", "2")
        assert code == 0
        assert stdout.count(".wav") == 3
    names = sorted(path.name for path in folder.iterdir())
    assert len(names) == 6
    assert "knock_clicks_2.wav" in names
    sound, rate_hz = soundfile.read(folder / "knock_clicks.wav")
    assert (sound.shape, rate_hz) == ((4 * RATE_HZ, 2), RATE_HZ)


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["nowhere.wav", "--turn", "4"], 3, "nowhere.wav"),
        (["{folder}", "--turn", "4"], 2, "is a folder"),
        (["{file}", "--turn", "0.1"], 3, "no two turns"),
        (["{file}", "--turn", "-1"], 3, "no two turns"),
        (["{file}", "--band", "5000", "6000"], 3, "no band"),
        (["{file}", "--slow", "0.5", "--turn", "4"], 2, "1 or more"),
    ],
)
def test_what_cannot_be_listened_to_is_told_in_one_line(
    recording: Path, arguments: list[str], code: int, said: str
) -> None:
    filled = [a.format(file=recording, folder=recording.parent) for a in arguments]
    exit_code, _, stderr = run(*filled, "--save", str(recording.parent / "out"))
    assert exit_code == code
    assert said in " ".join(stderr.split())
