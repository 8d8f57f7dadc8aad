"""Wrong numbers of a table, found from measured speeds of an invented 12-speed head."""

from math import exp

import numpy as np
import pytest
from twelve_speeds import TABLE

from vibecheck.files.gear_table import parse_table
from vibecheck.machine.tooth_counts import pairs_near, sets_of_pairs
from vibecheck.machine.turning import sweep
from vibecheck.machine.unknown_teeth import unknown_teeth
from vibecheck.machine.wrong_numbers import chart_rounding, explain_speeds

TRUE = parse_table(TABLE).machine


def measured(scale=1.0, error=5e-4, seed=1, machine=TRUE):
    noise = np.random.default_rng(seed)
    return {
        here.label: here.nominal_hz("spindle") * scale * exp(error * noise.standard_normal())
        for here in sweep(machine)
    }


def table_with(old, new):
    assert old in TABLE
    return parse_table(TABLE.replace(old, new)).machine


def test_nothing_is_wrong_when_only_the_belt_slips():
    told = explain_speeds(TRUE, measured(0.985), 1e-3)
    assert (told.kind, told.cause) == ("agree", "belt slip or motor load")
    assert told.scale == pytest.approx(0.985, abs=1e-3)


def test_44_40_entered_for_43_41_is_found_in_exactly_its_six_positions():
    told = explain_speeds(table_with("43/41", "44/40"), measured(), 1e-3)
    assert told.kind == "pair"
    (wrong,) = told.pairs
    assert told.blocked_pairs == ("44/40 (B1)",)
    assert 1 / (1 + wrong.deviation) - 1 == pytest.approx(0.0488, abs=1e-3)
    assert wrong.candidates[0] == (43, 41)
    assert wrong.same_sum
    assert len(wrong.positions) == 6
    assert all("B1" in label for label in wrong.positions)


@pytest.mark.parametrize("scale", [0.98, 1.0, 1.01])
@pytest.mark.parametrize(
    ("old", "new"),
    [("25/51", "26/50"), ("18/74", "19/74"), ("61/31", "61/32"), ("22/62", "23/61")],
)
def test_a_miscount_by_one_tooth_is_found_whatever_the_belt_does(old, new, scale):
    told = explain_speeds(table_with(old, new), measured(scale), 1e-3)
    assert told.kind == "pair"
    assert told.pairs[0].pair.startswith(new)
    assert tuple(int(z) for z in old.split("/")) in told.pairs[0].candidates


@pytest.mark.parametrize(
    ("scale", "mains", "cause"),
    [
        (1.2, 50, "60 Hz mains entered as 50 Hz"),
        (1 / 1.2, 60, "50 Hz mains entered as 60 Hz"),
        (2.0, 50, "motor turns at twice the plate's speed"),
        (0.5, 50, "motor turns at half the plate's speed"),
        (0.84, 50, "inverter, pulleys or motor plate"),
    ],
)
def test_one_factor_on_all_positions_is_no_wrong_gear(scale, mains, cause):
    machine = table_with("mains_hz = 50", f"mains_hz = {mains}")
    told = explain_speeds(machine, measured(scale, machine=machine), 1e-3)
    assert (told.kind, told.cause) == ("scale", cause)
    assert told.pairs == ()


def test_two_takes_filed_under_each_others_position_are_named():
    speeds = measured(0.99)
    a, b = "A3 B1 CL", "A1 B2 CH"
    speeds[a], speeds[b] = speeds[b], speeds[a]
    told = explain_speeds(TRUE, speeds, 1e-3)
    assert told.kind == "misfiled"
    assert told.misfiled == {a: b, b: a}


def test_one_take_at_a_speed_no_position_has_is_left_unexplained():
    speeds = measured()
    speeds["A3 B1 CL"] *= 1.11
    assert explain_speeds(TRUE, speeds, 1e-3).kind == "unexplained"


