"""Single takes of public measured records, one set of settings for all.

CWRU: Case Western Reserve University bearing data centre; Smith & Randall 2015, Mech. Syst. Signal
Process. 64-65:100-131 grade 105 and 130 "Y", 158 "Y", 119 "N" (read second-hand). True speeds of
158 and 279: from the recordings' own shaft lines, as the set's notes say. Others: see measured.py.
"""

import measured
import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.single.one_take import hear_bearing
from vibecheck.diagnosis.single.unknown_bearing import unknown_bearing
from vibecheck.diagnosis.suspects.rolling import MOTOR_DEEP
from vibecheck.spectra.envelope import band_envelope, envelope_spectrum, transformed


def families_of(bearing):
    return bearing_families(elements=bearing.elements, ball_mm=bearing.ball, pitch_mm=bearing.pitch)


def judged(record, channel, bearing, **more):
    families = families_of(bearing)
    samples = record[channel] if channel else record.first
    stated = (record.stated_rpm or 1797.0) / 60
    return hear_bearing(samples, record.rate_hz, shaft_hz=stated, families=families, **more)


@pytest.mark.parametrize(
    ("number", "channel", "bearing", "race"),
    [
        (105, "DE", measured.DRIVE_END, "inner"),
        (279, "FE", measured.FAN_END, "inner"),
        (130, "DE", measured.DRIVE_END, "outer"),
        (158, "DE", measured.DRIVE_END, "outer"),
        (294, "FE", measured.FAN_END, "outer"),
    ],
)
def test_cwru_faults_are_named(number, channel, bearing, race):
    heard = judged(measured.cwru(number), channel, bearing)
    assert heard.named == race
    assert heard.verdict in ("likely", "shown")


def test_a_faint_ball_fault_is_named_as_no_race():
    # 3005: ball, 0.028 in; its label says weak
    heard = judged(measured.cwru(3005), "DE", measured.DRIVE_END)
    assert heard.named in ("", "roller")
    assert heard.verdict != "not shown"


def test_blows_outside_every_slip_are_told_without_naming_a_race():
    # 3001 is labelled inner race, 0.028 in. Its families lie at 3.678 and 5.322 times the shaft:
    # they add up to its nine balls, but not to the 3.585 and 5.415 of the stated geometry
    heard = judged(measured.cwru(3001), "DE", measured.DRIVE_END)
    assert heard.named == ""
    assert heard.verdict == "cannot tell"
    assert heard.other_order == pytest.approx(3.678, abs=0.003)
    assert "another make" in heard.reasons[-1]


@pytest.mark.parametrize("name", ["IR2", "OR2"])
def test_hit_faults_are_named(name):
    race = {"I": "inner", "O": "outer"}[name[0]]
    assert judged(measured.hit(name), None, measured.HIT).named == race


@pytest.mark.parametrize(
    ("letter", "race", "rpm"), [("I", "inner", 1406.8), ("O", "outer", 1495.1)]
)
def test_uestc_faults_are_named_at_the_speed_found_from_the_signal(letter, race, rpm):
    # rpm: first whole multiples of the shaft in the plain spectrum, read off by hand from ours
    heard = judged(measured.uestc(letter), None, measured.UESTC)
    assert heard.named == race
    assert 60 * heard.shaft_hz == pytest.approx(rpm, rel=2e-3)


@pytest.mark.parametrize("axis", "XYZ")
@pytest.mark.parametrize("code", ["HIR", "HOR"])
def test_simulator_faults_are_named_on_every_axis(code, axis):
    race = {"HIR": "inner", "HOR": "outer"}[code]
    assert judged(measured.adi(f"{code}_GS_BaLo_WA"), axis, measured.ADI).named == race


@pytest.mark.parametrize("channel", ["DE", "FE"])
def test_cwru_119_is_never_named_wrong(channel):
    assert judged(measured.cwru(119), channel, measured.DRIVE_END).named in ("", "roller")


def test_cwru_3005_is_never_named_wrong():
    assert judged(measured.cwru(3005), "DE", measured.DRIVE_END).named in ("", "roller")


def test_cwru_3001_is_never_named_wrong():
    # this record's strongest family lies 2.6 % above the stated geometry's outer race, beyond any
    # slip; its inner race line is faint. Nothing is named.
    assert judged(measured.cwru(3001), "DE", measured.DRIVE_END).named in ("", "inner")


