"""Sound bearings may all be heard: one is told from its like by depth."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.suspects.rolling import (
    ALL_HEARD_SAYS,
    EVEN_MOTOR,
    _among_their_like,
    depth_where_fast,
    like_others,
)
from vibecheck.diagnosis.suspects.suspect import Suspect

FAMILY = bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04)[0]


LIKELY = float(np.log(0.85 / 0.15))


def take(hz: float):
    return SimpleNamespace(
        expected_ratios=lambda: {"motor": 2.0, "II": 1.0, "III": 0.5}, base_hz=hz
    )


TAKES = [take(hz) for hz in (5.0, 15.0, 20.0, 20.0)]


def suspect(shaft: str, depth: float, chance: float = -6.0) -> Suspect:
    score = RollingScore(
        bearing=f"{shaft} front",
        shaft=shaft,
        family=FAMILY,
        log10_chance=chance,
        order=FAMILY.order,
        slip=-0.004,
        surprise=np.full(4, 6.0),
        orders=np.full(4, FAMILY.order),
        depth=np.array([0.0, depth, depth, depth]),
        evidence=30.0,
    )
    return Suspect(
        parts=(score.bearing,),
        part_kind="bearing",
        fault="outer race",
        rotor=shaft,
        prior=3e-3,
        evidence=9.0,
        detail={"score": score},
    )


def log_odds(*found: Suspect) -> list[float]:
    heard = _among_their_like(list(found), TAKES)  # type: ignore[arg-type]
    return [each.evidence + float(np.log(each.prior)) for each in heard]


def test_two_shallow_bearings_of_two_shafts_are_possible_at_most() -> None:
    assert max(log_odds(suspect("II", 0.2), suspect("III", 0.15))) <= ALL_HEARD_SAYS + 1e-9


@pytest.mark.parametrize(
    "other",
    [suspect("III", 0.05), suspect("III", 0.20, chance=-1.0), suspect("II", 0.2)],
    ids=["the other is far shallower", "the other is chance", "both are of one shaft"],
)
def test_one_that_stands_out_is_believed(other: Suspect) -> None:
    assert log_odds(suspect("II", 0.3), other)[0] > LIKELY


@pytest.mark.parametrize(("depth", "likely"), [(0.1, False), (0.14, False), (0.3, True)])
def test_the_shallower_the_less_is_said(depth: float, likely: bool) -> None:
    assert (log_odds(suspect("II", depth))[0] > LIKELY) == likely


def test_a_shallow_one_of_the_fastest_shaft_is_possible_at_most() -> None:
    assert log_odds(suspect("motor", 0.2))[0] < log_odds(suspect("motor", 0.5))[0] < LIKELY
    assert log_odds(suspect("motor", EVEN_MOTOR)) == [pytest.approx(0.0)]
    assert log_odds(suspect("motor", 0.7))[0] > 3.0


def test_two_elements_of_that_shaft_are_no_likelier_together_than_one() -> None:
    first, second = log_odds(suspect("motor", 0.2), suspect("motor", 0.1))
    assert second < first - 2.0


def test_a_deep_one_needs_no_company_to_be_believed() -> None:
    assert not like_others(0.5, [0.5])
    assert like_others(0.2, [0.1])
    assert not like_others(0.2, [0.0])


def test_depth_is_that_where_the_shaft_is_fast() -> None:
    score = suspect("II", 0.4).detail["score"]
    assert isinstance(score, RollingScore)
    assert depth_where_fast(score, TAKES) == pytest.approx(0.4)  # type: ignore[arg-type]
