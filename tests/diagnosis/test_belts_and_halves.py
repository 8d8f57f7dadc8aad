"""A belt that goes round about every other turn of a shaft is not that shaft come loose."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from vibecheck.diagnosis.readings.lines import may_be_a_belt


def take(belt_order: float, *, driver: float = 1.0) -> SimpleNamespace:
    """A take whose belt goes round so often a turn of its driver, as the table has it."""
    belt = SimpleNamespace(driver="motor", order=belt_order)
    return SimpleNamespace(
        turning_ratios=lambda: {"motor": driver}, turning=SimpleNamespace(belts=[belt])
    )


@pytest.mark.parametrize("half", [0.5, 1.5, 2.5, 3.5])
def test_half_turns_of_a_shaft_that_a_belt_meets_are_left_to_the_belt(half: float) -> None:
    """A belt that slips a third of a per cent, on a shaft that turns at 0.313 of the motor."""
    shaft = 0.313
    assert may_be_a_belt(take(shaft * 0.5 * 1.0033), half * shaft)


def test_half_turns_beside_a_belts_multiples_are_the_shafts_own() -> None:
    assert not may_be_a_belt(take(0.22), 0.5)
    assert may_be_a_belt(take(0.22), 0.44)
    assert not may_be_a_belt(take(0.22), 0.45)


def test_so_high_multiples_of_a_belt_are_not_heard() -> None:
    assert may_be_a_belt(take(0.2), 1.6)
    assert not may_be_a_belt(take(0.2), 2.6)
    assert not may_be_a_belt(take(0.2), 0.6, 2)


def test_a_belt_behind_an_unheard_shaft_says_nothing() -> None:
    belts = [SimpleNamespace(driver="countershaft", order=0.25)]
    other = SimpleNamespace(
        turning_ratios=lambda: {"motor": 1.0}, turning=SimpleNamespace(belts=belts)
    )
    assert not may_be_a_belt(other, 0.25)
