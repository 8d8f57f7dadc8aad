"""What to record: the fewest lever positions, and what no recording will part."""

from itertools import combinations

import pytest

from vibecheck.files.gear_table import parse_table, read_machine
from vibecheck.machine.planned import Inseparable
from vibecheck.machine.separate import next_take, plan
from vibecheck.machine.signature import apart, every_suspect, indistinguishable, signature

NAMES = ("lathe-8-speed", "lathe-12-speed", "lathe-16-speed", "mill-8-speed", "lathe-back-gear")


@pytest.mark.parametrize("name", NAMES)
def test_the_plan_parts_all_that_the_whole_chart_parts(name):
    machine = read_machine(name)
    made = plan(machine)
    chosen = [machine.position(take.position) for take in made.takes]
    assert indistinguishable(machine, chosen, seconds=120) == indistinguishable(
        machine, seconds=120
    )
    heard = signature(machine, positions=chosen)
    assert all(any(sign.heard for sign in row) for row in heard.values())


@pytest.mark.parametrize("name", NAMES)
def test_no_smaller_set_of_positions_would_do(name):
    machine = read_machine(name)
    made = plan(machine)
    whole = indistinguishable(machine, seconds=120)
    everything = {suspect.name for suspect in every_suspect(machine)}
    for fewer in combinations(machine.positions, len(made.takes) - 1):
        rows = signature(machine, positions=fewer)
        heard = {name for name, row in rows.items() if any(sign.heard for sign in row)}
        assert heard != everything or indistinguishable(machine, fewer, seconds=120) != whole


def test_every_take_has_its_twenty_seconds_and_twenty_turns():
    machine = read_machine("lathe-12-speed")
    for take in plan(machine).takes:
        from vibecheck.machine.turning import turning

        spindle = turning(machine, machine.position(take.position)).nominal_hz("spindle")
        assert take.seconds >= 20
        assert take.seconds * spindle >= 20


def test_equal_gears_in_mesh_are_never_parted_and_that_is_said():
    made = plan(read_machine("lathe-8-speed"))
    assert [group.suspects for group in made.inseparable] == [("36T (A1, I)", "36T (A1, II)")]
    assert made.inseparable[0].test == "inspect"


def test_the_62_tooth_gear_and_its_mate_need_two_positions():
    machine = read_machine("lathe-12-speed")
    wanted = {"62T (B2, III)", "22T (B2, II)", "III"}
    suspects = [s for s in every_suspect(machine) if s.name in wanted]
    made = plan(machine, suspects)
    assert len(made.takes) == 2
    settings = {take.position.split()[1] for take in made.takes}
    assert settings == {"B1", "B2"}


def test_with_nothing_recorded_at_its_settings_a_gear_is_not_judged():
    machine = read_machine("lathe-12-speed")
    only = [machine.position("A1 B1 CH")]
    named = {name for group in indistinguishable(machine, only) for name in group}
    assert "62T (B2, III)" not in named


def test_special_takes_are_proposed_only_where_they_change_the_answer():
    machine = read_machine("lathe-12-speed")
    gears = [s for s in every_suspect(machine) if s.kind == "gear"]
    assert plan(machine, gears).specials == ()
    kinds = {special.kind for special in plan(machine).specials}
    assert kinds == {"background", "coast-down"}
    spindle = [s for s in every_suspect(machine) if s.name == "spindle"]
    assert {s.kind for s in plan(machine, spindle).specials} == {"chuck off"}
    assert {s.kind for s in plan(machine, gears, also=["chatter"]).specials} == {"cutting", "tap"}


def test_a_belt_nobody_measured_is_bounded_by_the_motor_alone():
    text = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        [belts.V]
        pulleys = "?/?"
        [levers.A]
        1 = "38/38"
        2 = "32/44"
    """
    made = plan(parse_table(text).machine)
    alone = [special for special in made.specials if special.kind == "motor alone"]
    assert alone
    assert "V" in alone[0].about


def test_neutral_is_proposed_when_it_parts_what_no_speed_parts():
    text = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        shaft = "I"
        [levers.A]
        1 = "36/36"
        [levers.B]
        L = "30/30"
        N = "neutral"
    """
    made = plan(parse_table(text).machine)
    neutral = [special for special in made.specials if special.kind == "neutral"]
    assert neutral
    assert neutral[0].position == "A1 BN"
    assert {"30T (BL, II)", "36T (A1, I)"} <= set(neutral[0].about)


