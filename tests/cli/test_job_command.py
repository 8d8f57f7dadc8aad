import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main

MACHINE = """
name = "invented"
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1440
shaft = "I"
[levers.A]
1 = "20/40"
2 = "30/30"
"""


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def call(*arguments, code=0):
        result = CliRunner().invoke(main, list(arguments))
        assert result.exit_code == code, result.output
        assert code or all(len(line) <= 80 for line in result.output.splitlines())
        return " ".join(result.output.split())

    return call


def sound(path, form=None):
    samples = np.random.default_rng(1).normal(0, 0.1, 48_000)
    soundfile.write(path, samples, 8000, format=form)


def test_a_job_is_opened_filled_shown_and_checked(run, tmp_path):
    (tmp_path / "m.toml").write_text(MACHINE)
    run(
        "job", "new", "grey", "--customer", "A shop", "--complaint", "knocks", "--machine", "m.toml"
    )
    said = run("job", "reading", "grey", "spindle lift", "0.5thou", "--place", "nose",
               "--pull", "50lb", "--date", "2031-04-05")  # fmt: skip
    assert "0.0127 mm (0.0005 in) at nose under 222 N: not the suspect" in said
    said = run("job", "reading", "grey", "taper", "0.004in", "--over", "2.5in", "--place", "bar")
    assert "0.0016 per unit of length, about 20 times what a good machine shows" in said
    said = run("job", "reading", "grey", "other", "0.002in", "--over", "5in", "--for", "18in",
               "--place", "carriage")  # fmt: skip
    assert "(0.0072 in) over 18in" in said
    run("job", "work", "grey", "new pair", "--part", "40T", "--by", "me")
    sound("a1.wav")
    assert "[A1]" in run("bring-in", "a1.wav", "--job", "grey")
    shown = run("job", "show", "grey")
    for words in ("A shop", "knocks", "new pair (parts: 40T), me", "A1: A1.wav, good"):
        assert words in shown
    assert "as recorded" in run("job", "check", "grey", "--read")
    assert "grey" in run("job", "list")
    (tmp_path / "grey/sweeps/before/A1.wav").write_bytes(b"x")
    assert "A1.wav: changed" in run("job", "check", "grey", code=3)


def test_what_bring_in_says_of_a_lossy_file_stays_with_its_new_form(run, tmp_path):
    from vibecheck.files.takes import read_takes

    sound("memo.ogg")
    said = run("bring-in", "memo.ogg", "--out", "sweep", "--position", "A3 B2", "--rpm", "495.5")
    assert "Vorbis (lossy)" in said
    [take] = read_takes(tmp_path / "sweep")
    assert (take.position, take.tach_rpm) == ("A3 B2", 495.5)
    assert not take.recording.support.levels
    assert any("lossy" in why for why in take.recording.support.reasons)
    assert soundfile.info(tmp_path / "sweep/A3_B2.flac").subtype == "PCM_24"


def test_a_log_keeps_its_true_rate_and_unit(run, tmp_path):
    from vibecheck.files.takes import read_takes

    times = np.arange(900) / 99.37
    np.savetxt("log.csv", np.column_stack([times, np.sin(times)]), delimiter=",", fmt="%.6f")
    run("bring-in", "log.csv", "--out", "sweep", "--unit", "g")
    [take] = read_takes(tmp_path / "sweep")
    assert take.recording.rate_hz == pytest.approx(99.37, rel=1e-5)
    assert take.recording.unit == "g"
    assert take.recording.support.aliased


def test_faults_are_one_line_and_an_exit_code(run, tmp_path):
    sound("a1.wav")
    assert "Give either --job or --out" in run("bring-in", "a1.wav", code=2)
    assert "no job.toml" in run("job", "show", "nowhere", code=3)
    (tmp_path / "bad.wav").write_text("no sound")
    assert "no sound file" in run("bring-in", "bad.wav", "--out", "x", code=3)
    run("job", "new", "j")
    assert "cannot read '5'" in run("job", "reading", "j", "runout", "5", "--place", "x", code=2)
    assert "Use spindle lift" in run("job", "reading", "j", "wobble", "1mm", "--place", "x", code=2)
