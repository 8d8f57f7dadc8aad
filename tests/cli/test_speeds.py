"""What a person sees of the speed table."""

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from vibecheck.cli import main

GOLDEN = Path(__file__).parents[1] / "golden"
TABLES = (
    "lathe-8-speed",
    "lathe-12-speed",
    "lathe-16-speed",
    "mill-8-speed",
    "lathe-back-gear",
    "starter",
)


def run(*arguments, code=0):
    result = CliRunner().invoke(main, ["speeds", *arguments])
    assert result.exit_code == code, result.output
    return result.output


@pytest.mark.parametrize("table", TABLES)
def test_the_screen_is_as_it_was_agreed(table):
    assert run(table) == (GOLDEN / f"speeds-{table}.txt").read_text()


@pytest.mark.parametrize("table", TABLES)
def test_every_line_fits_a_screen_of_80_columns(table):
    assert max(len(line) for line in run(table, "--all").splitlines()) <= 80


def test_without_a_table_it_explains_and_lists_what_is_shipped():
    text = run()
    assert "starter.toml" in text
    for table in TABLES:
        assert f"  {table}\n" in text


def test_json_and_csv_say_the_same():
    data = json.loads(run("lathe-16-speed", "--json"))
    rows = list(csv.DictReader(io.StringIO(run("lathe-16-speed", "--csv"))))
    assert data["schema"] == "vibecheck.speeds/1"
    assert len(data["positions"]) == 16
    told = [
        (p["levers"], line["line"], line["hz"]) for p in data["positions"] for line in p["lines"]
    ]
    assert told == [(row["levers"], row["line"], float(row["hz"])) for row in rows]


def test_json_gives_hunting_tooth_rates_and_who_turns_unloaded():
    first = json.loads(run("lathe-16-speed", "--json"))["positions"][0]
    by_pair = {mesh["pair"]: mesh for mesh in first["meshes"]}
    assert by_pair["19/78 (DL)"]["hunting_tooth_hz"] == pytest.approx(75.835 / (19 * 78), rel=1e-4)
    assert by_pair["59/38 (DH)"]["loaded"] is False


def test_one_position_is_written_in_any_order_of_levers():
    assert run("lathe-12-speed", "--position", "CL B2 A3") == run(
        "lathe-12-speed", "--position", "A3 B2 CL"
    )
    assert "22/62 (B2) mesh" in run("lathe-12-speed", "--position", "A3 B2 CL")


def test_a_feed_lever_can_be_named_with_the_position():
    text = run("lathe-12-speed", "--position", "A1 B1 CH TF Q1 X8")
    assert "rack pinion turning" in text


@pytest.mark.parametrize(
    ("levers", "says"),
    [
        ("A9 B2 CL", 'no lever has the setting "A9". Did you mean'),
        ("A3 B2", "does not say where lever C stands"),
        ("A3 A2 B2 CL", "lever A stands in two places"),
    ],
)
def test_a_wrong_position_is_refused_in_words(levers, says):
    assert says in run("lathe-12-speed", "--position", levers, code=2)


def test_two_formats_at_once_are_refused():
    assert "Choose one" in run("lathe-12-speed", "--csv", "--json", code=2)


def test_unknown_numbers_are_shown_as_unknown_and_null():
    assert "A3 B1 CL      ?        ?  709.2      ?      ?" in run("starter")
    data = json.loads(run("starter", "--json"))
    spindle = {p["levers"]: p["spindle_rpm"] for p in data["positions"]}
    assert spindle["A3 B1 CL"] is None
    assert spindle["A1 B1 CL"] == pytest.approx(180.923, rel=1e-4)


def test_a_table_with_faults_ends_with_3_and_no_traceback(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("[levers.A]\n1 = '36'\n2 = '30/0'\n")
    text = run(str(path), code=3)
    assert "2 things to put right" in " ".join(text.split())
    assert "Traceback" not in text
