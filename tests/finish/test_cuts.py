import pytest

from vibecheck.finish.cuts import common, steady
from vibecheck.finish.marks import Cut, Marks, read
from vibecheck.finish.naming import Candidate, name
from vibecheck.finish.prediction import predict
from vibecheck.finish.second_cut import second_cut


def reading(rpm, feed=0.1, **marks):
    return read(Marks(**marks), Cut(rpm=rpm, feed_mm=feed))


def left_by(hz, rpm, feed=0.1, hand=True):
    """The reading a careful person would take of marks left by ``hz``."""
    cut = Cut(rpm=rpm, feed_mm=feed)
    seen = predict(hz, Cut(rpm=rpm, feed_mm=feed, rpm_uncertainty=0))
    assert seen.pattern == "slanted"
    return read(
        Marks(pattern="slanted", count=seen.count, spacing_mm=round(seen.spacing_mm, 3),
              hand=seen.hand if hand else "unknown"), cut,
    )  # fmt: skip


THREE = [
    reading(637.2, pattern="slanted", count=11, spacing_mm=0.33, hand="left"),
    reading(934.8, pattern="slanted", count=8, spacing_mm=0.34, hand="right"),
    reading(1308.8, pattern="herringbone", count=5),
]


def test_three_different_patterns_are_one_frequency():
    best = steady(THREE)[0]
    assert best.kind == "fixed hertz"
    assert best.value == pytest.approx(120, abs=1)


def test_two_cuts_settle_the_sign_that_one_leaves_open():
    pair = [left_by(120.0, 637.2, hand=False), left_by(120.0, 934.8, hand=False)]
    assert [len(r.possibilities) for r in pair] == [2, 2]
    found = steady(pair)
    assert [round(s.value) for s in found] == [120]


def test_a_source_that_turns_with_the_spindle_is_a_fixed_multiple():
    found = steady([left_by(9.6 / 60 * 600, 600), left_by(9.6 / 60 * 900, 900)])
    assert [s.kind for s in found] == ["fixed multiple"]
    assert found[0].value == pytest.approx(9.6, abs=0.02)


def test_the_same_distance_at_two_feeds_is_the_carriage():
    found = steady([reading(180.9, pattern="bands", spacing_mm=7.85),
                    reading(180.9, feed=0.2, pattern="bands", spacing_mm=7.85)])  # fmt: skip
    assert [s.kind for s in found] == ["fixed millimetres"]


def test_bands_that_grow_with_the_feed_are_not_the_carriage():
    found = steady([reading(180.9, pattern="bands", spacing_mm=0.4),
                    reading(180.9, feed=0.2, pattern="bands", spacing_mm=0.8)])  # fmt: skip
    assert {s.kind for s in found} == {"fixed hertz"}


def test_two_speeds_at_one_feed_never_prove_the_carriage():
    # One 120 Hz tone leaves nearly the same spacing at these two speeds.
    found = steady([reading(637.2, pattern="bands", spacing_mm=0.333),
                    reading(934.8, pattern="bands", spacing_mm=0.333)])  # fmt: skip
    assert all(s.kind != "fixed millimetres" for s in found)


def test_one_cut_alone_is_steady_in_nothing():
    assert steady(THREE[:1]) == ()


def test_only_names_that_fit_at_every_cut_are_kept():
    tables = [
        [Candidate(name="mains", hz=120.0, uncertainty_hz=0.2), Candidate(name="gear", hz=119.9)],
        [Candidate(name="mains", hz=120.0, uncertainty_hz=0.2), Candidate(name="gear", hz=176.0)],
    ]
    assert [c.name for c in common(THREE[:2], tables)] == ["mains"]


def test_a_refused_reading_names_nothing():
    refused = reading(61.2, pattern="slanted", count=98, spacing_mm=5.2)
    assert name(refused, [Candidate(name="mains", hz=100.0)]).fits == ()


def test_an_error_of_the_speed_cancels_for_what_teeth_tie_to_the_spindle():
    true_rpm, told_rpm = 637.2, 637.2 * 1.004
    seen = predict(120.2, Cut(rpm=true_rpm, feed_mm=0.1))
    marks = Marks(pattern="slanted", count=11, spacing_mm=seen.spacing_mm, hand="left",
                  spacing_uncertainty_mm=0.002)  # fmt: skip
    found = read(marks, Cut(rpm=told_rpm, feed_mm=0.1, rpm_uncertainty=0.001))
    ratio = 120.2 / true_rpm
    tied = Candidate(name="gear", hz=ratio * told_rpm, geared=True)
    free = Candidate(name="belt", hz=120.2)
    assert [f.candidate.name for f in name(found, [tied, free]).fits] == ["gear"]


def test_a_crowd_of_candidates_makes_a_fit_worth_little():
    crowd = [Candidate(name=str(i), hz=80 + i, uncertainty_hz=0.5) for i in range(100)]
    assert name(THREE[0], crowd).by_chance > 0.3
    assert name(THREE[0], crowd[:1]).by_chance < 0.05


def test_the_second_cut_is_the_one_that_parts_most_suspects():
    same, parts = Cut(rpm=400, feed_mm=0.1), Cut(rpm=500, feed_mm=0.1)
    found = second_cut(
        [(same, {"a": 40.0, "b": 40.1, "c": 40.05}), (parts, {"a": 40.0, "b": 45.0, "c": 50.2})]
    )
    assert found is not None
    assert found.cut is parts
    assert len(found.groups) == 3


def test_no_cut_is_offered_that_parts_nothing_or_was_taken():
    cut = Cut(rpm=400, feed_mm=0.1)
    assert second_cut([(cut, {"a": 40.0, "b": 40.1})]) is None
    assert second_cut([(cut, {"a": 40.0, "b": 50.0})], taken=[cut]) is None


def test_a_cut_too_slow_for_the_fraction_parts_nothing():
    assert second_cut([(Cut(rpm=30, feed_mm=0.1), {"a": 100.0, "b": 110.0})]) is None