def test_unknown_teeth_are_still_parted_by_how_the_levers_move_them():
    known = read_machine("lathe-12-speed")
    text = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        [belts.V]
        pulleys = "125/250 mm"
        length_mm = 1440
        [levers.A]
        1 = "?/?"
        2 = "?/?"
        3 = "?/?"
        [levers.B]
        1 = "?/?"
        2 = "?/?"
        [levers.C]
        H = "?/?"
        L = "?/?"
    """
    machine = parse_table(text).machine
    groups = indistinguishable(machine)
    # Only the two gears of one pair stay together: which of the two cannot be said without teeth.
    assert all(len({name.split("(")[1].split(",")[0] for name in group}) == 1 for group in groups)
    assert {len(group) for group in groups} == {2}
    assert len(groups) <= 7
    assert len(every_suspect(machine)) == len(every_suspect(known))


def test_two_unknown_bearings_on_one_shaft_stay_together_and_on_two_shafts_do_not():
    text = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        shaft = "I"
        [levers.A]
        1 = "38/38"
        2 = "32/44"
        [levers.B]
        1 = "43/41"
        2 = "22/62"
        [bearings.front]
        [bearings.rear]
        [bearings.mid]
        shaft = "II"
    """
    machine = parse_table(text).machine
    groups = indistinguishable(machine)
    assert ("front", "rear") in groups
    assert not any("mid" in group for group in groups)


def test_a_gear_and_its_shaft_are_parted_where_the_gear_is_out_of_mesh():
    machine = read_machine("lathe-12-speed")
    rows = signature(machine)
    gear, shaft = rows["62T (B2, III)"], rows["III"]
    assert apart(gear, shaft, 1e-3, 60)
    together = [i for i, p in enumerate(machine.positions) if p.levers["B"] == "2"]
    assert not apart([gear[i] for i in together], [shaft[i] for i in together], 1e-3, 60)
    assert gear[0].rate_hz == pytest.approx(2.056, abs=1e-3)


def test_the_next_take_is_the_position_that_parts_most():
    machine = read_machine("lathe-12-speed")
    suspects = [s for s in every_suspect(machine) if s.name in ("62T (B2, III)", "III")]
    after = next_take(machine, suspects, ["A1 B2 CL", "A2 B2 CL"])
    assert "B1" in after.position
    assert next_take(machine, suspects, ["A1 B2 CL", after.position]) is None


def test_the_next_take_says_so_when_no_recording_will_do():
    machine = read_machine("lathe-8-speed")
    suspects = [s for s in every_suspect(machine) if s.name.startswith("36T")]
    labels = [position.label for position in machine.positions]
    after = next_take(machine, suspects, labels)
    assert isinstance(after, Inseparable)
    assert after.suspects == ("36T (A1, I)", "36T (A1, II)")


def test_the_61_62_pair_is_parted_by_the_low_range():
    """61T and 62T sit on one shaft: their lines fall together in high, not in low."""
    machine = read_machine("lathe-12-speed")
    suspects = [s for s in every_suspect(machine) if s.name in ("62T (B2, III)", "61T (CH, III)")]
    after = next_take(machine, suspects, ["A3 B2 CH"])
    assert "B1" in after.position or "CL" in after.position


def test_an_unknown_motor_speed_does_not_hide_ratios_within_one_train():
    text = """
        [supply]
        mains_hz = 60
        kind = "inverter"
        hz = "30-60"
        [motor]
        poles = 4
        plate_rpm = 1725
        shaft = "sun"
        [planetary.low]
        between = ["sun", "spindle"]
        sun = 21
        planet = 43
        ring = 108
        [pumps.coolant]
        shaft = "sun"
        vanes = 5
    """
    machine = parse_table(text).machine
    (group,) = plan(machine).inseparable
    # Five vanes at 15 to 30 turns a second may sound like twice the mains, and nothing else may.
    assert set(group.suspects) == {"coolant", "mains"}
    assert group.test == "power off"
