import pytest

from vibecheck.cli.record_steps import steps_of
from vibecheck.errors import UsageError
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.separate import plan

MACHINE = read_machine("lathe-12-speed")


def told(**more):
    return {"positions": (), "specials": (), "seconds": None, "repeats": 1, **more}


def test_without_more_the_whole_chart_is_asked_for_after_the_background():
    steps = steps_of(MACHINE, told())
    assert steps[0].kind == "background"
    assert [step.position for step in steps[1:]] == [one.label for one in MACHINE.positions]
    assert {step.position: step.seconds for step in steps}["A3 B2 CL"] == 40.0


def test_the_planned_takes_are_those_of_the_plan_with_its_lengths():
    made = plan(MACHINE)
    steps = steps_of(MACHINE, told(planned=True))
    idle = [(step.position, step.seconds) for step in steps if step.kind == "idle"]
    assert idle == [(take.position, take.seconds) for take in made.takes]
    assert len(idle) < len(MACHINE.positions)
    assert {step.kind for step in steps} >= {special.kind for special in made.specials}
    assert steps[0].kind == "background"


def test_positions_and_specials_are_found_however_they_are_written():
    steps = steps_of(
        MACHINE, told(positions=("a1b2ch",), specials=("Motor alone", "reverse@a1b2ch"))
    )
    assert [step.title for step in steps] == [
        "background", "A1 B2 CH", "motor alone", "A1 B2 CH reverse"
    ]  # fmt: skip
    assert steps[1].chart_rpm == pytest.approx(495.0)


@pytest.mark.parametrize(
    ("asked", "words"),
    [({"positions": ("A9",)}, "no lever position 'A9'"),
     ({"specials": ("nap",)}, "no special take"),
     ({"specials": ("reverse@A9",)}, "no lever position 'A9'")],
)  # fmt: skip
def test_what_is_not_there_is_named(asked, words):
    with pytest.raises(UsageError, match=words):
        steps_of(MACHINE, told(**asked))


def test_a_machine_without_a_table_needs_its_positions_told():
    with pytest.raises(UsageError, match="no lever positions known"):
        steps_of(None, told())
    assert [step.title for step in steps_of(None, told(positions=("low 1",)))] == [
        "background", "low 1"
    ]  # fmt: skip
    with pytest.raises(UsageError, match="no machine to plan for"):
        steps_of(None, told(planned=True))
