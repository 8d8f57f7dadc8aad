"""Finish formulas against values that come from outside this package.

Each check names its source. "Definition" means it follows from the geometry and was worked out
here by another route (numerical integration of the outline).
"""

import numpy as np
import pytest

from vibecheck.finish import roughness
from vibecheck.finish.judgement import GRADES_UM
from vibecheck.units import inch, mm


def test_peak_to_valley_agrees_with_the_textbook_short_form_and_the_exact_circle():
    # Textbooks of metal cutting, h = f^2 / (8 r); 0.2 mm and 0.8 mm: 6.25 um, exact 6.275 (from
    # the circle, definition).
    assert 1000 * roughness.peak_to_valley_short_mm(0.2, 0.8) == pytest.approx(6.25)
    assert 1000 * roughness.peak_to_valley_mm(0.2, 0.8) == pytest.approx(6.275, abs=5e-4)
    assert roughness.peak_to_valley_mm(0.2, 0.8) == pytest.approx(0.8 - np.sqrt(0.64 - 0.01))


def test_average_of_parabolas_is_one_over_eighteen_root_three():
    # Definition: mean |y - mean y| of y = x^2 over one groove, integrated numerically here.
    x = (np.arange(1_000_001) - 500_000) / 1_000_000
    y = x * x / 2
    assert np.abs(y - y.mean()).mean() == pytest.approx(roughness.SHORT_RA, rel=1e-5)
    assert pytest.approx(0.032075, abs=1e-6) == roughness.SHORT_RA


def test_the_shop_form_is_two_and_a_half_percent_low():
    # f^2 / (32 r) is the shop form (common practice, from memory).
    assert pytest.approx(-0.026, abs=5e-4) == (1 / 32) / roughness.SHORT_RA - 1


@pytest.mark.parametrize("feed_of_nose", [0.01, 0.019, 0.021, 0.25, 1.0, 1.9])
def test_exact_average_agrees_with_integrating_the_circle(feed_of_nose):
    # Definition, by numerical integration.
    x = (np.arange(400_000) + 0.5) / 400_000 * feed_of_nose / 2
    y = 1 - np.sqrt(1 - x * x)
    expected = np.abs(y - y.mean()).mean()
    assert roughness.average_mm(feed_of_nose, 1.0) == pytest.approx(expected, rel=2e-4)


def test_inch_example_gives_about_two_hundred_microinch():
    # Definition: f 0.014 in, r 1/32 in, short form, about 201 microinch.
    assert 1e6 * inch(roughness.average_short_mm(mm(0.014), mm(1 / 32))) == pytest.approx(
        201, abs=1
    )


def test_grades_are_those_of_the_drawing_standard():
    # ISO 1302:1992 grade numbers, from memory: N6 0.8 um, N7 1.6, N8 3.2; each twice the last.
    assert (GRADES_UM["N6"], GRADES_UM["N7"], GRADES_UM["N8"]) == (0.8, 1.6, 3.2)


def test_rubbing_makes_a_finer_feed_worse_below_some_feed():
    # Brammertz 1961, formula from memory; only its shape is checked: a least value exists.
    feeds = np.linspace(0.02, 0.4, 200)
    heights = [roughness.rubbing_peak_to_valley_mm(float(f), 0.8, 0.005) for f in feeds]
    best = int(np.argmin(heights))
    assert 0 < best < len(feeds) - 1
