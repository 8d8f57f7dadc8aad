"""What became of each finding."""

from __future__ import annotations

import numpy as np
from diagnosis.invented_sweeps import Sound, eight_speed_lathe, heard

from vibecheck.diagnosis.compared.comparison import compare
from vibecheck.diagnosis.compared.finding_change import finding_changes
from vibecheck.diagnosis.findings import Finding

MACHINE = eight_speed_lathe()


def test_a_tooth_that_was_replaced_is_better_where_it_works_and_missing_sides_are_left_out():
    rng = np.random.default_rng(3)
    sides = []
    for knock in ({"III": 0.6}, {}):
        sounds = [Sound(knock=knock, seat_db=rng.normal(0, 0.5)) for _ in range(3)]
        sides.append(
            [heard(MACHINE, "A2 B2 CL", s, rng, name=f"{n}") for n, s in enumerate(sounds)]
        )
    finding = Finding(
        part="50T on III (B2)",
        fault="broken or damaged tooth",
        verdict="shown",
        probability=0.99,
        expected=("A2 B2 CL", "A1 B2 CH"),
    )
    (change,) = finding_changes(MACHINE, [finding], compare(MACHINE, *sides))
    assert change.where("better") == ("A2 B2 CL",)
    assert len(change.at) == 1
    assert change.at[0][2] is not None
    assert change.at[0][2].name == "blows once a turn of III"
