"""How fast the motor turns by plate, poles and supply."""

import pytest

from vibecheck.files.gear_table import parse_table
from vibecheck.machine.motor import pole_pass_hz, slip_hz
from vibecheck.machine.turning import sweep
from vibecheck.units import rpm

TABLE = """
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1440
shaft = "I"
[levers.A]
1 = "38/38"
2 = "32/44"
"""


def motor_of(table):
    here = sweep(parse_table(table).machine)[0]
    group = here.groups[here.rotors["I"].group]
    return tuple(
        None if hz is None else rpm(hz) for hz in (group.low_hz, group.nominal_hz, group.high_hz)
    )


def test_a_six_pole_motor_at_1152_rpm_passes_4_8_poles_a_second():
    """Lecture notes on motor testing (read) give the rotor frequency; pole pass by definition."""
    assert 3 * slip_hz(6, 60.0, 1152 / 60) == pytest.approx(2.4)
    assert pole_pass_hz(6, 60.0, 1152 / 60) == pytest.approx(4.8)


def test_the_plate_is_taken_with_room_for_idle_running():
    low, likely, high = motor_of(TABLE)
    assert likely == pytest.approx(1440)
    assert low < 1440 < 1500 < high


def test_an_inverter_shifts_the_synchronous_speed_and_leaves_the_slip():
    fed = TABLE.replace("mains_hz = 50", 'mains_hz = 50\nkind = "inverter"\nhz = 42')
    assert motor_of(fed)[1] == pytest.approx(42 * 30 - 60)


def test_an_inverter_of_unknown_frequency_leaves_the_speed_wide_open():
    low, _, high = motor_of(TABLE.replace("mains_hz = 50", 'mains_hz = 50\nkind = "inverter"'))
    assert low < 300
    assert high > 2000


def test_a_chart_narrows_what_an_unknown_inverter_leaves_open():
    open_wide = TABLE.replace("mains_hz = 50", 'mains_hz = 50\nkind = "inverter"')
    low, likely, high = motor_of(open_wide + "[chart_rpm]\nA1 = 900\nA2 = 650\n")
    assert likely == pytest.approx(900)
    assert 750 < low < 900 < high < 1050


def test_poles_alone_give_a_speed_a_little_under_the_synchronous_one():
    low, likely, high = motor_of(TABLE.replace("plate_rpm = 1440", ""))
    assert 1350 <= low < likely < 1500 < high


def test_nothing_known_of_the_motor_leaves_its_speed_unknown():
    bare = TABLE.replace("plate_rpm = 1440", 'plate_rpm = "?"').replace("poles = 4", "")
    assert motor_of(bare) == (None, None, None)


def test_a_switched_motor_has_the_speed_of_its_switch():
    table = TABLE + '[levers.M]\n1 = "720 rpm"\n2 = "1440 rpm"\n'
    speeds = {h.label: rpm(h.nominal_hz("I")) for h in sweep(parse_table(table).machine)}
    assert speeds["A1 M1"] == pytest.approx(720)
    assert speeds["A2 M2"] == pytest.approx(1440)
