"""The intervals and the control of many lines, at the level of the statistics."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import false_discovery_control

from vibecheck.diagnosis.compared.repeatability import Repeatability, repeatability_of
from vibecheck.diagnosis.compared.repeated_levels import Cell
from vibecheck.diagnosis.compared.resolved_changes import (
    change_chances,
    interval_factor,
    resolved,
    smallest_change_db,
    spread_of,
)

POSITIONS, LINES = 8, 40


def sweeps(rng, *, takes=3, seat=1.5, line=0.5, noise=0.3, sweep=0.0, change=0.0):
    """Levels of a machine measured twice; ``change`` is added to a tenth of the lines."""
    cells, truths = [], []
    together = rng.normal(0, sweep, 2 * takes) if sweep else np.zeros(2 * takes)
    for _ in range(POSITIONS):
        truth = np.where(np.arange(LINES) % 10 == 0, change, 0.0)
        shared = rng.normal(0, seat, 2 * takes) + together
        own = rng.normal(0, np.hypot(line, noise), (LINES, 2 * takes))
        levels = rng.normal(-40, 10, (LINES, 1)) + shared + own
        levels[:, takes:] += truth[:, None]
        noises = np.full((LINES, takes), noise)
        cells.append(
            Cell(
                before_db=levels[:, :takes],
                after_db=levels[:, takes:],
                before_noise_db=noises,
                after_noise_db=noises,
                fit=np.ones(LINES, dtype=bool),
            )
        )
        truths.append(truth)
    return cells, truths


def played(pairs, **how):
    """Share of intervals that hold the truth, and of pairs with a false better or worse."""
    rng = np.random.default_rng(20)
    inside, better, worse = [], 0, 0
    for _ in range(pairs):
        cells, truths = sweeps(rng, **how)
        known = repeatability_of(cells)
        spreads = [spread_of(cell, known) for cell in cells]
        changes = [cell.change_db for cell in cells]
        for spread, change, truth in zip(spreads, changes, truths, strict=True):
            half = interval_factor(spread.dof) * spread.standard_db
            inside.append(np.mean(np.abs(change - truth) <= half))
        chances = np.concatenate(
            [
                change_chances(c, s, np.ones(LINES, bool))
                for c, s in zip(changes, spreads, strict=True)
            ]
        )
        called = resolved(chances)
        change, truth = np.concatenate(changes), np.concatenate(truths)
        better += bool((called & (change < 0) & (truth == 0)).any())
        worse += bool((called & (change > 0) & (truth == 0)).any())
    return float(np.mean(inside)), better / pairs, worse / pairs


@pytest.mark.parametrize(
    "how",
    [
        {"seat": 1.5, "line": 0.5},
        {"seat": 0.5, "line": 1.5},
        {"seat": 0.0, "line": 1.0, "sweep": 1.5},
        {"seat": 1.0, "line": 1.0, "takes": 2},
        {"seat": 1.5, "line": 0.5, "change": -6.0},
    ],
)
def test_nineteen_of_twenty_intervals_hold_the_true_change(how):
    coverage, _, _ = played(300, **how)
    assert coverage == pytest.approx(0.95, abs=0.012)


@pytest.mark.parametrize(
    "how", [{"seat": 1.5, "line": 0.5}, {"seat": 0.5, "line": 1.5}, {"seat": 1.0, "sweep": 1.0}]
)
def test_a_healthy_machine_measured_again_is_called_better_in_fewer_than_one_pair_of_a_hundred(how):
    _, better, worse = played(1000, **how)
    assert better < 0.01
    assert worse < 0.015


def test_single_takes_are_covered_by_the_stated_allowance_when_seating_is_as_allowed():
    coverage, better, _ = played(300, takes=1, seat=1.5, line=1.0)
    assert coverage == pytest.approx(0.95, abs=0.015)
    assert better < 0.01


def test_repeats_find_the_spread_that_was_put_in():
    rng = np.random.default_rng(3)
    found = [repeatability_of(sweeps(rng, seat=1.5, line=0.8)[0]) for _ in range(40)]
    assert np.median([f.take_db for f in found]) == pytest.approx(1.5, rel=0.1)
    assert np.median([f.line_db for f in found]) == pytest.approx(0.8, rel=0.15)


def test_the_repeatability_limit_is_two_point_eight_spreads():
    """ISO 5725-6: 1.96 sqrt 2 = 2.77, rounded to 2.8 there."""
    known = Repeatability(take_db=3.0, take_dof=10, line_db=4.0, line_dof=10, measured=True)
    assert known.limit_db == pytest.approx(14.0)


def test_a_seat_that_was_never_lifted_is_allowed_for():
    rng = np.random.default_rng(4)
    cells, _ = sweeps(rng, seat=0.1)
    assert repeatability_of(cells, reseated=False).take_db > 1.4
    assert repeatability_of(cells).take_db < 0.3


def test_the_joint_control_is_holms_worked_by_hand():
    """0.01 <= 0.05/4 yes, 0.013 <= 0.05/3 yes, 0.03 <= 0.05/2 no, and there it stops."""
    called = resolved(np.array([0.03, 0.01, 0.04, 0.013]), 0.05)
    assert called.tolist() == [False, True, False, True]


def test_the_joint_control_never_calls_what_the_discovery_rate_would_not():
    """Second opinion: scipy.stats.false_discovery_control is the looser of the two."""
    rng = np.random.default_rng(5)
    for _ in range(50):
        chances = rng.uniform(size=60) ** rng.uniform(1, 4)
        looser = false_discovery_control(chances, method="bh") <= 0.05
        assert not np.any(resolved(chances, 0.05) & ~looser)


def test_more_repeats_show_less():
    known = Repeatability(take_db=1.0, take_dof=20, line_db=0.5, line_dof=20, measured=True)
    shown = [smallest_change_db(known, 0.3, before=n, after=n, lines=200) for n in (1, 3, 5, 8)]
    assert shown == sorted(shown, reverse=True)
    assert shown[1] < 6.0


def test_the_smallest_change_stated_is_called_four_times_in_five():
    rng = np.random.default_rng(6)
    found, tried = 0, 0
    for _ in range(60):
        cells, _ = sweeps(rng, seat=1.0, line=0.5)
        known = repeatability_of(cells)
        least = smallest_change_db(known, 0.3, before=3, after=3, lines=POSITIONS * LINES)
        cells[0].after_db[0] -= least
        chances = np.concatenate(
            [change_chances(c.change_db, spread_of(c, known), c.fit) for c in cells]
        )
        found += bool(resolved(chances)[0])
        tried += 1
    assert 0.6 < found / tried < 0.95
