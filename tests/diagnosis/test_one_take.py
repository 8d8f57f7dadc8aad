"""One take and one bearing, on sounds made here: what is named, and what is not."""

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families, bearing_orders
from vibecheck.diagnosis.findings import verdict_for
from vibecheck.diagnosis.single.odds import as_said
from vibecheck.diagnosis.single.one_take import hear_bearing
from vibecheck.diagnosis.single.unknown_bearing import filled_ratio
from vibecheck.machine.parts import Bearing, Known
from vibecheck.machine.single import one_shaft
from vibecheck.pipeline import diagnose
from vibecheck.recording import Recording, Take
from vibecheck.spectra.speed import speed_from_comb

RATE = 12_000.0


def turning(hz, multiples, *, seed, seconds=10.0, noise=0.2):
    """A steady shaft's whole multiples in noise."""
    rng = np.random.default_rng(seed)
    times = np.arange(int(RATE * seconds)) / RATE
    wave = noise * rng.standard_normal(times.size)
    for multiple in range(1, multiples + 1):
        height = 0.05 * rng.uniform(0.3, 1.0)
        wave += height * np.sin(2 * np.pi * multiple * hz * times + rng.uniform(0, 6))
    return wave.astype(np.float32)


@pytest.mark.parametrize("seed", range(12))
def test_eight_sharp_multiples_are_not_given_a_drift(seed):
    found = speed_from_comb(turning(24.37, 8, seed=seed), RATE, nominal_hz=24.0)
    assert found.drift_hz == 0
    assert found.hz == pytest.approx(24.37, rel=1e-4)


SHAFT_HZ = 29.3


def blows(rate_hz, *, seed, strength=2.0, seconds=10.0, jitter=0.005):
    """Ringing blows whose spacing errors add up, on a quiet shaft."""
    rng = np.random.default_rng(seed)
    wave = turning(SHAFT_HZ, 10, seed=seed, seconds=seconds)
    spaces = (1 + jitter * rng.standard_normal(int(seconds * rate_hz) - 2)) / rate_hz
    tail = np.arange(int(0.004 * RATE)) / RATE
    ring = strength * np.exp(-tail / 0.0008) * np.sin(2 * np.pi * 3100 * tail)
    for start in (np.cumsum(spaces) * RATE).astype(int):
        part = wave[start : start + ring.size]
        part += ring[: part.size].astype(np.float32)
    return wave


def heard(wave, elements=9, ratio=0.2034):
    families = bearing_families(elements=elements, ball_mm=ratio, pitch_mm=1.0)
    return hear_bearing(wave, RATE, shaft_hz=SHAFT_HZ, families=families)


def test_a_bearing_at_twice_the_true_rate_is_not_named():
    # 16 elements, outer order 6.13: the double of the true one's 3.065
    outer = 2 * 3.065
    assert heard(blows(3.065 * SHAFT_HZ, seed=1), 16, 1 - outer / 8).named == ""


def test_a_bearing_at_half_the_true_rate_is_not_named():
    inner = bearing_orders(8, 0.2366, 1.0)["inner"]
    found = heard(blows(inner * SHAFT_HZ, seed=2), 7, 1 - inner / 7)
    assert found.element("outer").score.order_found == pytest.approx(inner / 2, rel=3e-3)
    assert found.named == ""


def test_blows_of_another_makes_bearing_leave_the_race_open_but_not_the_wear():
    wave = blows(1.026 * bearing_orders(9, 0.2034, 1.0)["outer"] * SHAFT_HZ, seed=3)
    assert heard(wave).verdict == "cannot tell"
    bearing = Bearing(
        name="front bearing",
        shaft="shaft",
        elements=Known.exactly(9),
        element_mm=Known.exactly(0.2034),
        pitch_mm=Known.exactly(1.0),
        angle_deg=Known.exactly(0.0),
    )
    take = Take(recording=Recording(samples=wave, rate_hz=RATE))
    found = diagnose(one_shaft(60 * SHAFT_HZ, (bearing,)), [take]).findings[0]
    assert (found.part, found.fault) == ("front bearing", "bearing worn, race not known")
    assert found.verdict == "possible"


def test_the_mains_are_not_taken_for_a_shaft_two_per_cent_away():
    times = np.arange(int(10 * RATE)) / RATE
    hum = sum(np.sin(2 * np.pi * 50 * m * times + m) for m in range(1, 9))
    wave = 0.1 * hum + np.random.default_rng(5).standard_normal(times.size)
    families = bearing_families(elements=9, ball_mm=0.2034, pitch_mm=1.0)
    found = hear_bearing(wave.astype(np.float32), RATE, shaft_hz=48.8, families=families)
    assert not found.speed.found


def test_a_printed_probability_never_contradicts_its_word():
    for probability in np.linspace(0.2, 1.0, 4001):
        printed = float(f"{as_said(probability):.2f}")
        assert verdict_for(as_said(probability)) == verdict_for(printed)


@pytest.mark.parametrize(
    ("elements", "ratio"),
    # published geometries: 6205 and 6203 (bearing data centre), ER-16K, UER204
    [(9, 0.3126 / 1.537), (8, 0.2656 / 1.122), (9, 7.9375 / 38.5), (8, 7.92 / 34.55)],
)
def test_filling_law_of_ball_bearings_holds_within_four_per_cent(elements, ratio):
    assert filled_ratio(elements) == pytest.approx(ratio, rel=0.04)
