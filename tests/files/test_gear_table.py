"""Every lever position of the shipped tables, against numbers worked out by hand beforehand."""

from pathlib import Path

import pytest

from vibecheck.errors import GearTableError
from vibecheck.files.gear_table import find_table, parse_table, read_machine, read_table
from vibecheck.files.shipped import shipped_names
from vibecheck.machine.tones import tones
from vibecheck.machine.turning import sweep, turning
from vibecheck.units import rpm

# Spindle rpm and mesh rates (Hz), one line for each lever position, with a belt slip of 1.5 %.
LATHES = {
    "lathe-8-speed": """
        A2 B2 CL 112.222 30/42 424.781 25/50 252.846 27/73 136.537
        A1 B2 CL 157.111 36/36 509.738 25/50 353.984 27/73 191.152
        A2 B1 CL 230.510 30/42 424.781 38/37 384.326 27/73 280.454
        A1 B1 CL 322.714 36/36 509.738 38/37 538.056 27/73 392.636
        A2 B2 CH 455.123 30/42 424.781 25/50 252.846 60/40 303.415
        A1 B2 CH 637.172 36/36 509.738 25/50 353.984 60/40 424.781
        A2 B1 CH 934.847 30/42 424.781 38/37 384.326 60/40 623.231
        A1 B1 CH 1308.785 36/36 509.738 38/37 538.056 60/40 872.524""",
    "lathe-12-speed": """
        A3 B2 CL 30.006 25/51 295.5 22/62 127.471 18/74 37.008
        A2 B2 CL 44.518 32/44 378.24 22/62 189.12 18/74 54.906
        A1 B2 CL 61.213 38/38 449.16 22/62 260.04 18/74 75.495
        A3 B1 CL 88.688 25/51 295.5 43/41 249.147 18/74 109.382
        A2 B1 CL 131.580 32/44 378.24 43/41 369.644 18/74 162.283
        A1 B1 CL 180.923 38/38 449.16 43/41 508.26 18/74 223.139
        A3 B2 CH 242.738 25/51 295.5 22/62 127.471 61/31 125.415
        A2 B2 CH 360.135 32/44 378.24 22/62 189.12 61/31 186.07
        A1 B2 CH 495.185 38/38 449.16 22/62 260.04 61/31 255.846
        A3 B1 CH 717.449 25/51 295.5 43/41 249.147 61/31 370.682
        A2 B1 CH 1064.434 32/44 378.24 43/41 369.644 61/31 549.958
        A1 B1 CH 1463.597 38/38 449.16 43/41 508.26 61/31 756.192""",
    "lathe-16-speed": """
        A2 B2 C2 DL 58.335 32/41 391.749 34/43 324.865 28/53 211.540 19/78 75.835
        A1 B2 C2 DL 72.721 36/37 440.717 34/43 404.983 28/53 263.710 19/78 94.538
        A2 B1 C2 DL 93.305 32/41 391.749 43/34 410.858 28/53 338.354 19/78 121.297
        A1 B1 C2 DL 116.316 36/37 440.717 43/34 512.185 28/53 421.799 19/78 151.211
        A2 B2 C1 DL 145.122 32/41 391.749 34/43 324.865 46/35 347.530 19/78 188.659
        A1 B2 C1 DL 180.913 36/37 440.717 34/43 404.983 46/35 433.238 19/78 235.186
        A2 B1 C1 DL 232.120 32/41 391.749 43/34 410.858 46/35 555.867 19/78 301.756
        A1 B1 C1 DL 289.366 36/37 440.717 43/34 512.185 46/35 692.956 19/78 376.176
        A2 B2 C2 DH 371.823 32/41 391.749 34/43 324.865 28/53 211.540 59/38 235.488
        A1 B2 C2 DH 463.522 36/37 440.717 34/43 404.983 28/53 263.710 59/38 293.564
        A2 B1 C2 DH 594.723 32/41 391.749 43/34 410.858 28/53 338.354 59/38 376.658
        A1 B1 C2 DH 741.395 36/37 440.717 43/34 512.185 28/53 421.799 59/38 469.550
        A2 B2 C1 DH 925.004 32/41 391.749 34/43 324.865 46/35 347.530 59/38 585.836
        A1 B2 C1 DH 1153.130 36/37 440.717 34/43 404.983 46/35 433.238 59/38 730.315
        A2 B1 C1 DH 1479.526 32/41 391.749 43/34 410.858 46/35 555.867 59/38 937.033
        A1 B1 C1 DH 1844.409 36/37 440.717 43/34 512.185 46/35 692.956 59/38 1168.126""",
}
LINES = [(name, line.strip()) for name, text in LATHES.items() for line in text.split("\n") if line]


