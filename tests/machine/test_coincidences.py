"""What sounds alike on the invented machines, against what was worked out by hand."""

import pytest

from vibecheck.files.gear_table import parse_table, read_machine
from vibecheck.machine.coincidences import coincidences, parting_moves
from vibecheck.machine.places import positions_text


def cases(name):
    machine = read_machine(name)
    return machine, {(c.kind, c.first, c.second): c for c in coincidences(machine)}


@pytest.mark.parametrize(
    ("table", "kind", "first", "second", "where", "moves"),
    [
        ("lathe-8-speed", "turn alike", "I", "II", "A1", ("A2",)),
        ("lathe-8-speed", "whole ratio", "II", "2 x III", "B2", ("B1",)),
        ("lathe-12-speed", "turn alike", "I", "II", "A1", ("A2", "A3")),
        (
            "lathe-12-speed", "same frequency", "32/44 (A2)", "2 x 22/62 (B2)", "A2 B2",
            ("A1", "A3", "B1"),
        ),
        (
            "lathe-12-speed", "sideband", "61/31 (CH)", "22/62 (B2) - III", "B2 CH",
            ("B1", "CL"),
        ),
        ("lathe-12-speed", "slip decides", "motor", "spindle", "A1 B1 CH", None),
        ("mill-8-speed", "same frequency", "2 x 24/104 (RL)", "toothed belt teeth", "RL", ()),
    ],
)  # fmt: skip
def test_each_built_in_trap_is_listed_with_what_parts_it(table, kind, first, second, where, moves):
    machine, found = cases(table)
    case = found[kind, first, second]
    assert positions_text(machine, case.where) == where
    if moves is not None:
        assert parting_moves(machine, case) == moves
    if moves == ():
        assert case.apart == ()


def test_top_speed_and_motor_of_the_12_speed_lathe_need_about_ten_seconds():
    _, found = cases("lathe-12-speed")
    case = found["slip decides", "motor", "spindle"]
    assert case.gap_hz == pytest.approx(24.393 - 24.0, abs=1e-3)
    assert case.seconds == pytest.approx(10.2, abs=0.1)


def test_an_outer_race_near_a_multiple_of_the_spindle_is_to_be_judged_fast():
    _, found = cases("lathe-16-speed")
    case = found["bearing", "spindle front outer", "11 x spindle"]
    assert case.gap_hz == pytest.approx(0.053 * 58.335 / 60, rel=0.02)
    assert "A1 B1 C1 DH" in case.apart
    assert "A2 B2 C2 DL" in case.where
    assert found["slip decides", "spindle front outer", "spindle front roller"].apart == ()


def test_the_list_stays_short_enough_to_read():
    for name in ("lathe-8-speed", "lathe-12-speed", "lathe-16-speed", "lathe-back-gear"):
        assert len(coincidences(read_machine(name))) <= 12


def test_twice_mains_near_a_mesh_is_said():
    table = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        shaft = "I"
        [levers.A]
        1 = "20/60"
        2 = "30/50"
    """
    # Meshes at 480 and 720 Hz and shafts below 25 Hz keep clear of 100 Hz; at 300 rpm, 20 teeth
    # meet at 100 Hz exactly.
    assert not [c for c in coincidences(parse_table(table).machine) if c.kind == "mains"]
    slow = table.replace("1440", "300")
    found = [c for c in coincidences(parse_table(slow).machine) if c.kind == "mains"]
    assert [(c.second, c.where) for c in found] == [("20/60 (A1)", ("A1",))]


def test_pairs_whose_same_teeth_always_meet_are_listed():
    found = [c.first for c in coincidences(read_machine("lathe-8-speed")) if c.kind == "same teeth"]
    assert found == ["25/50 (B2)", "36/36 (A1)"]


def test_unknown_teeth_take_no_part():
    table = '[supply]\nmains_hz = 50\n[levers.A]\n1 = "?/?"\n2 = "36/36"\n'
    found = coincidences(parse_table(table).machine)
    assert {c.kind for c in found} <= {"turn alike", "same teeth"}
