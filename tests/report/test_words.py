from __future__ import annotations

import ast
import re
from dataclasses import replace
from pathlib import Path

import pytest

import vibecheck
from vibecheck.diagnosis.faults import FAULTS
from vibecheck.diagnosis.findings import Diagnosis, Finding, fact
from vibecheck.machine.parts import Gear, Known, Machine, Mesh
from vibecheck.report.phrases import EFFORT, FAULT_SAID, PHRASES, TESTS
from vibecheck.report.words import (
    accusation,
    effort,
    headline,
    how_sure,
    needs,
    part_names,
    percent,
    sentence,
    what,
)
from vibecheck.report.writers import WRITERS, WrongFact

PACKAGE = Path(vibecheck.__file__).parent
SAMPLES = {
    "part": "62",
    "parts": ("22", "62"),
    "position": "A1 B2 CL",
    "positions": ("A1 B2 CL", "A2 B2 CL"),
    "take": "A1_B2_CL",
    "plain": "something plain",
    "choices": ((43, 41), (44, 42)),
    "hz": 127.5,
    "rpm": 495.2,
    "seconds": 40.0,
    "percent": 4.88,
    "shift": -4.88,
    "times": 14.0,
    "order": 10.947,
    "number": 2.0,
    "whole": 6,
    "per_turn": {"A1 B2 CL": 4.11},
}
JARGON = (
    r"sideband|\bfft\b|spectr|envelope|kurtosis|harmonic|hypothes|posterior|prior|likelihood|"
    r"demodul|cepstr|bpfo|bpfi|\brms\b|amplitude|algorithm"
)


