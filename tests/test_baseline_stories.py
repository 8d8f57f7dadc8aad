"""An owner kept the sweep of a sound machine; now it is not. What has risen since?

The sounds are plain sums of tones, rings and noise written to disk (``story_sounds``), every take
with noise of its own; the second day's gain is another, as the sensor was taken off and put back.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from story_sounds import Strikes, Voice, sound, write

from vibecheck.cli import main
from vibecheck.files.gear_table import read_machine

TABLE, GEAR = "lathe-8-speed", "25T (B2, II)"
AFTER = 100
"""Takes of the second day: other noise, other drift."""


def sweep(folder: Path, voice: Voice, *, first: int = 0, labels: tuple[str, ...] = ()) -> Path:
    """A take at every lever position of the same machine, numbered from ``first``."""
    machine = read_machine(TABLE)
    folder.mkdir(parents=True)
    for number, label in enumerate(labels or [p.label for p in machine.positions]):
        samples, _ = sound(machine, label, voice, take=first + number)
        write(folder, label, (0.6 if first else 1.0) * samples)
    return folder


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sweep(tmp_path_factory.mktemp("machine") / "sound", Voice())


def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, ["diagnose", *map(str, arguments), "--table", TABLE])


def told(now: Path, *more: object) -> dict[str, Any]:
    result = run(now, *more, "--json")
    assert result.exit_code == 0, result.output
    made: dict[str, Any] = json.loads(result.stdout)
    return made


def likely(diagnosis: dict[str, Any]) -> list[dict[str, Any]]:
    return [f for f in diagnosis["findings"] if f["verdict"] in ("shown", "likely")]


def test_a_sound_machine_on_another_day_comes_out_clean(tmp_path: Path, before: Path) -> None:
    diagnosis = told(sweep(tmp_path / "now", Voice(), first=AFTER), "--baseline", before)
    assert diagnosis["findings"] == []
    notes = {w["kind"]: w["values"] for w in diagnosis["warnings"]}
    assert notes["baseline_heard"]["count"] == 8


def test_a_gear_that_swells_more_than_it_did_is_named_and_the_rise_is_true(
    tmp_path: Path, before: Path
) -> None:
    now = sweep(tmp_path / "now", Voice(deep={GEAR: 0.6}), first=AFTER)
    with_it = likely(told(now, "--baseline", before))
    assert [GEAR in f["parts"] for f in with_it] == [True]
    assert with_it[0]["fault"] in ("eccentric or worn gear", "gear worn or damaged")
    rose = next(e for e in with_it[0]["facts"] if e["kind"] == "risen")
    assert 4.0 < rose["values"]["db"] < 20.0
    assert set(with_it[0]["heard"]) <= set(with_it[0]["expected"])
    assert all("B2" in label for label in with_it[0]["expected"])


def test_a_knock_at_every_position_is_the_shafts_and_no_gears(tmp_path: Path, before: Path) -> None:
    weak = Voice(strikes=(Strikes(rotor="III", order=1.0, height=0.02),))
    now = sweep(tmp_path / "now", weak, first=AFTER)
    with_it = likely(told(now, "--baseline", before))
    assert len(with_it) == 1
    assert with_it[0]["parts"] == ["III"]


def test_what_was_so_before_is_no_longer_likely(tmp_path: Path) -> None:
    knocks = Voice(strikes=(Strikes(rotor="III", order=1.0, height=0.5),))
    old = sweep(tmp_path / "old", knocks)
    now = sweep(tmp_path / "now", knocks, first=AFTER)
    assert likely(told(now))
    diagnosis = told(now, "--baseline", old)
    assert not likely(diagnosis)
    assert "as_when_sound" in [fact["kind"] for f in diagnosis["findings"] for fact in f["facts"]]
    assert "baseline_not_sound" in [warning["kind"] for warning in diagnosis["warnings"]]


def test_a_baseline_of_other_positions_is_not_used_and_that_is_said(
    tmp_path: Path, before: Path
) -> None:
    now = sweep(tmp_path / "now", Voice(), first=AFTER, labels=("A1 B1 CH", "A2 B1 CH", "A1 B1 CL"))
    other = tmp_path / "other"
    other.mkdir()
    for path in before.glob("*B2*.wav"):
        (other / path.name).write_bytes(path.read_bytes())
    kinds = [w["kind"] for w in told(now, "--baseline", other)["warnings"]]
    assert "baseline_apart" in kinds
    partly = told(sweep(tmp_path / "more", Voice(), first=AFTER), "--baseline", other)
    lacks = next(w["values"] for w in partly["warnings"] if w["kind"] == "baseline_lacks")
    assert all("B1" in label for label in lacks["positions"])


def test_a_baseline_that_cannot_be_used_is_a_clear_error(tmp_path: Path, before: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    for path in before.glob("*CH.wav"):
        (other / path.name).write_bytes(path.read_bytes())
    alone = CliRunner().invoke(main, ["diagnose", str(before), "--baseline", str(other)])
    assert alone.exit_code == 3
    assert "baseline" in alone.output
    assert "gear table" in alone.output
    itself = run(before, "--baseline", before)
    assert itself.exit_code == 2
    assert "the takes themselves" in " ".join(itself.output.split())
    missing = run(before, "--baseline", tmp_path / "nowhere")
    assert missing.exit_code == 3
    assert "nowhere" in missing.output


def test_the_page_and_the_text_tell_of_the_baseline(tmp_path: Path, before: Path) -> None:
    now = sweep(tmp_path / "now", Voice(deep={GEAR: 0.6}), first=AFTER)
    result = run(now, "--baseline", before, "--page", tmp_path / "page.html")
    assert result.exit_code == 0, result.output
    assert "than when the machine was sound" in " ".join(result.stdout.split())
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert "than when the machine was sound" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_another_sweep_of_the_job_is_a_baseline(
    tmp_path: Path, before: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    now = sweep(tmp_path / "now", Voice(deep={GEAR: 0.6}), first=AFTER)
    opened = CliRunner().invoke(main, ["job", "new", "grey", "--machine", TABLE])
    assert opened.exit_code == 0, opened.output
    for name, folder in (("sound", before), ("after", now)):
        for path in sorted(folder.glob("*.wav")):
            brought = ["bring-in", str(path), "--job", "grey", "--sweep", name]
            result = CliRunner().invoke(main, brought)
            assert result.exit_code == 0, result.output
    asked = ["diagnose", "grey", "--sweep", "after", "--baseline", "sound", "--json"]
    result = CliRunner().invoke(main, asked)
    assert result.exit_code == 0, result.output
    found = likely(json.loads(result.stdout))
    assert [GEAR in finding["parts"] for finding in found] == [True]
