"""A howl is believed when the takes have one and the same, and it is loud."""

from __future__ import annotations

import pytest

from vibecheck.diagnosis.verdicts.howls import _Howl


def howl(scatter: float, level_db: float, takes: int) -> _Howl:
    return _Howl(hz=312.0, scatter=scatter, level_db=level_db, takes=tuple(range(takes)))


def test_one_loud_howl_in_eight_takes_is_meant() -> None:
    assert howl(0.002, 0.0, 8).meant > 0.95


@pytest.mark.parametrize(
    "other",
    [howl(0.015, 0.0, 8), howl(0.002, -20.0, 8), howl(0.004, 0.0, 3)],
    ids=["chance places", "faint", "three takes"],
)
def test_other_lines_are_not(other: _Howl) -> None:
    assert other.meant < 0.3


def test_more_takes_at_one_place_say_more() -> None:
    said = [howl(0.004, 0.0, takes).meant for takes in range(3, 12)]
    assert said == sorted(said)