def split_line(line):
    words = line.split()
    levers = [w for w in words if w[0] in "ABCD"]
    numbers = words[len(levers) :]
    return " ".join(levers), float(numbers[0]), dict(zip(numbers[1::2], numbers[2::2], strict=True))


@pytest.mark.parametrize(("name", "line"), LINES)
def test_each_lever_position_turns_and_meshes_as_worked_out_by_hand(name, line):
    label, spindle_rpm, meshes = split_line(line)
    machine = read_machine(name)
    here = turning(machine, machine.position(label))
    assert rpm(here.nominal_hz("spindle")) == pytest.approx(spindle_rpm, rel=2e-5)
    driving = {
        work.name.split()[0]: here.groups[work.group].nominal_hz * work.order
        for work in here.meshes
        if work.loaded
    }
    assert driving == pytest.approx({pair: float(f) for pair, f in meshes.items()}, rel=2e-5)


def test_every_position_of_the_lathes_is_checked():
    for name, text in LATHES.items():
        labels = {split_line(line)[0] for line in text.strip().split("\n")}
        assert labels == {p.label for p in read_machine(name).positions}


@pytest.mark.parametrize(
    ("label", "pulley", "belt_hz", "counter", "spindle", "toothed_hz", "gear_hz", "round_hz"),
    [
        ("S1 RL", 679.65, 6.338, 368.14, 84.96, 294.51, 147.26, 3.20),
        ("S2 RL", 1045.62, 8.451, 566.37, 130.70, 453.10, 226.55, 4.92),
        ("S3 RL", 1544.66, 10.564, 836.69, 193.08, 669.35, 334.68, 7.28),
        ("S4 RL", 2265.50, 12.677, 1227.15, 283.19, 981.72, 490.86, 10.67),
    ],
)
def test_the_mill_turns_as_worked_out_by_hand(
    label, pulley, belt_hz, counter, spindle, toothed_hz, gear_hz, round_hz
):
    machine = read_machine("mill-8-speed")
    low = turning(machine, machine.position(label))
    high = turning(machine, machine.position(label.replace("RL", "RH")))
    speeds = [rpm(low.nominal_hz(s)) for s in ("spindle pulley", "countershaft", "spindle")]
    assert speeds == pytest.approx([pulley, counter, spindle], rel=2e-4)
    assert rpm(high.nominal_hz("spindle")) == pytest.approx(pulley, rel=2e-5)
    heard = {(t.part, t.nature): t.hz(low) for t in tones(low)}
    assert heard["V-belt", "belt"] == pytest.approx(belt_hz, rel=1e-4)
    assert heard["toothed belt", "belt tooth"] == pytest.approx(toothed_hz, rel=2e-4)
    assert heard["toothed belt", "belt"] == pytest.approx(round_hz, rel=2e-3)
    assert heard["24/104 (RL)", "mesh"] == pytest.approx(gear_hz, rel=2e-4)


