import datetime

import pytest

from vibecheck.finish.readings import (
    Reading,
    proportional,
    slide_lift,
    spindle_lift,
    taper,
    times_good_taper,
)
from vibecheck.units import mm

# Common practice of machine rebuilding, without a source.


def test_two_thou_over_a_five_inch_gauge_is_about_seven_over_an_eighteen_inch_carriage():
    assert round(proportional(0.002, 5.0, 18.0), 3) == 0.007
    assert proportional(mm(0.002), mm(5.0), mm(18.0)) == pytest.approx(mm(0.0072))


def test_four_thou_over_two_and_a_half_inches_is_twenty_times_a_good_machine():
    assert taper(0.004, 2.5) == pytest.approx(0.0016)
    assert times_good_taper(mm(0.004), mm(2.5)) == pytest.approx(20.0)


def test_half_a_thou_under_fifty_pounds_clears_the_spindle():
    assert spindle_lift(mm(0.0005), 222.4) == "not the suspect"
    assert spindle_lift(mm(0.0005), 50.0) == "open"
    assert spindle_lift(mm(0.003), 222.4) == "suspect"
    assert spindle_lift(mm(0.003), 0.0) == "open"


@pytest.mark.parametrize("middle_in", [0.008, 0.009, 0.010])
def test_a_slide_that_lifts_in_mid_travel_and_not_at_its_end_is_the_suspect(middle_in):
    assert slide_lift(mm(middle_in), 0.0) == "suspect"
    assert slide_lift(mm(middle_in), mm(middle_in)) == "not the suspect"


def test_a_reading_judges_itself_by_its_kind():
    said = Reading(kind="spindle lift", value_mm=mm(0.0004), pull_n=222.0, place="nose",
                   date=datetime.date(2031, 4, 5))  # fmt: skip
    assert said.suspicion == "not the suspect"


def test_a_length_of_zero_is_no_length():
    with pytest.raises(ValueError, match="above 0"):
        proportional(0.1, 0.0, 1.0)