def test_the_speed_of_an_inner_shaft_settles_which_of_two_pairs_is_wrong():
    machine = parse_table(
        TABLE[: TABLE.index("[levers.A]")]
        + '[levers.B]\n1 = "44/40"\n2 = "22/62"\n[levers.C]\nH = "61/31"\nL = "18/74"'
    ).machine
    right = parse_table(
        TABLE[: TABLE.index("[levers.A]")]
        + '[levers.B]\n1 = "43/41"\n2 = "22/62"\n[levers.C]\nH = "61/31"\nL = "18/74"'
    ).machine
    speeds = {
        here.label: {name: here.nominal_hz(name) for name in ("I", "II", "spindle")}
        for here in sweep(right)
    }
    told = explain_speeds(machine, speeds, 1e-3)
    assert [wrong.pair for wrong in told.pairs] == ["44/40 (B1)"]
    assert told.pairs[0].scale == pytest.approx(1.0, abs=1e-6)


def test_a_belt_on_the_wrong_step_is_named_as_the_belt():
    table = """
        [supply]
        mains_hz = 60
        [motor]
        plate_rpm = 1725
        [levers.S]
        between = ["motor", "spindle"]
        belt = "V-belt"
        1 = "60/150 mm"
        2 = "80/130 mm"
        3 = "100/110 mm"
    """
    right = parse_table(table).machine
    wrong = parse_table(table.replace("80/130", "90/130")).machine
    told = explain_speeds(wrong, measured(machine=right), 2e-3)
    assert (told.kind, told.pairs[0].pair, told.pairs[0].settings) == ("pair", "V-belt", ("S2",))


def test_without_speeds_there_is_nothing_to_compare():
    assert explain_speeds(TRUE, {}).kind == "nothing to compare"


def test_spindle_speeds_alone_leave_few_sets_of_teeth_and_one_ratio_leaves_one():
    spindle = [38 / 38, 32 / 44, 25 / 51]
    by_error = [len(sets_of_pairs(spindle, error)) for error in (1e-3, 2e-3, 5e-3)]
    assert by_error == sorted(by_error)
    assert by_error[0] <= 12
    assert by_error[2] > 100
    settled = sets_of_pairs(spindle, 1e-3, {0: (1.0, 2e-3)})
    assert settled == [((38, 38), (32, 44), (25, 51))]


def test_teeth_nobody_counted_are_among_the_sets_offered():
    machine = table_with('1 = "38/38"\n2 = "32/44"\n3 = "25/51"', '1 = "?/?"\n2 = "?/?"\n3 = "?/?"')
    found = unknown_teeth(machine, measured(error=2e-4), 5e-4)
    assert set(found) == {"A"}
    assert ((38, 38), (32, 44), (25, 51)) in found["A"]
    assert len(found["A"]) < 25


def test_counts_with_the_same_sum_come_first():
    assert pairs_near((44, 40), 43 / 41, 1e-3)[0] == (43, 41)
    assert all(abs(a / b / (43 / 41) - 1) < 1.1e-2 for a, b in pairs_near((44, 40), 43 / 41, 1e-2))


def test_a_table_whose_chart_disagrees_in_one_pair_is_remarked_on():
    lines = "\n".join(
        f'"{here.label}" = {round(here.nominal_hz("spindle") * 60)}' for here in sweep(TRUE)
    )
    table = parse_table(TABLE.replace("43/41", "46/38") + "[chart_rpm]\n" + lines)
    assert any("where 46/38 (B1) works" in remark for remark in table.remarks)
    assert any("43/41" in remark for remark in table.remarks)


def test_what_rounding_may_have_done_accuses_no_pair():
    speeds = {label: hz * (1.05 if "B2" in label else 1.0) for label, hz in measured().items()}
    assert explain_speeds(TRUE, speeds, 6e-3).kind == "pair"
    slow = dict.fromkeys(speeds, 0.01)
    assert explain_speeds(TRUE, speeds, 6e-3, slow).kind == "agree"


def test_a_chart_is_as_rounded_as_its_numbers_look():
    lines = "[chart_rpm]\n" + '"A1 B2 CL" = 60\n"A2 B2 CL" = 43\n'
    rounding = chart_rounding(parse_table(TABLE + lines).machine)
    assert rounding == {"A1 B2 CL": 2.5 / 60, "A2 B2 CL": 0.5 / 43}
