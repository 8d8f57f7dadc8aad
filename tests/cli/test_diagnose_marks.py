"""`vibecheck diagnose --marks`: how the marks are told, and where the answer stands."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.diagnose_marks import told_marks
from vibecheck.diagnosis.findings import Diagnosis, Finding, TakeReport
from vibecheck.errors import UsageError

RATE_HZ = 8000
AT = "A1 B2 CH"
MARKS = f"position={AT},count=11,spacing=0.33,hand=left,rpm=495.2,feed=0.10,diameter=40"


@pytest.fixture
def take(tmp_path: Path) -> Path:
    path = tmp_path / "A1_B2_CH.wav"
    noise = 0.1 * np.random.default_rng(3).standard_normal(6 * RATE_HZ)
    soundfile.write(path, noise, RATE_HZ)
    return path


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch):
    """Puts a diagnosis made by hand in the place of listening."""

    def put(*findings: Finding) -> None:
        report = TakeReport(name="A1_B2_CH", position=AT, kind="idle", seconds=6.0,
                            spindle_rpm=495.0, chart_rpm=495.2)  # fmt: skip
        made = Diagnosis(machine="lathe", takes=(report,), findings=findings)
        monkeypatch.setattr("vibecheck.pipeline.diagnose", lambda *_, **__: made)

    return put


def hum(hz: float) -> Finding:
    return Finding(part="mains", part_kind="mains", fault="mains hum", verdict="likely",
                   probability=0.9, rates_hz={AT: hz})  # fmt: skip


def run(take: Path, *arguments: str, table: str | None = "lathe-12-speed") -> tuple[int, str, str]:
    named = ["--table", table] if table else []
    result = CliRunner().invoke(main, ["diagnose", str(take), *named, *arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


HEARD_HZ = (11 + 0.10 / 0.33) * 495.2 / 60
"""What MARKS mean, from the definition."""


def test_text_json_and_page_say_which_finding_explains_the_marks(take, heard, tmp_path):
    heard(hum(HEARD_HZ))
    page = tmp_path / "page.html"
    code, text, _ = run(take, "--marks", MARKS, "--page", str(page))
    assert code == 0
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    assert "Marks on the work" in flat
    assert "fits the marks on the work" in flat
    assert "fits the marks on the work" in page.read_text()
    code, made, _ = run(take, "--marks", MARKS, "--json")
    assert code == 0
    values = json.loads(made)["marks"]
    assert values["answer"] == "explained"
    assert values["hz"][0][0] == pytest.approx(HEARD_HZ, abs=0.01)
    assert all(each in flat for each in values["sentences"])


def test_a_finding_of_another_tone_does_not_explain_them(take, heard):
    heard(hum(100.0))
    assert "would not cure these marks" in " ".join(run(take, "--marks", MARKS)[1].split())


def test_a_clean_drive_sends_to_the_finish_command_with_its_cautions(take, heard):
    heard()
    text = " ".join(run(take, "--marks", MARKS)[1].split())
    assert "must come from elsewhere" in text
    assert "vibecheck finish" in text
    assert "At the machine" in text


def test_without_marks_nothing_is_said_of_them(take, heard):
    heard()
    assert "Marks on the work" not in run(take)[1]
    assert "marks" not in json.loads(run(take, "--json")[1])


def test_two_cuts_are_two_options(take, heard):
    heard(hum(HEARD_HZ))
    other = f"position={AT},count=14,spacing=0.33,hand=left,rpm=495.2,feed=0.10"
    made = json.loads(run(take, "--marks", MARKS, "--marks", other, "--json")[1])
    assert made["marks"]["answer"] == "not explained"
    assert len(made["marks"]["hz"]) == 2


def test_a_bearing_heard_in_a_recording_is_set_against_marks(tmp_path):
    """An invented bearing: 88.4 ringing strikes a second on a shaft of 24.67 turns a second."""
    rate_hz, turn_hz, order = 16000, 1480 / 60, 3.585
    frames = 8 * rate_hz
    random = np.random.default_rng(4)
    sound = 0.05 * random.standard_normal(frames)
    ring_s = np.arange(80) / rate_hz
    ring = np.exp(-ring_s / 1e-3) * np.sin(2 * np.pi * 3000 * ring_s)
    strikes_s = np.arange(1, 690) / (order * turn_hz) * (1 + 1e-4 * random.standard_normal(689))
    for at in (strikes_s * rate_hz).astype(int):
        sound[at : at + ring.size] += 0.4 * ring
    seconds = np.arange(frames) / rate_hz
    sound += sum(0.02 * np.sin(2 * np.pi * k * turn_hz * seconds + k) for k in range(1, 7))
    path = tmp_path / "fan.wav"
    soundfile.write(path, sound, rate_hz)
    told = ("--rpm", "1480", "--multipliers", "3.585,5.415", "--json")
    cut = "spacing=0.241,hand=right,rpm=1480,feed=0.1"
    answers = [
        json.loads(run(path, *told, "--marks", f"count={count},{cut}", table=None)[1])["marks"]
        for count in (4, 7)
    ]
    assert [a["answer"] for a in answers] == ["explained", "not explained"]
    assert "outer race" in answers[0]["explained_by"][0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("count=11,spacing", "cannot read|no number"),
        ("count=11 spacing=0.33", "Part the pairs with commas"),
        ("11 round,spacing=0.33", "cannot read '11 round'"),
        ("count=11,colour=red", "unknown 'colour'"),
        ("count=11,count=12", "twice"),
        ("count=eleven", "no number"),
        ("spacing=-3", "no length"),
        ("reverse=perhaps,count=3", "reverse=yes"),
        ("rpm=637,feed=0.1", "nothing is said of the marks"),
        ("", "cannot read"),
    ],
)
def test_marks_told_wrongly_are_refused_with_what_would_do(text, said):
    with pytest.raises(UsageError, match=said):
        told_marks(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("count=11,spacing=0.33,rpm=495,feed=0.1", "without a lever position"),
        ("position=A9 B9,count=11,spacing=0.33,rpm=495,feed=0.1", "no lever position 'A9 B9'"),
        (f"position={AT},count=11,spacing=0.33,rpm=495", "without the feed"),
        (f"position={AT},count=11,spacing=0.33,rpm=90,feed=0.1", "where the gear table gives"),
        (f"position={AT},count=11,hand=upward,rpm=495,feed=0.1", "hand 'upward'"),
    ],
)
def test_marks_that_cannot_be_of_this_machine_stop_before_the_listening(
    take, text, said, monkeypatch
):
    def never(*_: object, **__: object) -> None:
        raise AssertionError("listened")

    monkeypatch.setattr("vibecheck.pipeline.diagnose", never)
    code, _, stderr = run(take, "--marks", text)
    assert code in (2, 3)
    assert said in stderr


def test_without_a_table_the_speed_of_the_cut_must_be_told(take):
    code, _, stderr = run(take, "--marks", "count=11,feed=0.1", table=None)
    assert (code, "without the spindle speed" in stderr) == (2, True)


def test_the_lever_position_may_be_written_as_file_names_are():
    assert told_marks("Position=a1_b2_ch, COUNT=11, spacing=1/32in, hand=Left").hand == "left"


def test_a_decimal_comma_is_read_too():
    told = told_marks("count=11,spacing=0,33,rpm=637,2,feed=0.1")
    assert (told.spacing, told.rpm, told.feed) == (0.33, 637.2, 0.1)
