"""One machine over years."""

from __future__ import annotations

import numpy as np
from diagnosis.invented_sweeps import Sound, eight_speed_lathe, heard

from vibecheck.diagnosis.compared.trend import change_points, trend

MACHINE = eight_speed_lathe()
YEARS = ("2019", "2020", "2021", "2022", "2023")


def years(worn_from):
    rng = np.random.default_rng(5)
    sweeps = {}
    for year in YEARS:
        worn = worn_from is not None and year >= worn_from
        sound = {"sidebands_db": {"30T": 12.0}} if worn else {}
        sweeps[year] = [
            heard(MACHINE, "A2 B1 CL", Sound(seat_db=rng.normal(0, 0.7), **sound), rng, name=f"{n}")
            for n in range(3)
        ]
    return sweeps


def test_the_year_a_gear_began_to_run_out_is_named():
    found = trend(MACHINE, years("2022"))
    first = found.histories[0]
    assert "30T" in first.line
    assert "sidebands" in first.line
    assert first.changed_at == ("2022",)
    assert abs(first.step_db[0] - 12.0) < 3.0


def test_a_machine_that_stays_as_it_is_has_no_change_points():
    found = trend(MACHINE, years(None))
    assert found.histories
    assert not [history for history in found.histories if history.changed_at]


def test_two_steps_are_both_found():
    levels = np.array([0.0, 0.2, 4.1, 3.9, 4.2, -2.0, -2.2, -1.9])
    assert [at for at, _ in change_points(levels, np.full(8, 0.4))] == [2, 5]


def test_noise_alone_steps_in_fewer_than_one_history_of_fifty():
    rng = np.random.default_rng(1)
    found = [bool(change_points(rng.normal(0, 1, 8), np.ones(8))) for _ in range(1000)]
    assert np.mean(found) < 0.02