@pytest.mark.parametrize(
    ("label", "cone", "flat_hz", "back", "spindle", "first_hz", "second_hz"),
    [
        ("S1 RB", 876.67, 3.107, 360.98, 107.32, 409.11, 132.36),
        ("S2 RB", 557.88, 2.542, 229.72, 68.29, 260.34, 84.23),
        ("S3 RB", 355.01, 1.977, 146.18, 43.46, 165.67, 53.60),
    ],
)
def test_the_back_gear_turns_as_worked_out_by_hand(
    label, cone, flat_hz, back, spindle, first_hz, second_hz
):
    machine = read_machine("lathe-back-gear")
    here = turning(machine, machine.position(label))
    direct = turning(machine, machine.position(label.replace("RB", "RD")))
    speeds = [rpm(here.nominal_hz(s)) for s in ("countershaft", "cone", "back-gear shaft")]
    assert speeds == pytest.approx([566.38, cone, back], rel=2e-4)
    assert rpm(here.nominal_hz("spindle")) == pytest.approx(spindle, rel=2e-4)
    assert rpm(direct.nominal_hz("spindle")) == pytest.approx(cone, rel=2e-5)
    heard = {(t.part, t.nature): t.hz(here) for t in tones(here)}
    assert heard["flat belt", "belt"] == pytest.approx(flat_hz, rel=2e-4)
    assert heard["28/68 (RB)", "mesh"] == pytest.approx(first_hz, rel=1e-4)
    assert heard["22/74 (RB)", "mesh"] == pytest.approx(second_hz, rel=1e-4)
    assert heard["cone", "rub"] == pytest.approx((cone - spindle) / 60.0, rel=2e-4)
    assert "back-gear shaft" not in direct.rotors


def test_belt_rates_of_the_lathes_are_as_worked_out_by_hand():
    worked_out = {"lathe-8-speed": 6.9793, "lathe-12-speed": 6.5450, "lathe-16-speed": 5.6549}
    for name, belt_hz in worked_out.items():
        first = sweep(read_machine(name))[0]
        found = [t.hz(first) for t in tones(first) if t.nature == "belt"]
        assert found == pytest.approx([belt_hz], rel=1e-4)


def test_the_pair_not_clutched_turns_loose_and_unloaded():
    machine = read_machine("lathe-16-speed")
    here = turning(machine, machine.position("A2 B2 C2 DL"))
    idle = next(work for work in here.meshes if not work.loaded)
    assert idle.name == "59/38 (DH)"
    shaft_iv = here.nominal_hz("IV")
    assert here.groups[idle.group].nominal_hz * idle.order == pytest.approx(59 * shaft_iv)
    assert here.nominal_hz("38T (DH, spindle)") == pytest.approx(59 / 38 * shaft_iv)


def test_the_feed_rests_until_the_tumbler_is_said_to_be_in():
    machine = read_machine("lathe-12-speed")
    levers = dict(machine.positions[0].levers)
    at_rest = turning(machine, machine.positions[0])
    assert "rack pinion" not in at_rest.rotors
    from vibecheck.machine.parts import Position

    feeding = turning(machine, Position(levers={**levers, "T": "F", "Q": "1", "X": "8"}))
    turns = feeding.rotors["feed rod"].ratio / feeding.rotors["spindle"].ratio
    assert turns == pytest.approx(32 / 127 * 120 / 64 * 16 / 24 / 8)
    backwards = turning(machine, Position(levers={**levers, "T": "R", "Q": "1", "X": "8"}))
    assert feeding.rotors["feed rod"].reverse != backwards.rotors["feed rod"].reverse


def test_gears_are_named_as_a_machinist_would_point_at_them():
    names = {gear.name for gear in read_machine("lathe-12-speed").gears}
    assert {"62T (B2, III)", "22T (B2, II)", "spindle gear 56T", "28T (TF idler 1)"} <= names


@pytest.mark.parametrize("name", shipped_names("gear_tables", ".toml"))
def test_every_shipped_table_reads_without_a_remark(name):
    table = read_table(name)
    assert table.remarks == ()
    assert len(sweep(table.machine)) == len(table.machine.positions)


def test_a_file_of_the_name_goes_before_a_shipped_table(tmp_path, monkeypatch):
    own = tmp_path / "lathe-8-speed"
    own.write_text('name = "mine"\n[levers.A]\n1 = "20/40"\n')
    monkeypatch.chdir(tmp_path)
    assert read_machine("lathe-8-speed").name == "mine"
    assert read_machine(str(find_table("lathe-12-speed"))).name == "Twelve-speed lathe"


