from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from vibecheck.cli import main
from vibecheck.cli.demo import RECORDINGS, TABLE
from vibecheck.files.gear_table import read_machine
from vibecheck.files.shipped import shipped_path
from vibecheck.report.words import part_names


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("demo") / "out"
    for _ in range(2):
        result = CliRunner().invoke(main, ["demo", "--save", str(folder)])
        assert result.exit_code == 0, result.output
    return result.stdout, folder


def test_the_demo_names_the_tooth_that_was_planted(shown: tuple[str, Path]) -> None:
    """A tooth of the 50-tooth gear on shaft III, by the program that made the recordings."""
    gear = next(g for g in read_machine(TABLE).gears if g.teeth.value == 50)
    named = part_names(read_machine(TABLE))[gear.name].removeprefix("the ")
    said = " ".join(shown[0].split())
    assert re.search(rf"{re.escape(named)} (likely )?has a broken or damaged tooth", said)


def test_the_demo_accuses_nobody_else(shown: tuple[str, Path]) -> None:
    assert "1. " in shown[0]
    assert "\n2. " not in shown[0]


def test_the_picture_in_the_readme_says_what_the_demo_says(shown: tuple[str, Path]) -> None:
    headline = next(line for line in shown[0].splitlines() if "(" in line and "%" in line)
    picture = shipped_path("recordings", "demo-result.svg").read_text(encoding="utf-8")
    assert headline in picture


def test_a_second_demo_leaves_the_first_where_it_is(shown: tuple[str, Path]) -> None:
    names = {path.name for path in shown[1].iterdir()}
    assert names == {"page.html", "page_2.html", "picture.png", "picture_2.png"}


def test_the_demo_recordings_are_small_enough_to_ship() -> None:
    files = list(shipped_path("recordings", RECORDINGS).iterdir())
    assert len(files) == 8
    assert sum(path.stat().st_size for path in files) < 3e6
