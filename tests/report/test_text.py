from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from vibecheck.diagnosis.findings import Diagnosis, fact
from vibecheck.report.care import care_for, care_for_all
from vibecheck.report.cautions import FIRST
from vibecheck.report.page import to_page
from vibecheck.report.phrases import TESTS
from vibecheck.report.schema import to_json
from vibecheck.report.scope import examined, not_examined
from vibecheck.report.text import to_text
from vibecheck.report.words import headline, part_names

GOLDEN = Path(__file__).parents[1] / "golden"


def test_no_line_is_wider_than_eighty_columns(any_diagnosis, machine) -> None:
    for table in (machine, None):
        said = to_text(any_diagnosis, table, cautions=care_for_all(any_diagnosis))
        assert max(map(len, said.splitlines())) <= 80


def test_the_verdict_comes_first(any_diagnosis, machine) -> None:
    said = " ".join(to_text(any_diagnosis, machine).split())
    assert said.startswith(headline(any_diagnosis, part_names(machine)))


def test_text_is_plain_so_that_it_reads_the_same_in_a_pipe(any_diagnosis, machine) -> None:
    assert to_text(any_diagnosis, machine).isascii()


def test_every_take_is_listed_with_its_speed_or_that_none_was_found(made, machine) -> None:
    said = to_text(made["broken_tooth"], machine)
    for take in made["broken_tooth"].takes:
        assert f"{take.position}  " in said
    assert "not found" in to_text(made["nothing_known"])


def test_what_is_not_shown_is_not_told_as_a_finding(made, machine) -> None:
    assert "lumpy" not in to_text(made["broken_tooth"], machine)
    assert "\n1. " not in to_text(made["healthy"], machine)


def test_a_healthy_machine_hears_what_was_and_was_not_examined(made, machine) -> None:
    looked = " ".join(examined(made["healthy"], machine))
    not_looked = " ".join(not_examined(made["healthy"], machine, part_names(machine)))
    assert "12 of the machine's 12 lever positions" in looked
    assert "14 gears" in looked
    assert "front bearing" in not_looked
    assert "under cut, in reverse or coasting down" in not_looked


def test_takes_in_which_only_the_motor_is_heard_do_not_pass_for_found(made, machine) -> None:
    takes = [
        replace(take, spindle_rpm=None, speeds_hz={"motor": 24.6} if number < 3 else {})
        if number < 4
        else take
        for number, take in enumerate(made["broken_tooth"].takes)
    ]
    said = examined(replace(made["broken_tooth"], takes=tuple(takes)), machine)[1]
    assert said == (
        "The running speed was found from the sound in 8 of 12 takes; in 3 more, that of the motor "
        "or another shaft but not the spindle's."
    )


def test_a_position_recorded_under_cut_alone_is_recorded(made, machine) -> None:
    told = made["broken_tooth"]
    takes = [replace(take, kind="cutting") for take in told.takes]
    looked, missing = (
        " ".join(said(replace(told, takes=tuple(takes)), machine))
        for said in (examined, not_examined)
    )
    assert "12 of the machine's 12 lever positions" in looked
    assert "Not recorded" not in missing


def test_gears_of_takes_whose_speed_was_not_used_are_not_called_out_of_mesh(made, machine) -> None:
    mute = [replace(t, speeds_hz={}, spindle_rpm=None) for t in made["broken_tooth"].takes]
    said = " ".join(not_examined(replace(made["broken_tooth"], takes=tuple(mute)), machine))
    assert "In mesh only where no speed was used" in said
    assert "Never in mesh here" not in said


def test_positions_left_out_are_named(made, machine) -> None:
    assert "A1 B1 CH" in " ".join(not_examined(made["not_separable"], machine))


def test_the_same_next_test_is_not_printed_twice(made, machine) -> None:
    said = " ".join(to_text(made["broken_tooth"], machine).split())
    assert said.count("for a broken or chipped tooth") == 1


def test_whoever_is_sent_to_the_machine_reads_the_safety_text(made, machine) -> None:
    diagnosis = made["broken_tooth"]
    said = " ".join(to_text(diagnosis, machine, cautions=care_for_all(diagnosis)).split())
    assert "lock the supply out" in said
    assert "guards stay on" in said


@pytest.mark.parametrize("kind", sorted(TESTS))
def test_every_test_at_the_machine_has_its_cautions(kind: str) -> None:
    at_a_desk = kind in ("gear_table", "state_speed", "check_table", "repeat_sweep")
    assert bool(care_for(fact(kind))) is not at_a_desk
    assert at_a_desk or care_for(fact(kind))[0] == FIRST


def _same(name: str, made: str, regenerate: bool) -> None:
    path = GOLDEN / name
    if regenerate:
        path.write_text(made, encoding="utf-8")
    assert made == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["broken_tooth", "healthy", "not_separable", "nothing_known"])
def test_text_json_and_page_read_as_they_did(name, made, machine, request) -> None:
    regenerate = bool(request.config.getoption("--regenerate"))
    diagnosis: Diagnosis = made[name]
    table = None if name == "nothing_known" else machine
    _same(f"report_{name}.txt", to_text(diagnosis, table), regenerate)
    written = json.dumps(to_json(diagnosis, table), indent=1, allow_nan=False) + "\n"
    _same(f"report_{name}.json", written, regenerate)
    _same(f"report_{name}.html", to_page(diagnosis, table), regenerate)
