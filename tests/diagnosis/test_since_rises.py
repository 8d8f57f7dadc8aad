"""What has risen from one sweep to another, on levels written down by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.since.levels import ORDERS, SLIPS, STRANGE, TakeLevels
from vibecheck.diagnosis.since.rises import rises

ONCE, OUTER, UNKNOWN = ("once", "II"), ("outer", "front"), (STRANGE, "II")


def takes(values, trace=ONCE, kind="idle"):
    """One take a label; a number stands for one band at one slip."""
    return [
        TakeLevels(label=label, kind=kind, levels={trace: np.atleast_2d(np.asarray(level, float))})
        for label, level in values.items()
    ]


def family(slip, high=20.0, bands=2, band=1):
    """A family that stands ``high`` dB over its floor in one band, at one slip."""
    levels = np.zeros((bands, SLIPS.size))
    levels[band, int(np.argmin(np.abs(SLIPS - slip)))] = high
    return levels


def test_the_rise_is_the_mean_over_positions_that_both_sweeps_have():
    now = takes({"A1": 12.0, "A2": 16.0, "A3": 40.0})
    before = takes({"A1": 4.0, "A2": 4.0, "B1": 0.0})
    rise = rises(now, before)[ONCE]
    assert rise.db == pytest.approx(10.0)
    assert rise.scatter_db == pytest.approx(2.0)
    assert rise.now_db == pytest.approx(14.0)
    assert rise.by_place == {("A1", "idle"): 8.0, ("A2", "idle"): 12.0}


def test_takes_under_cut_are_held_against_takes_under_cut():
    assert rises(takes({"A1": 12.0}, kind="cutting"), takes({"A1": 1.0})) == {}


def test_repeats_of_a_position_count_once_by_their_mean():
    now = [*takes({"A1": 8.0}), *takes({"A1": 12.0})]
    assert rises(now, takes({"A1": 4.0}))[ONCE].db == pytest.approx(6.0)


def test_a_bearing_that_only_slips_differently_has_not_risen():
    now, before = takes({"A1": family(-0.004)}, OUTER), takes({"A1": family(-0.020)}, OUTER)
    rise = rises(now, before)[OUTER]
    assert rise.db == pytest.approx(0.0)


def test_a_bearing_is_read_in_the_band_where_it_has_risen_and_at_its_slip():
    now = takes({"A1": family(-0.012), "A2": family(-0.012)}, OUTER)
    before = takes({"A1": family(0.0, 6.0, band=0), "A2": family(0.0, 6.0, band=0)}, OUTER)
    rise = rises(now, before)[OUTER]
    assert rise.db == pytest.approx(20.0)
    assert rise.slip == pytest.approx(-0.012, abs=1e-4)


def test_what_nobody_knows_is_read_where_it_has_risen_most():
    now, before = np.full((1, ORDERS.size), 2.0), np.full((1, ORDERS.size), 2.0)
    place = int(np.argmin(np.abs(ORDERS - 6.42)))
    sound_place = int(np.argmin(np.abs(ORDERS - 3.31)))
    now[0, [place, sound_place]] = 15.0
    before[0, sound_place] = 15.0
    rise = rises(takes({"A1": now}, UNKNOWN), takes({"A1": before}, UNKNOWN))[UNKNOWN]
    assert rise.order == pytest.approx(6.42, rel=1e-3)
    assert rise.db == pytest.approx(13.0)


def test_what_can_be_read_nowhere_is_left_out():
    assert rises(takes({"A1": np.nan}), takes({"A1": 3.0})) == {}


@pytest.mark.parametrize(("slip", "left"), [(0.005, True), (0.03, False)])
def test_a_rotor_whose_speed_was_found_another_is_not_compared(slip, left):
    now = [replace(take, ratios={"II": 2.0}) for take in takes({"A1": 20.0})]
    before = [replace(take, ratios={"II": 2.0 * (1.0 + slip)}) for take in takes({"A1": 4.0})]
    assert (ONCE in rises(now, before)) is left


def test_one_odd_position_does_not_make_a_rise_and_many_do():
    quiet = {f"A{n}": 10.0 for n in range(1, 9)}
    odd = rises(takes(quiet | {"A3": 40.0}), takes(quiet))[ONCE]
    assert 0.0 <= odd.db < 1.0
    assert odd.by_place["A3", "idle"] == pytest.approx(30.0)
    risen = rises(takes(dict.fromkeys(quiet, 17.0)), takes(quiet))[ONCE]
    assert risen.db == pytest.approx(7.0)


def test_a_position_at_which_all_tones_are_gone_was_laid_on_a_wrong_speed():
    """Louder or fainter than elsewhere is one thing; nothing left of any tone another."""
    tones = [(what, rotor) for what in ("once", "twice") for rotor in ("I", "II", "III")]

    def sweep(gone=()):
        return [
            TakeLevels(
                label=label,
                kind="idle",
                levels={t: np.array([[1.0 if label in gone else 25.0]]) for t in tones},
            )
            for label in ("A1", "A2", "A3", "B1")
        ]

    found = rises(sweep(gone=("A3",)), sweep())
    assert {place for place, _ in found[ONCE].by_place} == {"A1", "A2", "B1"}
    assert found[ONCE].db == pytest.approx(0.0)
    assert {place for place, _ in rises(sweep(), sweep(gone=("A3",)))[ONCE].by_place} == {
        "A1",
        "A2",
        "B1",
    }


def test_a_tone_heard_now_and_then_does_not_stand():
    tone = ("tone", "411.50")
    quiet = {f"A{n}": 3.0 for n in range(1, 8)}
    passing = rises(takes(quiet | {"A2": 33.0, "A5": 31.0}, tone), takes(quiet, tone))[tone]
    assert passing.db == pytest.approx(0.0)
    standing = rises(takes(dict.fromkeys(quiet, 20.0), tone), takes(quiet, tone))[tone]
    assert standing.db == pytest.approx(17.0)


def test_side_lines_that_drown_in_a_louder_floor_have_not_risen():
    """Over their tooth tone they stand higher, over the floor no longer."""
    sides = ("sides", "40T")
    before = takes({"A1": [[-20.0], [12.0]], "A2": [[-20.0], [12.0]]}, sides)
    drowned = takes({"A1": [[-12.0], [1.0]], "A2": [[-12.0], [1.0]]}, sides)
    risen = takes({"A1": [[-12.0], [20.0]], "A2": [[-12.0], [20.0]]}, sides)
    assert rises(drowned, before)[sides].db < 0.0
    assert rises(risen, before)[sides].db == pytest.approx(8.0)
