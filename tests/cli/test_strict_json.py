"""What `marks` and `finish` print with --json can be read by any JSON reader."""

import json

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.finish_takes import heard
from vibecheck.cli.strict_json import strict_json
from vibecheck.errors import SpeedError


def refused(word):
    raise AssertionError(f"{word} is not JSON")


def told(*arguments):
    result = CliRunner().invoke(main, [*arguments, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.output, parse_constant=refused)


def test_what_is_not_finite_is_null_at_any_depth():
    values = {"a": float("nan"), "b": [1.5, {"c": (float("-inf"), np.float64("inf"))}]}
    read = json.loads(strict_json(values), parse_constant=refused)
    assert read == {"a": None, "b": [1.5, {"c": [None, None]}]}


def test_straight_marks_have_no_widest_spacing():
    cut = ("--rpm", "600", "--feed", "0.1", "--diameter", "40")
    low, high = told("marks", "--hz", "120", *cut)["tones"][0]["spacing_range_mm"]
    assert low == pytest.approx(0.1 / 0.024)
    assert high is None


def test_an_edge_that_no_formula_covers_leaves_no_height():
    made = told("finish", "--feed", "0.2", "--nose", "0.8", "--ra", "1.6um", "--edge", "wiper")
    assert made["finish"]["rt_mm"] is None


@pytest.mark.parametrize("rpm", ["nan", "inf", "0"])
def test_a_spindle_speed_that_is_no_number_is_refused(rpm, tmp_path):
    path = tmp_path / "cut.wav"
    soundfile.write(path, 0.1 * np.random.default_rng(1).normal(size=16000), 8000)
    with pytest.raises(SpeedError, match=f"spindle speed {rpm}"):
        heard(f"{path}@{rpm}", None)