@pytest.mark.parametrize(
    ("load", "channel", "bearing"),
    [
        (lambda: measured.cwru(97), "DE", measured.DRIVE_END),
        (lambda: measured.cwru(97), "FE", measured.FAN_END),
        (lambda: measured.hit("Normal"), None, measured.HIT),
        (lambda: measured.adi("GoB_GS_BaLo_WA"), "X", measured.ADI),
        (lambda: measured.adi("GoB_GS_BaLo_WA"), "Y", measured.ADI),
        (lambda: measured.adi("GoB_GS_BaLo_WA"), "Z", measured.ADI),
        (lambda: measured.gearbox("h30hz0"), "a1", measured.ADI),
        (lambda: measured.gearbox("h30hz90"), "a2", measured.DRIVE_END),
    ],
)
def test_sound_machines_are_clean(load, channel, bearing):
    heard = judged(load(), channel, bearing)
    assert heard.verdict == "not shown"


@pytest.mark.parametrize("part", ["Healthy_Hi-Fi", "Healthy_NewBearingHi-Fi_7"])
def test_sound_motors_are_clean_by_microphone(part):
    record = measured.motor_sound(part)
    assert judged(record, None, measured.MOTOR, quantity="pressure").verdict == "not shown"


def test_a_severely_damaged_motor_bearing_is_heard_by_microphone():
    record = measured.motor_sound("DamagedBearing_SevereHi-Fi_07")
    assert judged(record, None, measured.MOTOR, quantity="pressure").named in (
        "outer",
        "inner",
        "roller",
        "cage",
    )


@pytest.mark.parametrize(
    ("number", "channel", "stated", "true"), [(158, "DE", 1773, 1796), (279, "FE", 1732, 1774)]
)
def test_wrong_stored_speeds_are_contradicted(number, channel, stated, true):
    record = measured.cwru(number)
    assert record.stated_rpm == pytest.approx(stated, abs=1)
    heard = judged(record, channel, measured.DRIVE_END)
    assert 60 * heard.speed.hz == pytest.approx(true, abs=1)
    assert "stated speed" in heard.contradiction


@pytest.mark.parametrize(("number", "rpm"), [(105, 1796), (130, 1796), (158, 1797)])
def test_speed_and_race_are_found_with_no_speed_given(number, rpm):
    record = measured.cwru(number)
    heard = hear_bearing(
        record["DE"], record.rate_hz, shaft_hz=None, families=families_of(measured.DRIVE_END)
    )
    assert 60 * heard.shaft_hz == pytest.approx(rpm, abs=1)
    assert heard.named == ("inner" if number == 105 else "outer")


def test_right_stored_speeds_are_not_contradicted():
    for number in (105, 119, 130):
        assert judged(measured.cwru(number), "DE", measured.DRIVE_END).contradiction == ""


@pytest.mark.parametrize("code", ["GoB_GS_VLIL_WA", "GoB_GS_HImL_WA", "GoB_GS_VHIL_WA"])
def test_an_unbalanced_rotor_is_not_called_a_bearing(code):
    for axis in "XYZ":
        heard = judged(measured.adi(code), axis, measured.ADI)
        assert heard.named not in ("outer", "inner", "roller", "cage")


@pytest.mark.parametrize(
    ("load", "channel", "count", "race"),
    [
        (lambda: measured.cwru(105), "DE", 9, "inner"),
        (lambda: measured.cwru(158), "DE", 9, "outer"),
        (lambda: measured.cwru(279), "FE", 8, "inner"),
        (lambda: measured.cwru(294), "FE", 8, "outer"),
        (lambda: measured.hit("OR2"), None, 9, "outer"),
        (lambda: measured.uestc("O"), None, 8, "outer"),
        (lambda: measured.uestc("I"), None, 8, "inner"),
    ],
)
def test_element_count_and_race_are_read_with_the_geometry_withheld(load, channel, count, race):
    record = load()
    samples = record[channel] if channel else record.first
    found = unknown_bearing(samples, record.rate_hz, shaft_hz=record.stated_rpm / 60)
    assert found.found
    assert (count, race) in [(each.elements, each.race) for each in found.readings[:2]]


