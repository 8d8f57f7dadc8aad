"""An inner race whose sidebands fall where the outer race would be heard.

The bearing has ten balls, inner - outer = two turns of its shaft: the lower second sideband of the
inner race lies on the outer race's own line, at every position. The sweeps are our own sums of
tooth tones, noise and blows; nothing of the package's synthesis.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.diagnosis.invented_sweeps import (
    eight_speed_lathe,
    ringing,
    swaying_turns,
    take_of,
    tooth_tones,
)
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.machine.bearings import BearingOrders
from vibecheck.machine.parts import Bearing, Known, Machine
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take

RATE_HZ, SECONDS = 12000.0, 10.0
FIRST_HZ, LAG = 14.4, 0.004
BALL_MM, PITCH_MM = 7.94, 41.0
INSIDE = BearingOrders.of_geometry(10, BALL_MM, PITCH_MM, 0.0)


@cache
def lathe() -> Machine:
    """The eight-speed lathe with one bearing of known inside."""
    bearing = Bearing(
        name="III front",
        shaft="III",
        kind="ball",
        elements=Known.exactly(10),
        element_mm=Known.exactly(BALL_MM),
        pitch_mm=Known.exactly(PITCH_MM),
        angle_deg=Known.exactly(0.0),
    )
    return replace(eight_speed_lathe(), bearings=(bearing,))


def recorded(label: str, number: int, *, inner: float, outer: float) -> Take:
    """Tooth tones, noise, and blows of either race; the inner's only while it bears the load."""
    rng = np.random.default_rng(900 + number)
    where = turning(lathe(), next(p for p in lathe().positions if p.label == label))
    first = where.nominal_hz("I")
    third = where.nominal_hz("III")
    assert first
    assert third
    turns = swaying_turns(FIRST_HZ, rng, rate_hz=RATE_HZ, seconds=SECONDS)
    sound = 0.5 * rng.normal(size=turns.size) + tooth_tones(where, "I", turns)
    shaft = turns * third / first
    struck = np.zeros(turns.size)
    cage = INSIDE.cage * (1 - LAG)
    for force, order, swells in ((inner, 10 - 10 * cage, True), (outer, 10 * cage, False)):
        blows = np.flatnonzero(np.diff(np.floor(shaft * order + 0.3)) > 0)
        load = np.cos(2 * np.pi * shaft[blows]) if swells else np.ones(blows.size)
        struck[blows] += force * np.maximum(load, 0.0) * (1 + 0.2 * rng.normal(size=blows.size))
    sound += ringing(struck, rate_hz=RATE_HZ, fades=18.0)
    return take_of(label, sound, rate_hz=RATE_HZ)


@cache
def verdict(inner: float, outer: float) -> Diagnosis:
    labels = [position.label for position in lathe().positions]
    takes = [
        recorded(label, number, inner=inner, outer=outer) for number, label in enumerate(labels)
    ]
    return diagnose(lathe(), takes)


def test_the_lower_sideband_of_the_inner_race_lies_within_reach_of_the_outer() -> None:
    assert INSIDE.inner - INSIDE.outer == pytest.approx(2.0, abs=0.08)


@pytest.mark.parametrize(
    ("inner", "outer", "fault"),
    [(5.0, 0.0, "inner race"), (0.0, 2.0, "outer race")],
    ids=["inner", "outer"],
)
def test_the_race_that_is_struck_is_named(inner: float, outer: float, fault: str) -> None:
    sure = [each for each in verdict(inner, outer).findings if each.probability >= 0.85]
    assert [(each.part, each.fault) for each in sure] == [("III front", fault)]


def test_without_a_flaw_no_race_is_named() -> None:
    assert not [each for each in verdict(0.0, 0.0).findings if each.probability >= 0.3]
