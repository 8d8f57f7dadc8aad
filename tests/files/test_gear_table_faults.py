"""Whatever is wrong with a gear table is said at once, with its place and what would do."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vibecheck.errors import GearTableError
from vibecheck.files.gear_table import parse_table, read_machine

GOOD = """
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1440
[belts.V]
pulleys = "125/250 mm"
length_mm = 1440
[levers.A]
1 = "38/38"
2 = "32/44"
[levers.B]
1 = "43/41"
2 = "22/62"
"""


def faults_of(text):
    with pytest.raises(GearTableError) as caught:
        parse_table(text, "my.toml")
    return {fault.key: f"{fault.found}. {fault.remedy}" for fault in caught.value.faults}


def test_the_good_table_is_good():
    assert len(parse_table(GOOD).machine.positions) == 4


def test_many_faults_come_in_one_go_each_with_its_place():
    text = GOOD.replace("plate_rpm", "plate_rmp").replace('"38/38"', '"38/38.5"')
    text = text.replace("length_mm", "lenght_mm").replace('"22/62"', '"2/62"')
    found = faults_of(text + "[bearings.front]\nshaft = 3\nelements = 9.5\n")
    assert set(found) == {
        "motor.plate_rmp",
        "levers.A.1",
        "belts.V.lenght_mm",
        "levers.B.2",
        "bearings.front.shaft",
        "bearings.front.elements",
    }


@pytest.mark.parametrize(
    ("change", "key", "says"),
    [
        (("plate_rpm", "plate_rmp"), "motor.plate_rmp", 'Did you mean "plate_rpm"'),
        (("[motor]", "[moter]"), "moter", 'Did you mean "motor"'),
        (("length_mm", "length_in"), "belts.V.length_in", '"3.5 in" in quotation marks'),
        (('"38/38"', '"38/38.5"'), "levers.A.1", "38.5 teeth is not a whole number"),
        (('"38/38"', '"38"'), "levers.A.1", "is not a pair of gears"),
        (('"38/38"', '"38/"'), "levers.A.1", "leaves a place empty"),
        (('"38/38"', '"38/38 mmm"'), "levers.A.1", "makes no sense"),
        (('"38/38"', '"big one/38"'), "levers.A.1", 'no gear is called "big one"'),
        (('"38/38"', "38"), "levers.A.1", "is not a pair of gears"),
        (('"38/38"', "true"), "levers.A.1", "is not a pair of gears"),
        (('"38/38"', "[]"), "levers.A.1", "is not a pair of gears"),
        (('"22/62"', '"6/300"'), "pair 6/300 (B2)", "50 times, which no single pair does"),
        (('"22/62"', '"62-22/40"'), "levers.B.2", "runs backwards"),
        (('"125/250 mm"', '"125/250 kg"'), "belts.V.pulleys", '"kg" makes no sense'),
        (('"125/250 mm"', '"125 mm"'), "belts.V.pulleys", "is not two pulleys"),
        (("1440\n[levers.A]", "300\n[levers.A]"), "belts.V.length_mm", "too short"),
        (("mains_hz = 50", "mains_hz = 50000"), "supply.mains_hz", "cannot be a supply"),
        (("mains_hz = 50", 'kind = "3-phase"'), "supply.kind", 'Did you mean "three-phase"'),
        (("poles = 4", "poles = 3"), "motor.poles", "poles come in pairs"),
        (("poles = 4", "poles = true"), "motor.poles", "true where motor poles was wanted"),
        (("[levers.B]", "[levers.A2]\n2 = '1'\n[levers.B]"), "levers.A2.2", "not a pair"),
        (("[levers.B]", '[levers."B x"]'), 'levers."B x"', "cannot name a lever"),
        (("[belts.V]", "[belt.V]"), "belt", 'Did you mean "belts"'),
    ],
)
def test_each_fault_has_its_place_and_what_would_do(change, key, says):
    text = GOOD.replace(*change)
    assert text != GOOD
    found = faults_of(text)
    assert key in found
    assert says in found[key]


@pytest.mark.parametrize(
    ("more", "key", "says"),
    [
        ("[bearings.x]\nshaft = 'spindel'", "bearings.x.shaft", 'Did you mean "spindle"'),
        ("[pumps.x]\nvanes = 4", "pumps.x.shaft", "missing"),
        (
            "[bearings.x]\norders = { outer = 3.6, inner = 5.0 }",
            "bearings.x.orders",
            "whole number",
        ),
        ("[bearings.x]\norders = { outer = 5.4, inner = 3.6 }", "bearings.x.orders", "Exchange"),
        ("[bearings.x]\norders = { outer = 5.4 }", "bearings.x.orders", "both races"),
        ("[bearings.x]\nelement_mm = 30\npitch_mm = 40", "bearings.x.element_mm", "does not fit"),
        ("[bearings.x]\nbore_mm = 75\noutside_mm = 30", "bearings.x.bore_mm", "Exchange"),
        ("[bearings.x]\nkind = 'bal'", "bearings.x.kind", 'Did you mean "ball"'),
        ("[chart_rpm]\n'A1 B1' = 3\n'B1 A1' = 4", 'chart_rpm."B1 A1"', "has a line already"),
        ("[chart_rpm]\n'A1 B9' = 3", 'chart_rpm."A1 B9"', 'no lever has the setting "B9"'),
        ("[chart_rpm]\n'A1' = 3", "chart_rpm.A1", "does not say where lever B stands"),
        ("[chart_rpm]\n'A1 B1' = -3", 'chart_rpm."A1 B1"', "cannot be spindle rpm"),
        ("[[pairs]]\npair = '20/30'", "pairs[1].between", "not named"),
        ("[[pairs]]\npair='20/30'\nbetween=['I','II']\nwhen='A7'", "pairs[1].when", "A7"),
        ("[pairs]\npair = '20/30'", "pairs", "Write [[pairs]]"),
        ("motor2 = 3", "motor2", "Did you mean"),
        ("[gears.a]\nteeth = 30", "gears.a.shaft", "missing"),
        ("[planetary.p]\nbetween=['I','x']\nsun = 40\nring = 30", "planetary.p.ring", "not more"),
        ("[belts.W]\nlength_mm = 3", "belts.W.pulleys", "missing"),
    ],
)
def test_each_fault_in_an_addition_has_its_place_and_what_would_do(more, key, says):
    text = f"{more}\n{GOOD}" if more.startswith("motor2") else GOOD + more
    found = faults_of(text)
    assert key in found, found
    assert says in found[key]


def test_one_line_given_twice_is_told_by_the_reader_of_toml():
    assert "given twice" in faults_of(GOOD.replace('2 = "32/44"', '1 = "32/44"'))["file"]


def test_a_table_that_is_no_toml_says_where_it_stops():
    assert "line 2" in faults_of("name = 'x'\n36/36\n")["file"]


def test_an_empty_table_points_at_the_starter():
    assert "starter" in faults_of("")["file"]


def test_a_train_that_stops_short_says_what_turns_and_where():
    text = GOOD.replace("[levers.B]", "[levers.B]\nbetween = ['III', 'spindle']")
    text = text.replace("[levers.A]", "[levers.A]\nbetween = ['I', 'II']")
    found = faults_of(text)
    assert set(found) == {"every lever position"}
    assert "what turns: motor, I, II" in found["every lever position"]


def test_a_lever_that_changes_nothing_at_the_spindle_is_remarked_on():
    text = GOOD.replace("[levers.B]", "[levers.B]\nbetween = ['III', 'spindle']")
    assert "lever B changes nothing" in parse_table(text).remarks[0]


def test_a_lever_whose_shafts_nothing_drives_is_named():
    text = GOOD.replace("[levers.B]", "[levers.B]\nbetween = ['II', 'spindle']")
    more = "[levers.C]\nbetween = ['V', 'VI']\n1 = '20/30'\n2 = '25/25'"
    text = text.replace("[levers.A]", "[levers.A]\nbetween = ['I', 'II']") + more
    assert "nothing drives shaft V or VI" in faults_of(text)["pair 20/30 (C1)"]


def test_a_motor_that_drives_nothing_is_told_to_have_a_belt():
    text = GOOD[: GOOD.index("[belts.V]")] + GOOD[GOOD.index("[levers.A]") :]
    assert "a belt, or [[couplings]]" in faults_of(text)["every lever position"]


def test_a_locked_train_is_found_in_the_positions_where_it_locks():
    text = GOOD + "[[pairs]]\npair = '30/45'\nbetween = ['I', 'II']\nwhen = 'A2 B1'"
    found = faults_of(text)
    assert list(found) == ["lever position A2 B1"]
    assert "the train is locked" in found["lever position A2 B1"]


def test_a_file_that_is_not_text_is_refused_in_words(tmp_path):
    path = tmp_path / "sound.toml"
    path.write_bytes(b"RIFF\xff\xfe\x00\x80")
    with pytest.raises(GearTableError, match="not a text file"):
        read_machine(path)


def test_a_folder_is_refused_in_words(tmp_path):
    with pytest.raises(GearTableError, match="is a folder"):
        read_machine(tmp_path)


values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-5, 500)
    | st.floats(-10, 1e7)
    | st.sampled_from(
        ["?", "36/36", "20-25/?", "direct", "neutral", "60/150 mm", "x", "", "/", "A1"]
    )
    | st.text(max_size=6),
    lambda inside: (
        st.lists(inside, max_size=3)
        | st.dictionaries(
            st.sampled_from(["value", "how", "ratio", "low", "x"]), inside, max_size=2
        )
    ),
    max_leaves=4,
)


def _places(values, path=()):
    """Every key path of a table read from TOML."""
    for key, value in values.items():
        yield (*path, key)
        if isinstance(value, dict):
            yield from _places(value, (*path, key))


RICH = """
name = "x"
spindle = "spindle"
shafts = ["motor", "I", "II", "spindle", "stud"]
[pumps.oil]
shaft = "I"
vanes = 4
[rides_on]
II = "I"
[planetary.low]
between = ["stud", "I"]
sun = 21
ring = 108
[bearings.front]
kind = "ball"
elements = 9
element_mm = 7.9
pitch_mm = 39
orders = { outer = 3.6, inner = 5.4 }
[gears.big]
shaft = "spindle"
teeth = 56
[feed]
rack_module_mm = 2.5
[feed.levers.T]
between = ["spindle", "stud"]
F = "big/28/56"
[chart_rpm]
"A1 B1" = 700
"""


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_value_anywhere_is_either_read_or_refused_in_words(data):
    """Whatever stands at any place of a table, the answer is a machine or a GearTableError."""
    import tomllib

    from vibecheck.files import gear_table

    table = tomllib.loads(RICH + GOOD)
    path = data.draw(st.sampled_from(list(_places(table))))
    inside = table
    for key in path[:-1]:
        inside = inside[key]
    inside[path[-1]] = data.draw(values)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gear_table.tomllib, "loads", lambda text: table)
        try:
            machine = parse_table("").machine
        except GearTableError as error:
            refused = [fault.text for fault in error.faults]
            machine = None
    if machine is None:
        assert all(refused)
    else:
        assert machine.positions