@pytest.mark.parametrize(
    ("load", "channel", "count", "race"),
    [
        (lambda: measured.cwru(130), "DE", 9, "outer"),
        (lambda: measured.cwru(130), "FE", 9, "outer"),
        (lambda: measured.cwru(158), "FE", 9, "outer"),
        (lambda: measured.cwru(105), "FE", 9, "inner"),
        (lambda: measured.uestc("O"), None, 8, "outer"),
        (lambda: measured.adi("HIR_GS_BaLo_WA"), "Y", 8, "inner"),
        (lambda: measured.adi("HOR_GS_BaLo_WA"), "X", 8, "outer"),
    ],
)
def test_the_first_reading_of_an_unknown_bearing_is_the_right_one(load, channel, count, race):
    record = load()
    samples = record[channel] if channel else record.first
    found = unknown_bearing(samples, record.rate_hz, shaft_hz=record.stated_rpm / 60)
    assert (found.readings[0].elements, found.readings[0].race) == (count, race)


def test_sound_cwru_record_shows_no_bearing_of_any_size():
    record = measured.cwru(97)
    for channel in ("DE", "FE"):
        found = unknown_bearing(record[channel], record.rate_hz, shaft_hz=1796 / 60)
        assert max([family.depth for family in found.families], default=0.0) < 0.15


def test_a_snapshot_too_short_to_name_anything_says_so():
    record = measured.snapshot(2800)
    heard = judged(
        measured.Record(record.channels, record.rate_hz, 1800.0), "horizontal", measured.DRIVE_END
    )
    assert heard.verdict == "cannot tell"
    assert "would do" in heard.reasons[0]


def test_run_to_failure_level_rises():
    early, late = (
        np.mean([measured.snapshot(n)["horizontal"].std() for n in numbers])
        for numbers in (range(1, 6), range(2796, 2801))
    )
    assert late > 3 * early


def test_bearings_that_are_not_there_are_never_named():
    # invented geometries none of whose orders lie within 4.5 % of the true bearing's
    rng = np.random.default_rng(11)
    tried = 0
    for number, channel in ((105, "DE"), (130, "DE"), (158, "FE"), (119, "DE"), (97, "DE")):
        record = measured.cwru(number)
        true = [family.order for family in families_of(measured.DRIVE_END)]
        for _ in range(8):
            elements, ratio = int(rng.integers(7, 17)), rng.uniform(0.14, 0.32)
            families = bearing_families(elements=elements, ball_mm=ratio, pitch_mm=1.0)
            near = [abs(f.order / t - 1) < 0.045 for f in families for t in true]
            if any(near):
                continue
            tried += 1
            heard = hear_bearing(
                record[channel], record.rate_hz, shaft_hz=1790 / 60, families=families
            )
            assert heard.named == ""
    assert tried >= 12


def depth_at(part, order):
    """Depth of the envelope's line nearest an order of the motor, in the octave where most."""
    record = measured.motor_sound(part)
    turn = record.stated_rpm / 60
    whole = transformed(record.first[: int(10 * record.rate_hz)], record.rate_hz)
    deepest = 0.0
    for low in (500.0, 1000.0, 2000.0, 4000.0, 8000.0):
        band = band_envelope(whole, low, 2 * low, top=400.0)
        level = envelope_spectrum(band, top=400.0, low=low, high=2 * low)
        near = np.abs(level.depth.frequencies / turn - order) < 0.02
        strong = near & (level.significance.values > 50.0)
        deepest = max([deepest, *level.depth.values[strong]])
    return float(deepest)


@pytest.mark.parametrize("part", ["Healthy_Hi-Fi", "Healthy_NewBearingHi-Fi_7"])
def test_a_sound_motors_bearing_is_heard_as_well_but_not_so_deep_as_a_bad_one(part):
    # inner race of its eight balls: 8 - 3.08. Heard 24 and 31 dB over the floor in sound bearings,
    # one of them new: the reason why a shallow family on a motor is possible at most
    assert 0.3 < depth_at(part, 4.92) < MOTOR_DEEP
    assert depth_at("DamagedBearing_SevereHi-Fi_07", 3.09) > 2 * MOTOR_DEEP
