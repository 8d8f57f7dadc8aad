"""A machine written as a table reads back as the same machine."""

from dataclasses import fields
from string import ascii_letters

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vibecheck.files.gear_table import parse_table, read_machine, write_machine
from vibecheck.files.shipped import shipped_names
from vibecheck.files.table_numbers import TEETH, Rule, read_known, write_known
from vibecheck.machine.parts import UNKNOWN, Known


def differences(a, b):
    """Names of the fields in which two machines differ, the order of their parts apart."""
    found = []
    for field in fields(a):
        one, other = getattr(a, field.name), getattr(b, field.name)
        if field.name not in ("groups", "positions", "shafts") and isinstance(one, tuple):
            one, other = sorted(one, key=repr), sorted(other, key=repr)
        if one != other:
            found.append(field.name)
    return found


@pytest.mark.parametrize("name", shipped_names("gear_tables", ".toml"))
def test_every_shipped_table_survives_being_written(name):
    machine = read_machine(name)
    text = write_machine(machine)
    again = parse_table(text).machine
    assert differences(machine, again) == []
    assert write_machine(again) == text


def test_the_ordinary_machine_is_written_as_short_as_a_person_would():
    text = write_machine(read_machine("lathe-8-speed"))
    assert '2 = "25/50"' in text
    assert "[gears" not in text
    assert "[[pairs]]" not in text


numbers = st.one_of(
    st.just(UNKNOWN),
    st.builds(
        lambda value, how: Known.exactly(value, how),
        st.integers(5, 400),
        st.sampled_from(["plate", "counted", "measured", "guessed", "unknown"]),
    ),
    st.builds(
        lambda low, more, how: Known.between(low, low + more, how),
        st.integers(5, 200),
        st.integers(1, 200),
        st.sampled_from(["plate", "counted", "measured", "guessed"]),
    ),
)


@given(numbers)
def test_a_tooth_count_however_known_survives_being_written(known):
    import tomllib

    value = tomllib.loads(f"x = {write_known(known, TEETH.how)}")["x"]
    assert read_known(value, TEETH) == known


@given(st.floats(1e-9, 1e9), st.floats(0, 1e6))
def test_any_positive_figure_survives_being_written(value, more):
    import tomllib

    rule = Rule(what="a figure", high=1e12)
    for known in (Known.exactly(value, "measured"), Known.between(value, value + more, "plate")):
        raw = tomllib.loads(f"x = {write_known(known, rule.how)}")["x"]
        assert read_known(raw, rule) == known


words = st.text(ascii_letters + "0123456789-_", min_size=1, max_size=3)
shaft_names = st.lists(st.text(min_size=1, max_size=6), unique=True, min_size=3, max_size=3)
teeth = st.one_of(st.integers(20, 60).map(str), st.just("?"), st.just("20-25"))


@st.composite
def tables(draw):
    """Gear tables of one to three levers, each with its own way of being driven."""
    import json

    lines = ["[supply]", f"mains_hz = {draw(st.sampled_from([50, 60]))}", "[motor]", "poles = 4"]
    lines += [f"plate_rpm = {draw(st.integers(1300, 1500))}", '[belts."belt"]']
    lines += [draw(st.sampled_from(['pulleys = "85/170 mm"', 'teeth = "26/48"'])), "count = 2"]
    names = draw(st.lists(st.sampled_from("ABCDE"), unique=True, min_size=1, max_size=3))
    for name in names:
        lines.append(f"[levers.{name}]")
        clutched = draw(st.booleans())
        if clutched:
            lines += [
                'style = "dog clutch"',
                f'loose = "{draw(st.sampled_from(["driven", "driver"]))}"',
            ]
        for setting in draw(st.lists(words, unique=True, min_size=1, max_size=3)):
            pair = f"{draw(teeth)}/{draw(teeth)}"
            how = draw(st.sampled_from(["", " guessed", " measured"]))
            made = (
                [f'"{pair}{how}"']
                if clutched
                else [
                    f'"{pair}{how}"',
                    f'"{draw(teeth)}/{pair}"',
                    '"direct"',
                    f'["{pair}", "30/40"]',
                    "{ ratio = 0.5 }",
                    "{ ratio = '0.4-0.5' }",
                ]
            )
            lines.append(f"{json.dumps(setting)} = {draw(st.sampled_from(made))}")
    lines += ['[bearings."front one"]', f"elements = {draw(st.sampled_from(['9', '[8, 10]']))}"]
    lines += ["bore_mm = 30.5", "orders = { outer = 3.58, inner = 5.42 }", "[pumps.oil]"]
    lines += ["shaft = 'motor'", "vanes = '?'", "[feed]", "rack_module_mm = 2.5"]
    return "\n".join(lines)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(tables())
def test_any_machine_survives_being_written(text):
    machine = parse_table(text).machine
    assert differences(machine, parse_table(write_machine(machine)).machine) == []
