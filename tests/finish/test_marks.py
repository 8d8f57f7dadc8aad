import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from vibecheck.errors import UsageError
from vibecheck.finish.hand import hand_of
from vibecheck.finish.marks import Cut, Marks, read
from vibecheck.finish.prediction import predict

DIRECTIONS = st.sampled_from(["to headstock", "to tailstock"])
SPINDLES = st.sampled_from(["forward", "reverse"])


@settings(deadline=None, max_examples=300)
@given(
    count=st.integers(1, 60),
    fraction=st.floats(-0.49, 0.49),
    rpm=st.floats(20, 3000),
    feed=st.floats(0.02, 1.0),
    direction=DIRECTIONS,
    spindle=SPINDLES,
)
def test_marks_to_frequency_to_marks_comes_back(count, fraction, rpm, feed, direction, spindle):
    assume(abs(fraction) > 0.02)
    cut = Cut(rpm=rpm, rpm_uncertainty=1e-6, feed_mm=feed, direction=direction, spindle=spindle)
    hand = hand_of(fraction, direction, spindle)
    spacing = feed / abs(fraction)
    assume(abs(spacing / feed - 1) > 0.1)
    marks = Marks(pattern="slanted", count=count, spacing_mm=spacing, hand=hand)
    (possibility,) = read(marks, cut).possibilities
    assert possibility.hz == pytest.approx(rpm / 60 * (count + fraction), rel=1e-9)
    back = predict(possibility.hz, cut)
    assert back.count == count
    assert back.fraction == pytest.approx(fraction, abs=1e-6)
    assert back.spacing_mm == pytest.approx(spacing, rel=1e-4)
    if back.pattern == "slanted":
        assert back.hand == hand


@settings(deadline=None, max_examples=200)
@given(
    waves=st.floats(0.6, 40),
    rpm=st.floats(30, 2000),
    off=st.floats(-1, 1),
    spacing_off=st.floats(-1, 1),
)
def test_the_true_tone_lies_within_the_limits_when_the_readings_do(waves, rpm, off, spacing_off):
    cut = Cut(rpm=rpm, feed_mm=0.1)
    true = rpm * (1 + 0.002 * off * 0.7) / 60 * waves
    expected = predict(true, Cut(rpm=rpm * (1 + 0.002 * off * 0.7), feed_mm=0.1))
    assume(expected.pattern == "slanted" and expected.spacing_mm < 50)
    spacing = expected.spacing_mm * (1 + 0.05 * 0.7 * spacing_off)
    assume(spacing < 49 and spacing > 0.2)
    hand = "left" if expected.fraction > 0 else "right"
    marks = Marks(pattern="slanted", count=expected.count, spacing_mm=spacing, hand=hand)
    (possibility,) = read(marks, cut).possibilities
    assert abs(possibility.hz - true) <= possibility.hz_uncertainty * 1.02


def test_both_signs_are_given_when_the_hand_is_not_known():
    reading = read(
        Marks(pattern="slanted", count=11, spacing_mm=0.333), Cut(rpm=637.2, feed_mm=0.1)
    )
    assert [round(p.hz, 1) for p in reading.possibilities] == [113.6, 120.0]


def test_reversing_the_feed_alone_turns_the_meaning_of_the_hand():
    marks = Marks(pattern="slanted", count=11, spacing_mm=0.333, hand="left")
    there = read(marks, Cut(rpm=637.2, feed_mm=0.1)).possibilities[0].hz
    back = read(marks, Cut(rpm=637.2, feed_mm=0.1, direction="to tailstock")).possibilities[0].hz
    both = read(
        marks, Cut(rpm=637.2, feed_mm=0.1, direction="to tailstock", spindle="reverse")
    ).possibilities[0]
    assert there == pytest.approx(120.0, abs=0.1)
    assert back == pytest.approx(113.6, abs=0.1)
    assert both.hz == pytest.approx(there)


def test_a_count_too_high_for_the_speed_is_refused_but_bounded():
    # 98.02 waves a turn at 61.2 rpm: 0.02 % in the speed doubles or halves the spacing.
    reading = read(Marks(pattern="slanted", count=98, spacing_mm=5.2), Cut(rpm=61.2, feed_mm=0.1))
    assert "means nothing" in reading.refusal
    assert "0.1 %" in reading.remedy
    low, high = reading.coarse_hz
    assert low < 100 < high


@pytest.mark.parametrize("percent", [0.5, 0.88, 0.9, 2.0])
def test_refusal_starts_where_count_times_speed_error_passes_a_tenth(percent):
    cut = Cut(rpm=637.2, feed_mm=0.1, rpm_uncertainty=percent / 100)
    reading = read(Marks(pattern="slanted", count=11, spacing_mm=0.333, hand="left"), cut)
    assert bool(reading.refusal) == (11.3003 * percent / 100 > 0.1)


