"""A belt that is moved between steps of its pulleys is one belt."""

from __future__ import annotations

from dataclasses import replace

import pytest

from vibecheck.diagnosis.readings.belts import _one_belt
from vibecheck.machine.parts import Belt, Known

STEP = Belt(
    name="belt, step 1",
    driver="motor",
    driven="spindle",
    driver_mm=Known.exactly(80),
    driven_mm=Known.exactly(120),
    length_mm=Known.exactly(900),
    when={"P": ("1",)},
)


def test_steps_of_one_length_between_the_same_shafts_are_one_belt() -> None:
    other = replace(STEP, name="belt, step 2", driver_mm=Known.exactly(100), when={"P": ("2",)})
    assert _one_belt(other) == _one_belt(STEP)


@pytest.mark.parametrize(
    "other",
    [
        replace(STEP, name="a", length_mm=Known.exactly(1200)),
        replace(STEP, name="b", driven="countershaft"),
        replace(STEP, name="c", toothed=True),
        replace(STEP, name="d", when={}),
        replace(STEP, name="e", length_mm=Known()),
    ],
    ids=["another length", "another shaft", "toothed", "always on", "length not known"],
)
def test_other_belts_are_not(other: Belt) -> None:
    assert _one_belt(other) != _one_belt(STEP)
