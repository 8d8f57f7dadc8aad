"""Speeds and tooth-meeting rates against worked examples; each says where it comes from."""

from math import log10

import pytest

from vibecheck.files.gear_table import parse_table
from vibecheck.machine.parts import Known, Planetary
from vibecheck.machine.ratios import planetary_ratio
from vibecheck.machine.tones import hunting_divisor, tones
from vibecheck.machine.turning import sweep
from vibecheck.units import rpm


def test_the_two_stage_gearbox_of_the_phm_society_2009_challenge():
    """Teeth: PHM Society 2009 challenge apparatus (read); hertz by definition."""
    table = """
        [supply]
        mains_hz = 60
        [motor]
        plate_rpm = 1800
        shaft = "input"
        [levers.gearbox]
        between = ["input", "spindle"]
        through = "idler shaft"
        1 = ["32/96", "48/80"]
    """
    (here,) = sweep(parse_table(table).machine)
    assert here.nominal_hz("idler shaft") == pytest.approx(10.0)
    assert here.nominal_hz("spindle") == pytest.approx(6.0)
    rates = {(t.part.split()[0], t.nature): t.hz(here) for t in tones(here)}
    assert rates["32/96", "mesh"] == pytest.approx(960.0)
    assert rates["48/80", "mesh"] == pytest.approx(480.0)
    assert rates["32/96", "hunting tooth"] == pytest.approx(10.0)
    assert rates["48/80", "hunting tooth"] == pytest.approx(2.0)


def test_a_pair_of_8_and_42_teeth_at_20_rpm():
    """By definition: mesh 160 a minute, same teeth 0.952 a minute."""
    table = '[supply]\nmains_hz = 50\n[levers.A]\n1 = "8/42"\n'
    (here,) = sweep(parse_table(table).machine)
    (work,) = here.meshes
    assert work.order * 20 == pytest.approx(160.0)
    assert work.order * 20 / hunting_divisor(work) == pytest.approx(0.952, abs=5e-4)


def test_a_planetary_stage_of_21_43_and_108_teeth():
    """Ratio: lecture listing, University of Ljubljana (read); hertz by definition."""
    table = """
        [supply]
        mains_hz = 60
        [motor]
        plate_rpm = 1800
        shaft = "sun shaft"
        [planetary.stage]
        between = ["sun shaft", "spindle"]
        sun = 21
        planet = 43
        ring = 108
        held = "ring"
    """
    (here,) = sweep(parse_table(table).machine)
    assert here.nominal_hz("sun shaft") / here.nominal_hz("spindle") == pytest.approx(
        6.142857, abs=1e-6
    )
    assert here.nominal_hz("spindle") == pytest.approx(4.884, abs=5e-4)
    mesh = next(t.hz(here) for t in tones(here) if t.nature == "planet mesh")
    assert mesh == pytest.approx(527.44, abs=5e-3)


@pytest.mark.parametrize(
    ("held", "input_member", "ratio"),
    [("ring", "sun", 21 / 129), ("sun", "ring", 108 / 129), ("carrier", "sun", 21 / 108)],
)
def test_a_planetary_stage_by_willis_equation(held, input_member, ratio):
    """Willis' equation, any textbook of mechanisms (from memory)."""
    stage = Planetary(
        name="p",
        input="a",
        output="b",
        sun_teeth=Known.exactly(21),
        ring_teeth=Known.exactly(108),
        held=held,
        input_member=input_member,
    )
    assert planetary_ratio(stage) == pytest.approx(ratio)


def test_the_twelve_speed_teaching_head():
    """Machine-tool design lectures (from memory): a 12-speed head of three levers."""
    table = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1440
        [belts.V]
        pulleys = "126/256 mm"
        slip = 0.0
        [levers.A]
        1 = "36/36"
        2 = "30/42"
        3 = "24/48"
        [levers.B]
        1 = "42/42"
        2 = "22/62"
        [levers.C]
        1 = "60/30"
        2 = "18/72"
    """
    published = [31.5, 45, 63, 88.8, 126.8, 177.5, 251.9, 359.9, 503.9, 710, 1014, 1420]
    machine = parse_table(table).machine
    shaft_one = {round(rpm(here.nominal_hz("I"))) for here in sweep(machine)}
    assert shaft_one.pop() == pytest.approx(710, rel=5e-3)
    # The lecture goes on from 710 rpm on shaft I; so does this check.
    speeds = sorted(here.rotors["spindle"].ratio * 710 for here in sweep(machine))
    assert speeds == pytest.approx(published, rel=3e-3)


def test_the_twenty_four_speed_teaching_lathe_with_back_gear():
    """Machine-tool design lectures (from memory): 12.5 to 2000 rpm, 23 of them different."""
    table = """
        [supply]
        mains_hz = 50
        [motor]
        plate_rpm = 1450
        [belts.V]
        pulleys = "142/254 mm"
        slip = "0.015"
        [levers.A]
        between = ["I", "II"]
        1 = "56/34"
        2 = "51/39"
        [levers.B]
        between = ["II", "III"]
        1 = "38/38"
        2 = "29/47"
        3 = "21/55"
        [levers.D]
        between = ["III", "spindle"]
        through = "back gear"
        H = "65/43"
        1 = ["45/45", "45/45", "26/52"]
        2 = ["45/45", "22/88", "26/52"]
        3 = ["22/88", "22/88", "26/52"]
    """
    speeds = sorted(rpm(here.nominal_hz("spindle")) for here in sweep(parse_table(table).machine))
    assert len(speeds) == 24
    assert (speeds[0], speeds[-1]) == pytest.approx((12.46, 1988), rel=1e-2)
    # On the chart's series, ten steps to a decade, two of the 24 fall on one number.
    assert len({round(10 * log10(speed)) for speed in speeds}) == 23


def test_synchronous_speed_is_120_times_the_frequency_over_the_poles():
    """By definition; slip of an unloaded motor lies within a few per cent below it."""
    table = '[supply]\nmains_hz=60\n[motor]\npoles = 6\nshaft = "I"\n[levers.A]\n1 = "30/30"'
    (here,) = sweep(parse_table(table).machine)
    group = here.groups[here.rotors["I"].group]
    assert rpm(group.low_hz) < 1152 < rpm(group.nominal_hz) < 1200 < rpm(group.high_hz)