def test_an_installed_table_is_found_before_the_clone(tmp_path, monkeypatch):
    from vibecheck.files import shipped

    folder = tmp_path / "vibecheck" / "shipped" / "gear_tables"
    folder.mkdir(parents=True)
    (folder / "one.toml").write_text("name = 'one'")
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "vibecheck")
    assert find_table("one") == folder / "one.toml"
    assert shipped.shipped_names("gear_tables", ".toml") == ("one",)


def test_a_name_that_is_nearly_right_gets_the_right_one_offered():
    with pytest.raises(GearTableError, match='Did you mean "lathe-12-speed"'):
        read_machine("lathe-12-sped")


def test_mains_is_worked_out_from_the_motor_plate_and_said():
    table = parse_table(
        '[motor]\npoles = 4\nplate_rpm = 1725\nshaft = "I"\n[levers.A]\n1 = "20/40"'
    )
    assert table.machine.supply.mains_hz == 60.0
    assert "60 Hz taken, from the motor plate" in table.remarks[0]


def test_unequal_sums_on_one_pair_of_shafts_are_a_remark_not_a_fault():
    table = parse_table('[supply]\nmains_hz = 50\n[levers.A]\n1 = "43/41"\n2 = "22/63"')
    assert "22/63 (A2) adds to 85" in table.remarks[0]


def test_a_short_chart_leaves_positions_out_and_says_so():
    text = '[supply]\nmains_hz=50\n[levers.A]\n1 = "43/41"\n2 = "22/62"\n[chart_rpm]\nA1 = 100'
    table = parse_table(text)
    assert [p.label for p in table.machine.positions] == ["A1"]
    assert "left out: A2" in table.remarks[0]


def test_unknown_teeth_leave_the_speed_to_the_chart():
    text = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        shaft = "I"
        [levers.A]
        1 = "?/?"
        2 = "20-22/62"
        [chart_rpm]
        A1 = 500
        A2 = "?"
    """
    first, second = sweep(parse_table(text).machine)
    assert rpm(first.nominal_hz("spindle")) == pytest.approx(500)
    assert first.meshes[0].order is None
    group = second.groups[second.rotors["spindle"].group]
    assert rpm(group.low_hz) == pytest.approx(1440 * 0.95 * 20 / 62)
    assert rpm(group.high_hz) == pytest.approx(1440 * 1.05 * 22 / 62)


def test_a_neutral_setting_makes_no_chart_line_but_can_be_recorded():
    from vibecheck.machine.parts import Position

    text = (
        '[supply]\nmains_hz = 50\n[levers.A]\n1 = "30/42"\n[levers.B]\nL = "20/60"\nN = "neutral"'
    )
    machine = parse_table(text).machine
    assert [p.label for p in machine.positions] == ["A1 BL"]
    here = turning(machine, Position(levers={"A": "1", "B": "N"}))
    assert set(here.rotors) == {"I", "II"}


def test_the_starter_mentions_every_section_the_reader_knows():
    text = Path(find_table("starter")).read_text()
    for section in ("supply", "motor", "belts", "levers", "gears", "pairs", "couplings"):
        assert f"[{section}" in text
    for section in ("planetary", "bearings", "pumps", "rides_on", "feed", "chart_rpm"):
        assert f"[{section}" in text


def test_the_starter_still_reads_when_its_commented_examples_are_switched_on():
    text = Path(find_table("starter")).read_text()
    head, *sections = text.split("\n# [")
    for section in sections:
        # A commented example ends at the first blank line.
        example = "[" + section.split("\n\n")[0].replace("\n# ", "\n")
        if example.startswith(("[levers.S]", "[[couplings]]", "[rides_on]", "[chart_rpm]")):
            continue  # these would contradict the machine above them
        head += "\n" + example
    head = head.replace('"spindle gear/28/56"\n', '"spindle gear/28/56"          # again\n')
    head = head.replace('when = "TF"', "")
    machine = parse_table(head).machine
    assert machine.planetaries
    assert machine.pumps
    assert machine.feed_groups[0].name == "T"
    assert any(mesh.worm for mesh in machine.meshes)
