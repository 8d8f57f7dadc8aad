"""What a person sees of the plan."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from vibecheck.cli import main

GOLDEN = Path(__file__).parents[1] / "golden"


def run(*arguments, code=0):
    result = CliRunner().invoke(main, ["plan", *arguments])
    assert result.exit_code == code, result.output
    return result.output


@pytest.mark.parametrize("table", ["lathe-12-speed", "mill-8-speed", "starter"])
def test_the_screen_is_as_it_was_agreed(table):
    text = run(table)
    assert text == (GOLDEN / f"plan-{table}.txt").read_text()
    assert max(len(line) for line in text.splitlines()) <= 80


def test_safety_comes_with_every_plan():
    assert "guards stay on" in run("lathe-8-speed")
    assert "Never brake a chuck by hand." in run("lathe-8-speed")
    assert json.loads(run("lathe-8-speed", "--json"))["cautions"]


def test_suspects_are_found_by_part_of_their_name():
    data = json.loads(run("lathe-12-speed", "--suspects", "62t, shaft III, chatter", "--json"))
    assert data["suspects"] == ["62T (B2, III)", "III"]
    assert {special["kind"] for special in data["specials"]} == {"cutting", "tap"}


def test_every_planned_take_names_a_position_of_the_chart():
    data = json.loads(run("lathe-16-speed", "--json"))
    speeds = CliRunner().invoke(main, ["speeds", "lathe-16-speed", "--json"])
    known = {p["levers"] for p in json.loads(speeds.output)["positions"]}
    assert {take["levers"] for take in data["takes"]} <= known
    assert all(take["seconds"] >= 20 for take in data["takes"])


def test_an_unknown_suspect_is_refused_with_the_nearest():
    assert "Did you mean" in run("lathe-12-speed", "--suspects", "spindel", code=2)
