"""Whose bearing is it: the table's known one, or one whose inside nobody knows?"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.suspects.bearing_elsewhere import (
    heard_elsewhere,
    lag,
    likeness,
    log_odds,
    unknown_beside,
)
from vibecheck.diagnosis.suspects.rolling import _of_others
from vibecheck.machine.bearings import BearingOrders, orders_of
from vibecheck.machine.parts import Bearing, Known

INSIDE = BearingOrders.of_geometry(9, 7.94, 39.04, 0.0)
KNOWN = Bearing(
    name="II front",
    shaft="II",
    kind="ball",
    elements=Known.exactly(9),
    element_mm=Known.exactly(7.94),
    pitch_mm=Known.exactly(39.04),
    angle_deg=Known.exactly(0.0),
)
BESIDE, FAR = (Bearing(name=f"{shaft} rear", shaft=shaft) for shaft in ("II", "III"))


def score(element: str, slip: float) -> RollingScore:
    family = next(
        f for f in bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04) if f.name == element
    )
    heard = np.full(4, 6.0)
    return RollingScore(
        bearing="II front",
        shaft="II",
        family=family,
        log10_chance=-8.0,
        order=family.order * (1 + slip),
        slip=slip,
        surprise=heard,
        orders=np.full(4, family.order * (1 + slip)),
        depth=np.full(4, 0.5),
        evidence=20.0,
    )


def sweep(*bearings: Bearing, gears: tuple[float, ...] = (2.0, 1.0, 0.5, 3.0)) -> SimpleNamespace:
    """Takes in which shaft III turns ``gears`` times as fast as II."""
    takes = [
        SimpleNamespace(expected_ratios=lambda r=r: {"II": 1.0, "III": r}, base_hz=10.0)
        for r in gears
    ]
    return SimpleNamespace(machine=SimpleNamespace(bearings=bearings), takes=takes)


def test_the_cage_lag_of_either_race_is_one_number() -> None:
    """Outer + inner = elements: a cage 1 % slow takes from the outer what it gives the inner."""
    assert orders_of(KNOWN) == INSIDE
    slow = 0.01
    inner = (INSIDE.elements - INSIDE.outer * (1 - slow)) / INSIDE.inner - 1.0
    assert lag(score("outer", -slow), INSIDE) == pytest.approx(slow)
    assert lag(score("inner", inner), INSIDE) == pytest.approx(slow, rel=1e-3)


def test_the_likeness_of_slip_is_a_density_over_the_window() -> None:
    """Its mean over the window in which families are looked for is one, but for the far tail."""
    slips = np.linspace(-0.03, 0.01, 2001)
    mean = np.mean([likeness(score("outer", s), INSIDE) for s in slips])
    assert mean == pytest.approx(1.0, abs=0.05)


def test_a_usual_slip_names_the_bearing_and_an_unusual_one_its_unknown_neighbours() -> None:
    heard = sweep(KNOWN, BESIDE, FAR)
    assert unknown_beside(score("outer", -0.004), heard) == (["II rear"], {})
    assert log_odds([score("outer", -0.004)], heard, 1) > 2.5
    assert log_odds([score("outer", -0.028)], heard, 1) < 1.0
    assert log_odds([score("outer", +0.009)], heard, 1) < 1.0
    assert log_odds([score("outer", -0.028)], heard, 0) > log_odds(
        [score("outer", -0.028)], heard, 3
    )


def test_whoever_is_named_with_a_bearing_counts_for_the_name() -> None:
    """A line at an unusual slip is hardly the known bearing's alone; that of one of a shaft's two
    it well may be."""
    heard = sweep(KNOWN, BESIDE)
    odd = score("outer", -0.028)
    assert log_odds([odd], heard, 0, beside=1) > log_odds([odd], heard, 0) + 0.3
    assert log_odds([odd, odd], heard, 0) == pytest.approx(log_odds([odd], heard, 0) + np.log(2))
    assert log_odds([odd], heard, 1, [odd]) < 0.0 < log_odds([odd, odd], heard, 0, beside=1)


def test_another_element_of_a_bearing_that_is_named_does_not_speak_against_it() -> None:
    """Its cage and its rollers on one guessed line are one bearing's; another's are not."""
    cage, rollers = score("cage", 0.0), replace(score("roller", 0.0), reach=0.03)
    other = replace(rollers, bearing="III rear")
    known = replace(other, reach=0.0)
    assert _of_others([cage, rollers, other, known], [cage]) == [other]


def test_an_unknown_bearing_elsewhere_counts_only_where_its_shaft_turns_in_step() -> None:
    level = score("outer", -0.004)
    assert unknown_beside(level, sweep(KNOWN, FAR))[1] == {}
    in_step = sweep(KNOWN, FAR, gears=(2.0, 2.0, 2.0, 2.0))
    assert unknown_beside(level, in_step)[1] == {"III rear": 1.0}


def test_a_family_silent_where_another_shaft_is_out_of_step_is_rather_that_shafts() -> None:
    """Heard in two takes, silent in two at the same speed, in which only III turns otherwise."""
    patchy = replace(score("outer", -0.004), surprise=np.array([6.0, 0.5, 6.0, 0.5]))
    fits = sweep(KNOWN, FAR, gears=(2.0, 0.5, 2.0, 0.5))
    assert unknown_beside(patchy, fits)[1]["III rear"] > 15.0
    assert heard_elsewhere(patchy, fits) is False
    longer = replace(patchy, surprise=np.tile(patchy.surprise, 2))
    assert heard_elsewhere(longer, sweep(KNOWN, FAR, gears=(2.0, 0.5) * 4)) is True
    same = sweep(KNOWN, FAR, gears=(2.0, 2.0, 2.0, 2.0))
    assert unknown_beside(patchy, same)[1] == {"III rear": 1.0}


def test_silence_of_a_slower_shaft_says_nothing_of_where_a_family_belongs() -> None:
    patchy = replace(score("outer", -0.004), surprise=np.array([6.0, 0.5, 6.0, 0.5]))
    slower = sweep(KNOWN, FAR, gears=(2.0, 0.5, 2.0, 0.5))
    for take in slower.takes[1::2]:
        take.base_hz = 4.0
    assert unknown_beside(patchy, slower)[1] == {"III rear": 1.0}