def calls_of_fact() -> list[tuple[str, ast.Call, set[str]]]:
    """Every call of ``fact`` in the package: where it stands, the call, the kinds it may have."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(module):
            if isinstance(node, ast.Call) and _name(node.func) == "fact":
                where = f"{path.relative_to(PACKAGE)}:{node.lineno}"
                found.append((where, node, kinds_of(node, module)))
    return found


def _name(node: ast.expr) -> str:
    return node.id if isinstance(node, ast.Name) else getattr(node, "attr", "")


def kinds_of(call: ast.Call, module: ast.Module) -> set[str]:
    """The kinds a call may have: written out, one of two, or a name given either before."""
    return _strings(call.args[0], module) if call.args else set()


def _strings(node: ast.expr, module: ast.Module) -> set[str]:
    if isinstance(node, ast.Constant):
        return {node.value} if isinstance(node.value, str) else set()
    if isinstance(node, ast.IfExp):
        return _strings(node.body, module) | _strings(node.orelse, module)
    if isinstance(node, ast.Name):
        given = [
            each.value
            for each in ast.walk(module)
            if isinstance(each, ast.Assign) and node.id in [_name(t) for t in each.targets]
        ]
        return {kind for value in given for kind in _strings(value, module)}
    return set()


def sample(kind: str, *, optional: bool) -> dict[str, object]:
    wanted = needs(kind)
    asked = dict(wanted.required) | (dict(wanted.optional) if optional else {})
    return {name: SAMPLES[sort] for name, sort in asked.items()}


def test_every_kind_of_fact_in_the_package_has_a_phrase_and_can_be_read_off() -> None:
    for where, _, kinds in calls_of_fact():
        assert kinds, f"{where}: write the fact's kind out"
        assert kinds <= PHRASES.keys(), f"{where}: no phrase for {kinds - PHRASES.keys()}"


def test_every_fact_in_the_package_carries_the_values_its_phrase_takes() -> None:
    for where, call, kinds in calls_of_fact():
        if any(word.arg is None for word in call.keywords):
            continue
        given = {word.arg for word in call.keywords}
        for kind in kinds & PHRASES.keys():
            wanted = needs(kind)
            assert wanted.required.keys() <= given, f"{where}: {kind} lacks a value"
            assert given <= wanted.required.keys() | wanted.optional.keys(), f"{where}: {kind}"


def test_no_phrase_is_unused() -> None:
    used = {kind for _, _, kinds in calls_of_fact() for kind in kinds}
    assert sorted(PHRASES.keys() - used) == []


@pytest.mark.parametrize("kind", sorted(PHRASES))
def test_a_phrase_makes_a_whole_sentence_with_and_without_its_asides(kind: str) -> None:
    for optional in (False, True):
        said = sentence(fact(kind, **sample(kind, optional=optional)))
        assert said[0].isupper() or said[0].isdigit()
        assert said.endswith(".")
        assert not re.search(r"[{}\[\]]|\(s\)|  | \.|\.\.", said), said


@pytest.mark.parametrize("kind", sorted(PHRASES))
def test_a_phrase_needs_only_sorts_of_value_that_can_be_written(kind: str) -> None:
    wanted = needs(kind)
    assert {*wanted.required.values(), *wanted.optional.values()} <= WRITERS.keys()


@pytest.mark.parametrize("kind", sorted(PHRASES))
def test_a_phrase_uses_a_machinists_words(kind: str) -> None:
    words = re.sub(r"\{[^}]*\}", "", PHRASES[kind]).lower()
    assert not re.search(JARGON, words), words


def test_an_unknown_kind_raises() -> None:
    with pytest.raises(WrongFact, match="no phrase"):
        sentence(fact("no_such_kind"))


def test_a_missing_value_raises() -> None:
    with pytest.raises(WrongFact, match="missing"):
        sentence(fact("clipped"))


def test_a_value_nobody_asked_for_raises() -> None:
    with pytest.raises(WrongFact, match="not asked for"):
        sentence(fact("clipped", take="a", colour="red"))


def test_a_value_of_the_wrong_sort_raises() -> None:
    with pytest.raises(WrongFact, match="no whole"):
        sentence(fact("silent_when_out_of_mesh", part="62", count=6.5))
    with pytest.raises(WrongFact, match="no positions"):
        sentence(fact("record_longer", positions="A1 B2 CL", seconds=40.0))


def test_one_and_many_are_said_as_such() -> None:
    one = sentence(fact("silent_when_out_of_mesh", part="62", count=1))
    many = sentence(fact("silent_when_out_of_mesh", part="62", count=11))
    assert "1 position where" in one
    assert "11 positions where" in many


def test_every_next_test_says_what_it_costs() -> None:
    assert EFFORT.keys() == TESTS.keys() - {"repeat_sweep"}
    assert effort(fact("coast_down", seconds=30.0)).startswith("2 minutes")
    assert effort(fact("clipped", take="a")) == ""


def test_every_fault_has_its_verb() -> None:
    assert FAULT_SAID.keys() == {kind.name for kind in FAULTS}


def test_a_probability_is_never_said_to_be_certain() -> None:
    assert [percent(p) for p in (1.0, 0.0, 0.5)] == ["over 99 %", "under 1 %", "50 %"]


def test_cannot_tell_carries_no_number() -> None:
    finding = Finding(part="x", fault="cage", verdict="cannot tell", probability=0.4)
    assert "%" not in how_sure(finding)


def test_a_gear_is_called_by_its_teeth_and_its_lever_where_teeth_do_not_part_it(
    machine: Machine,
) -> None:
    twins = Machine(
        name="m",
        shafts=("I", "II"),
        gears=(
            Gear(name="a", shaft="I", teeth=Known.exactly(30)),
            Gear(name="b", shaft="II", teeth=Known.exactly(40)),
            Gear(name="c", shaft="I", teeth=Known.exactly(30)),
            Gear(name="d", shaft="II"),
        ),
        meshes=(
            Mesh(driver="a", driven="b", when={"A": ("1",)}),
            Mesh(driver="c", driven="d", when={"A": ("2",)}),
        ),
    )
    names = part_names(twins)
    assert names["a"] == "the 30-tooth gear on shaft I (A1)"
    assert names["b"] == "the 40-tooth gear on shaft II"
    assert names["d"] == "the gear d"
    assert names["c/d"] == "the pair 30/d"
    assert part_names(machine)["B2 driven"] == "the 62-tooth gear on shaft III"
    assert part_names(machine)["spindle"] == "the spindle"


def test_the_headline_names_every_fault_that_is_likely_or_shown(made) -> None:
    assert "broken or damaged tooth" in headline(made["broken_tooth"])
    assert "likely" in headline(made["not_separable"])
    assert headline(made["healthy"]).startswith("No fault is shown by these takes.")


def test_no_take_with_a_speed_means_cannot_tell_and_not_healthy(made) -> None:
    none = "These takes cannot tell: the running speed was found in none of them."
    assert headline(made["nothing_known"]) == none
    empty = Diagnosis(machine="m", takes=(), findings=())
    assert headline(empty) == "These takes cannot tell: there is none of the running machine."


def test_a_speed_in_too_few_takes_is_not_a_clean_bill(made) -> None:
    healthy = made["healthy"]
    blind = tuple(
        replace(take, speeds_hz={}, spindle_rpm=None) if number < 7 else take
        for number, take in enumerate(healthy.takes)
    )
    said = headline(replace(healthy, takes=blind))
    assert said == "These takes cannot tell: the running speed was found in only 5 of 12."


def test_takes_of_a_still_machine_do_not_count_against_it(made) -> None:
    healthy = made["healthy"]
    background = replace(healthy.takes[0], kind="background", speeds_hz={}, spindle_rpm=None)
    said = headline(replace(healthy, takes=(healthy.takes[1], background, background)))
    assert said.startswith("No fault is shown")


def test_a_possible_fault_is_never_worded_as_certain() -> None:
    doubtful = Finding(part="x", fault="imbalance", verdict="possible", probability=0.4)
    assert headline(Diagnosis(machine="m", takes=(), findings=(doubtful,))).startswith(
        "Nothing is certain yet."
    )
    assert "possibly" in accusation(doubtful)


def knocks(part: str, kind: str, fault: str) -> Finding:
    return Finding(
        part=part,
        parts=("26T", "countershaft"),
        part_kind=kind,
        fault=fault,
        verdict="likely",
        probability=0.9,
    )


def test_a_gear_and_its_shaft_that_knock_alike_each_have_a_fault_of_their_own() -> None:
    names = {"26T": "the 26-tooth gear on the countershaft", "countershaft": "the countershaft"}
    tooth = knocks("26T", "gear", "broken or damaged tooth")
    assert accusation(tooth, names) == (
        "The 26-tooth gear on the countershaft likely has a broken or damaged tooth, or something "
        "on the countershaft is loose (90 %)."
    )
    assert what(tooth, names) == "broken or damaged tooth, or something loose"
    loose = knocks("countershaft", "shaft", "loose on its shaft or in its seat")
    assert accusation(loose, names) == (
        "The countershaft likely has something loose on it or is loose in its seat, or the "
        "26-tooth gear on the countershaft has a damaged tooth (90 %)."
    )


def test_gears_that_sound_alike_share_one_fault() -> None:
    gears = replace(knocks("26T", "gear", "broken or damaged tooth"), parts=("26T", "86T"))
    names = {"26T": "the 26-tooth gear", "86T": "the 86-tooth gear"}
    assert what(gears, names) == "broken or damaged tooth"
    assert accusation(gears, names).startswith("The 26-tooth gear or the 86-tooth gear likely has")


def test_what_is_no_part_of_the_table_has_a_name_to_be_called_by(machine) -> None:
    howl = Finding(part="tool", fault="chatter", verdict="likely", probability=0.91)
    assert accusation(howl, part_names(machine)).startswith("The tool likely makes the sound")
    room = Finding(
        part="structure",
        fault="fixed tone of structure or room",
        verdict="shown",
        probability=0.985,
    )
    assert accusation(room, part_names(machine)).startswith("The structure or the room makes a")
