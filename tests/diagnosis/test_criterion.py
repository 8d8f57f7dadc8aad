"""A criterion agreed before the repair."""

from __future__ import annotations

import numpy as np
import pytest
from diagnosis.invented_sweeps import Sound, eight_speed_lathe, heard

from vibecheck.diagnosis.compared.comparison import compare
from vibecheck.diagnosis.compared.criterion import Demand, judge
from vibecheck.errors import JobError
from vibecheck.files.criterion_file import read_criterion

MACHINE = eight_speed_lathe()
LABELS = ("A2 B2 CL", "A2 B1 CL")


@pytest.fixture(scope="module")
def comparison():
    """Knock of III gone and 25/50 sidebands down 14 dB at A2 B2 CL, nothing else."""
    rng = np.random.default_rng(21)
    sides = []
    for repaired in (False, True):
        side = []
        for label in LABELS:
            for number in range(3):
                sound = Sound(
                    seat_db=rng.normal(0, 0.5),
                    knock={"III": 0.6} if "B2" in label and not repaired else {},
                    sidebands_db={"25T": -14.0} if repaired else {},
                )
                side.append(heard(MACHINE, label, sound, rng, name=f"{label} {number}"))
        sides.append(side)
    return compare(MACHINE, *sides)


def test_a_drop_that_was_agreed_and_came_is_met(comparison):
    demand = Demand(
        text="25/50 sidebands down 8 dB or twice the spread",
        line="25T 50T",
        sort="sidebands",
        positions=("A2 B2 CL",),
        down_db=8.0,
        spreads=2.0,
    )
    assert judge(demand, comparison).met == "met"


def test_a_drop_that_was_agreed_and_did_not_come_is_not_met(comparison):
    demand = Demand(text="", line="30T 42T", sort="mesh", positions=("A2 B2 CL",), down_db=6.0)
    judged = judge(demand, comparison)
    assert judged.met == "not met"
    assert "6.0 dB agreed" in judged.reasons[0]


def test_a_knock_agreed_to_be_gone(comparison):
    demand = Demand(
        text="", line="turn of III", sort="blows", positions=("A2 B2 CL",), down_db=10.0
    )
    assert judge(demand, comparison).met == "met"


def test_a_position_nobody_recorded_cannot_be_judged(comparison):
    demand = Demand(text="", sort="mesh", positions=("A1 B1 CH",), down_db=3.0)
    judged = judge(demand, comparison)
    assert judged.met == "cannot tell"
    assert "not recorded on both sides" in judged.reasons[0]


def test_nothing_worse_is_met_where_nothing_got_worse(comparison):
    assert judge(Demand(text="nothing worse", no_worse=True), comparison).met == "met"


def test_a_faulty_file_names_every_fault(tmp_path):
    path = tmp_path / "criterion.toml"
    path.write_text('[[demand]]\ntext = "x"\nsort = "hum"\n[[demand]]\ndown = 3\n')
    with pytest.raises(JobError, match="no such sort") as raised:
        read_criterion(path)
    assert "unknown key 'down'" in raised.value.text
    assert "no text" in raised.value.text


def test_a_file_is_read_as_it_was_agreed(tmp_path):
    path = tmp_path / "criterion.toml"
    path.write_text(
        'agreed = "2 May"\n[[demand]]\ntext = "sidebands down"\nsort = "sidebands"\n'
        'line = "25T"\npositions = ["A2 B2 CL"]\ndown_db = 10\nspreads = 2\n'
    )
    criterion = read_criterion(path)
    assert criterion.agreed == "2 May"
    assert criterion.demands[0].down_db == 10
    assert criterion.demands[0].positions == ("A2 B2 CL",)
