"""A bad file among the takes of a sweep is left out by name; the others are diagnosed."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.gathering import gather
from vibecheck.cli.written import record_of
from vibecheck.errors import RecordingError
from vibecheck.files.job import load_job
from vibecheck.files.takes import read_takes

RATE_HZ = 8000
TABLE = "lathe-12-speed"
SILENT, BROKEN, EMPTY = "A2_B1_CL.wav", "A1_B2_CH.wav", "A3_B2_CH.flac"


def spoil(folder: Path) -> None:
    soundfile.write(folder / SILENT, np.zeros(3 * RATE_HZ), RATE_HZ)
    (folder / BROKEN).write_bytes(b"this is no sound at all, whatever its name may say")
    (folder / EMPTY).write_bytes(b"")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two takes of noise, one silent, one that is no recording and one empty."""
    random = np.random.default_rng(5)
    for name in ("A1_B1_CL", "A3_B2_CL"):
        soundfile.write(tmp_path / f"{name}.wav", 0.1 * random.standard_normal(24000), RATE_HZ)
    spoil(tmp_path)
    return tmp_path


def test_the_diagnosis_goes_on_with_the_others_and_names_each_bad_file(folder):
    result = CliRunner().invoke(main, ["diagnose", str(folder), "--table", TABLE])
    assert result.exit_code == 0, result.output
    for name, why in ((SILENT, "silence"), (BROKEN, ""), (EMPTY, "empty")):
        [line] = [each for each in result.stderr.splitlines() if name in each]
        assert "was left out" in line
        assert why in line
    assert "2 takes" in result.stdout


def test_the_record_of_the_page_names_what_was_left_out(folder):
    record = record_of(gather(str(folder), table=TABLE), {})
    assert SILENT in record.about["Noted"]
    assert {file.name for file in record.files} == {"A1_B1_CL.wav", "A3_B2_CL.wav"}


def test_when_none_is_left_the_first_files_fault_is_the_error(tmp_path):
    spoil(tmp_path)
    result = CliRunner().invoke(main, ["diagnose", str(tmp_path), "--table", TABLE])
    assert result.exit_code == 3
    assert BROKEN.split(".")[0] in result.stderr
    assert "left out" not in result.stderr


def test_one_silent_file_alone_is_refused_as_ever(folder):
    with pytest.raises(RecordingError, match="silence"):
        gather(str(folder / SILENT), table=TABLE)


def test_a_listed_file_is_left_out_in_the_same_way(folder):
    (folder / "takes.csv").write_text(
        f"file,position\nA1_B1_CL.wav,A1 B1 CL\n{SILENT},A2 B1 CL\nA3_B2_CL.wav,A3 B2 CL\n"
    )
    found = gather(str(folder), table=TABLE)
    assert [take.position for take in found.takes] == ["A3 B2 CL", "A1 B1 CL"]
    assert any(SILENT in warning and "left out" in warning for warning in found.warnings)


def test_whoever_reads_takes_without_asking_for_warnings_gets_the_error(folder):
    with pytest.raises(RecordingError):
        read_takes(folder)


def test_a_job_goes_on_without_a_bad_file_too(folder, tmp_path):
    job = tmp_path / "job"
    made = CliRunner().invoke(main, ["job", "new", str(job)])
    assert made.exit_code == 0, made.output
    sweep = load_job(job).sweep_folder("before")
    sweep.mkdir(parents=True, exist_ok=True)
    for file in folder.glob("A*"):
        (sweep / file.name).write_bytes(file.read_bytes())
    found = gather(str(job), table=TABLE)
    assert len(found.takes) == 2
    assert sum("left out" in warning for warning in found.warnings) == 3
