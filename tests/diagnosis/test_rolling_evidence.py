"""Takes of one bearing family weighed together."""

from __future__ import annotations

import numpy as np

from vibecheck.diagnosis.chance.added_up import (
    STEP,
    decoy_chance,
    own_place,
    take_ratios,
    together,
    within,
)

TRIALS = 2001
MIDDLE = TRIALS // 2


def takes(places: list[int | None], seed: int = 1) -> list[np.ndarray]:
    """Surprises as noise makes them, with a family of surprise 8 at each place."""
    rng = np.random.default_rng(seed)
    rows = []
    for place in places:
        row = rng.exponential(1 / np.log(10.0), TRIALS)
        if place is not None:
            row[place - 2 : place + 3] = 8.0
        rows.append(row)
    return rows


def evidence(rows: list[np.ndarray], speeds: list[float]) -> float:
    """Evidence in a window of two hundredths either way."""
    inside = np.abs(np.arange(TRIALS) - MIDDLE) * STEP < 0.02
    return within(together([take_ratios(row) for row in rows], speeds), inside)


def test_noise_alone_gathers_no_evidence() -> None:
    found = [evidence(takes([None] * 8, seed), [5.0] * 8) for seed in range(20)]
    assert np.mean(np.array(found) > 2.0) <= 0.1


def test_takes_add_up_though_slip_differs_a_little() -> None:
    same = evidence(takes([MIDDLE] * 6), [5.0] * 6)
    scattered = evidence(takes([MIDDLE + k for k in (-12, -6, 0, 5, 9, 14)]), [5.0] * 6)
    three = evidence(takes([MIDDLE] * 3), [5.0] * 3)
    assert same > scattered > 10.0
    assert same > three + 5.0


def test_slips_that_have_nothing_in_common_are_worth_less() -> None:
    scattered = evidence(takes([MIDDLE + k for k in (-12, -6, 0, 5, 9, 14)]), [5.0] * 6)
    apart = evidence(takes([MIDDLE + k for k in (-60, -40, -20, 20, 40, 60)]), [5.0] * 6)
    assert apart < scattered - 10.0


def test_silence_of_slow_takes_costs_nothing_and_of_fast_ones_a_lot() -> None:
    speeds = [1.0, 1.2, 1.5, 2.0, 10.0, 12.0, 15.0, 20.0]
    heard_fast = evidence(takes([None] * 4 + [MIDDLE] * 4), speeds)
    heard_slow = evidence(takes([MIDDLE] * 4 + [None] * 4), speeds)
    only_fast = evidence(takes([MIDDLE] * 4), speeds[4:])
    assert heard_fast > only_fast - 3.0
    assert heard_slow < heard_fast - 3.0


def test_lively_decoys_move_the_yardstick() -> None:
    free = np.ones(TRIALS, dtype=bool)
    calm = np.full(TRIALS, -5.0)
    lively = np.full(TRIALS, 12.0)
    assert decoy_chance(20.0, calm, free, 100) < -4.0
    assert decoy_chance(20.0, lively, free, 100) > decoy_chance(20.0, calm, free, 100) + 2.0
    assert decoy_chance(10.0, lively, free, 100) == 0.0


def test_each_take_has_the_family_at_its_own_place() -> None:
    row = takes([MIDDLE + 10])[0]
    assert abs(own_place(row, MIDDLE) - (MIDDLE + 10)) <= 2