def test_marks_one_feed_apart_are_called_feed_marks():
    reading = read(Marks(pattern="bands", spacing_mm=0.21), Cut(rpm=500, feed_mm=0.2))
    assert "feed marks" in reading.refusal
    assert reading.possibilities == ()


def test_nothing_can_be_closer_than_two_feeds():
    reading = read(Marks(pattern="slanted", count=5, spacing_mm=0.3), Cut(rpm=500, feed_mm=0.2))
    assert "two feeds" in reading.refusal


def test_straight_flutes_are_a_whole_number_good_to_the_drift_looked_for():
    marks = Marks(pattern="straight", count=56, length_mm=20)
    (possibility,) = read(marks, Cut(rpm=600, feed_mm=0.1)).possibilities
    assert possibility.waves == 56
    assert possibility.waves_uncertainty == pytest.approx(0.25 * 0.1 / 20)


def test_a_herringbone_may_be_half_a_wave_either_way_until_counted_along_a_groove():
    cut = Cut(rpm=1308.8, feed_mm=0.1)
    either = read(Marks(pattern="herringbone", count=5), cut).possibilities
    assert [round(p.waves, 1) for p in either] == [4.5, 5.5]
    (one,) = read(Marks(pattern="herringbone", count=5.5), cut).possibilities
    assert one.hz == pytest.approx(119.97, abs=0.01)


def test_pitch_along_the_skin_stands_in_for_a_count():
    # f = pi D f_s / pitch, the rule of grinding shops (common practice).
    cut = Cut(rpm=600, feed_mm=0.1, diameter_mm=40)
    (possibility,) = read(Marks(pitch_mm=math.pi * 40 / 8.0), cut).possibilities
    assert possibility.hz == pytest.approx(80.0)
    assert possibility.waves_uncertainty == pytest.approx(8 * 0.03)


def test_pitch_and_spacing_together_give_every_count_that_fits():
    cut = Cut(rpm=600, feed_mm=0.1, diameter_mm=40)
    marks = Marks(
        pattern="slanted", pitch_mm=math.pi * 40 / 30, pitch_uncertainty_mm=0.2, spacing_mm=0.5,
        hand="left",
    )  # fmt: skip
    waves = [p.waves for p in read(marks, cut).possibilities]
    assert len(waves) > 1
    assert all(w % 1 == pytest.approx(0.2) for w in waves)


def test_bands_have_no_count_and_their_rate_is_feed_speed_over_spacing():
    (possibility,) = read(
        Marks(pattern="bands", spacing_mm=7.85), Cut(rpm=180.9, feed_mm=0.1)
    ).possibilities
    assert possibility.hz == pytest.approx(180.9 / 60 * 0.1 / 7.85)


@pytest.mark.parametrize(
    ("given_marks", "message"),
    [
        ({"pattern": "bands"}, "spacing"),
        ({"pattern": "slanted", "count": 4}, "spacing"),
        ({"pattern": "straight"}, "count"),
        ({"count": 4.5}, "whole"),
        ({"count": -1}, "whole"),
        ({"pattern": "bands", "spacing_mm": 1.0, "count": 4}, "slanted"),
        ({"count": 3, "spacing_mm": float("nan")}, "above 0"),
    ],
)
def test_marks_that_make_no_sense_are_refused(given_marks, message):
    with pytest.raises(UsageError, match=message):
        Marks(**given_marks)


@pytest.mark.parametrize(
    "bad", [{"rpm": 0}, {"feed_mm": -1}, {"diameter_mm": 0}, {"rpm_uncertainty": 2}]
)
def test_cuts_that_make_no_sense_are_refused(bad):
    with pytest.raises(UsageError):
        Cut(**({"rpm": 100, "feed_mm": 0.1} | bad))


def test_a_prediction_too_uncertain_says_so_instead_of_a_spacing():
    expected = predict(100.0, Cut(rpm=61.2, feed_mm=0.1))
    assert expected.pattern == "unknown"
    assert "cannot be foretold" in expected.refusal
    assert expected.spacing_range_mm[1] == math.inf


def test_a_lumpy_belt_at_180_rpm_leaves_four_starts():
    # 13.09 Hz (twice the belt rate) at 180.9 rpm is N = 4.34; 6.545 Hz is 2.17.
    cut = Cut(rpm=180.9, feed_mm=0.1)
    assert predict(13.09, cut).waves == pytest.approx(4.34, abs=0.005)
    assert predict(6.545, cut).waves == pytest.approx(2.17, abs=0.005)
