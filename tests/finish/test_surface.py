"""The simulated surface, counted by a counter that knows no formula of marks."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from mark_counter import count

from vibecheck.errors import UsageError
from vibecheck.finish.marks import Cut
from vibecheck.finish.prediction import predict
from vibecheck.finish.roughness import average_mm, peak_to_valley_mm
from vibecheck.finish.surface import Shake, turned_surface


def turned(hz, cut, amplitude_mm=0.0005, length_mm=4.0):
    return turned_surface(
        cut, [Shake(hz=hz, amplitude_mm=amplitude_mm)], length_mm=length_mm, columns=480
    )


@settings(deadline=None, max_examples=40)
@given(
    crests=st.integers(1, 30),
    fraction=st.floats(-0.42, 0.42),
    rpm=st.floats(50, 2000),
    direction=st.sampled_from(["to headstock", "to tailstock"]),
    spindle=st.sampled_from(["forward", "reverse"]),
)
def test_counter_and_formula_agree_on_count_spacing_and_hand(
    crests, fraction, rpm, direction, spindle
):
    assume(abs(fraction) > 0.06)
    cut = Cut(rpm=rpm, feed_mm=0.1, diameter_mm=40, direction=direction, spindle=spindle,
              rpm_uncertainty=0)  # fmt: skip
    hz = rpm / 60 * (crests + fraction)
    surface = turned(hz, cut)
    seen = count(surface.standing, surface.along_step_mm, cut.feed_mm)
    told = predict(hz, cut)
    assert seen.crests_round == told.count
    assert seen.spacing_mm == pytest.approx(told.spacing_mm, rel=0.03)
    assert ("right" if seen.rises_right else "left") == told.hand


@pytest.mark.parametrize(
    ("rpm", "crests", "spacing_mm", "rises_right"),
    [(637.2, 11, 0.334, False), (934.8, 8, 0.336, True)],
)
def test_one_tone_leaves_opposite_hands_at_two_speeds(rpm, crests, spacing_mm, rises_right):
    surface = turned(120.0, Cut(rpm=rpm, feed_mm=0.1, diameter_mm=40))
    seen = count(surface.standing, surface.along_step_mm, 0.1)
    assert (seen.crests_round, seen.rises_right) == (crests, rises_right)
    assert seen.spacing_mm == pytest.approx(spacing_mm, abs=0.004)


def test_herringbone_interleaves_from_turn_to_turn():
    cut = Cut(rpm=1308.8, feed_mm=0.1, diameter_mm=40)
    surface = turned(1308.8 / 60 * 5.5, cut)
    plain = turned_surface(cut, [], length_mm=4.0, columns=480)
    left = surface.heights_mm - plain.heights_mm
    rows = round(0.1 / surface.along_step_mm)
    assert np.corrcoef(left[5 * rows], left[6 * rows])[0, 1] < -0.5
    assert np.corrcoef(left[5 * rows], left[7 * rows])[0, 1] > 0.9


def test_no_vibration_leaves_exactly_the_kinematic_roughness():
    surface = turned_surface(Cut(rpm=500, feed_mm=0.2, diameter_mm=40), [], rows_a_feed=64)
    heights = surface.heights_mm.astype(float)
    assert heights.max() - heights.min() == pytest.approx(peak_to_valley_mm(0.2, 0.8), rel=0.01)
    average = np.abs(heights - heights.mean()).mean()
    assert average == pytest.approx(average_mm(0.2, 0.8), rel=0.01)


def test_feed_marks_are_right_hand_in_the_standing_view():
    surface = turned_surface(Cut(rpm=500, feed_mm=0.2, diameter_mm=40), [], length_mm=1.0)
    bottom = surface.standing[16:32].argmin(axis=0)
    rise = np.diff(bottom[: bottom.size // 2])
    assert (rise > 0).sum() > (rise < 0).sum()


def test_overlap_wipes_out_a_swing_that_changes_from_turn_to_turn_but_not_a_slow_one():
    cut = Cut(rpm=1000, feed_mm=0.05, diameter_mm=40)

    def left(waves):
        shake = Shake(hz=1000 / 60 * waves, amplitude_mm=0.01)
        heights = turned_surface(cut, [shake], length_mm=2.0).heights_mm
        return float(heights.max() - heights.min()) / 0.02

    assert left(5.45) < 0.5
    assert left(5.01) > 0.95


def test_a_carriage_error_stays_the_same_distance_apart_when_the_feed_changes():
    for feed in (0.1, 0.2):
        cut = Cut(rpm=180.9, feed_mm=feed, diameter_mm=40)
        surface = turned_surface(
            cut, [Shake(amplitude_mm=0.002, every_mm=7.85)], length_mm=47, columns=24
        )
        seen = count(surface.standing, surface.along_step_mm, feed)
        assert seen.spacing_mm == pytest.approx(7.85, rel=0.02)
        assert seen.crests_round == 0


def test_a_surface_needs_a_diameter_and_a_sane_size():
    with pytest.raises(UsageError, match="diameter"):
        turned_surface(Cut(rpm=100, feed_mm=0.1), [])
    with pytest.raises(UsageError, match="points"):
        turned_surface(Cut(rpm=100, feed_mm=0.1, diameter_mm=40), [], length_mm=900)
    with pytest.raises(UsageError, match="nose"):
        turned_surface(Cut(rpm=100, feed_mm=2.0, diameter_mm=40), [])
