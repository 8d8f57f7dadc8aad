"""Two sweeps on disk to a report: what a customer would run."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner
from diagnosis.invented_sweeps import RATE_HZ, Sound, eight_speed_lathe, heard

from vibecheck.cli import main

LABELS = ("A2 B2 CL", "A2 B1 CH")


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Knock of shaft III gone after the repair, at the one of two positions where it was."""
    folder = tmp_path_factory.mktemp("job")
    rng = np.random.default_rng(4)
    machine = eight_speed_lathe()
    for side in ("before", "after"):
        (folder / side).mkdir()
        for label in LABELS:
            for number in (1, 2, 3):
                knock = {"III": 0.6} if side == "before" and "B2" in label else {}
                sound = Sound(knock=knock, seat_db=rng.normal(0, 0.7))
                take = heard(machine, label, sound, rng, seconds=12.0)
                name = f"{label.replace(' ', '_')}_{number}.wav"
                samples = 0.3 * take.samples / 2.0
                soundfile.write(folder / side / name, samples, int(RATE_HZ), subtype="PCM_24")
    return folder


def run(folders, *more):
    arguments = ["compare", str(folders / "before"), str(folders / "after"), "-t", "lathe-8-speed"]
    return CliRunner().invoke(main, [*arguments, *more])


def test_positions_that_did_not_improve_come_first_and_lines_fit_the_screen(folders):
    result = run(folders)
    assert result.exit_code == 0, result.output
    text = result.output
    assert text.startswith("Of 2 lever positions compared: same within repeatability at 1, better")
    assert text.index("A2 B1 CH: same") < text.index("A2 B2 CL: better")
    assert "blows once a turn of III" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_json_says_the_same_and_names_its_schema(folders):
    result = run(folders, "--json")
    made = json.loads(result.output)
    assert made["schema"] == "vibecheck.comparison/1"
    assert made["counts"] == {"better": 1, "same": 1, "worse": 0, "not comparable": 0}
    knock = [
        line
        for line in made["positions"][-1]["lines"]
        if line["name"] == "blows once a turn of III"
    ]
    assert knock[0]["outcome"] == "better"
    low, high = knock[0]["interval_db"]
    assert low < knock[0]["change_db"] < high < 0


def test_an_agreed_criterion_is_judged(folders, tmp_path):
    path = tmp_path / "criterion.toml"
    path.write_text(
        '[[demand]]\ntext = "knock of III down 10 dB"\nsort = "blows"\nline = "turn of III"\n'
        'positions = ["A2 B2 CL"]\ndown_db = 10\n'
        '[[demand]]\ntext = "nothing worse"\nno_worse = true\n'
    )
    text = run(folders, "--criterion", str(path)).output
    assert "knock of III down 10 dB: MET" in text
    assert "nothing worse: MET" in text


def test_a_picture_is_written_once(folders, tmp_path):
    path = tmp_path / "changes.svg"
    assert run(folders, "--picture", str(path)).exit_code == 0
    assert path.read_text().startswith("<svg")
    assert run(folders, "--picture", str(path)).exit_code == 2


def test_one_side_alone_is_refused(folders):
    result = CliRunner().invoke(main, ["compare", str(folders / "before"), "-t", "lathe-8-speed"])
    assert result.exit_code == 2


def test_a_trend_of_two_sweeps_names_the_step(folders):
    arguments = ["trend", str(folders / "before"), str(folders / "after"), "-t", "lathe-8-speed"]
    text = CliRunner().invoke(main, arguments).output
    assert "blows once a turn of III" in text
    assert "from after on" in text


def test_each_finding_of_the_first_sweep_is_followed(folders):
    made = json.loads(run(folders, "--findings", "--json").output)
    assert all({"part", "fault", "verdict", "positions"} <= set(one) for one in made["findings"])


BALANCE = ("balance", "--before", "4@30", "--with-trial", "4@90", "--trial", "10@0")


def test_a_balance_says_weight_angle_grade_and_cautions():
    rotor = ("--radius", "80", "--mass", "12", "--rpm", "1200", "--grade", "6.3")
    result = CliRunner().invoke(main, [*BALANCE, *rotor])
    assert result.exit_code == 0, result.output
    assert "Fix 10 g at 60 degrees" in result.output
    assert "allows 602 g mm" in result.output
    assert "above it" in result.output
    assert "Chuck key out" in result.output
    assert max(map(len, result.output.splitlines())) <= 80


def test_a_balance_without_angles_asks_for_three_runs():
    sizes = ["balance", "--before", "4", "--with-trial", "5", "--trial", "10"]
    result = CliRunner().invoke(main, sizes)
    assert result.exit_code == 2
    assert "three runs" in result.output
