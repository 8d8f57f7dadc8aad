"""Sizes of readings: when they speak for a fault, and how far."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.chance.scales import SizeLaw

LAW = SizeLaw(healthy=1.0, healthy_spread=0.4, faulty=7.0, faulty_spread=0.7, shape=2.0)


def test_readings_of_the_faulty_size_speak_for_a_fault_and_those_of_the_healthy_against():
    assert LAW.log_odds([7.0, 8.0, 6.0, 9.0]) > 5.0
    assert LAW.log_odds([1.0, 0.7, 1.2, 0.9]) < -3.0


def test_no_reading_says_nothing():
    assert LAW.log_odds([]) == 0.0


def test_the_order_of_the_readings_does_not_matter():
    readings = [0.4, 9.0, 3.0, 1.1]
    assert LAW.log_odds(readings) == pytest.approx(LAW.log_odds(readings[::-1]), abs=1e-9)


def test_a_lively_healthy_part_is_no_surprise_twice():
    """Takes of one part share its size: the fifth take adds less than five first ones would."""
    alone, together = LAW.log_healthy([2.2]), LAW.log_healthy([2.2] * 5)
    assert together > 5 * alone


def test_one_loud_take_among_silent_ones_is_worth_less_than_four_of_medium_size():
    assert LAW.log_odds([12.0, 0.4, 0.4, 0.4]) < LAW.log_odds([4.0, 4.0, 4.0, 4.0])


def test_silence_where_the_part_works_counts_against_it():
    assert LAW.log_odds([7.0, 7.0, 0.3, 0.3]) < LAW.log_odds([7.0, 7.0]) - 1.0


def test_likelihood_of_one_reading_is_a_density():
    """Integrates to one over all readings, so that laws of different spread may be compared."""
    values = np.exp(np.linspace(np.log(0.05), np.log(300.0), 1500))
    for density in (LAW.log_healthy, LAW.log_faulty):
        heights = [np.exp(density([value])) for value in values]
        assert np.trapezoid(heights, values) == pytest.approx(1.0, abs=0.03)


LIVELY = replace(LAW, lively_share=3e-3)


def test_a_proud_tooth_is_rare_but_not_beyond_belief():
    """Six spreads from the usual is no certainty: some sound parts differ twice as much.

    Were sizes purely log-normal, a size so far out would come once in a billion parts.
    """
    far = LAW.healthy * float(np.exp(6 * LAW.healthy_spread))
    usual, gear = [LAW.healthy] * 3, [[0, 1, 2]]
    assert LIVELY.log_healthy(usual, gear) == pytest.approx(LAW.log_healthy(usual), abs=0.01)
    assert LIVELY.log_healthy([far] * 3, gear) > LAW.log_healthy([far] * 3) + 1.0
    assert 5.0 < LIVELY.log_faulty([far] * 3) - LIVELY.log_healthy([far] * 3, gear) < 10.0


def test_one_of_two_gears_of_a_rotor_may_be_the_lively_one():
    """Three calm readings and three of the other gear, whose proud tooth is told apart."""
    law = replace(LAW, lively_share=2e-2)
    given = [0.6, 0.5, 0.7, 4.5, 5.0, 4.2]
    assert law.log_healthy(given, [[3, 4, 5]]) > law.log_healthy(given) + 1.0
    assert law.log_healthy(given[:3], [[0]]) == pytest.approx(law.log_healthy(given[:3]), abs=0.1)
    assert LAW.log_healthy(given, [[3, 4, 5]]) == LAW.log_healthy(given)


def test_a_chance_peak_speaks_less_for_a_fault_where_sound_readings_scatter_more():
    law = replace(LAW, healthy_shape=1.0)
    patchy, even = [0.4, 9.0, 0.5, 0.3], [3.0, 2.6, 3.2, 2.8]
    assert law.log_odds(patchy) < LAW.log_odds(patchy) - 0.5
    assert law.log_odds(even) > LAW.log_odds(even)
