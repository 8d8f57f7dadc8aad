"""A second bad bearing beside a plain one: believed as far as it is as deep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.chance.families import bearing_families
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.suspects.rolling import SECOND_MOST, _one_bearing_first
from vibecheck.diagnosis.suspects.suspect import Suspect


def suspect(bearing: str, depth: float, evidence: float) -> Suspect:
    family = bearing_families(elements=9, ball_mm=7.94, pitch_mm=39.04)[0]
    score = RollingScore(
        bearing=bearing,
        shaft=bearing.split()[0],
        family=family,
        log10_chance=-9.0,
        order=family.order,
        slip=-0.004,
        surprise=np.full(6, 8.0),
        orders=np.full(6, family.order),
        depth=np.full(6, depth),
        evidence=4 * evidence,
    )
    return Suspect(
        parts=(bearing,),
        part_kind="bearing",
        fault="outer race",
        rotor=score.shaft,
        evidence=evidence,
        detail={"score": score, "rolls": evidence},
    )


@pytest.mark.parametrize(("depth", "most"), [(0.05, SECOND_MOST), (0.15, 5.0), (0.5, 10.0)])
def test_a_shallow_one_may_be_an_echo_and_a_deep_one_is_heard_out(depth: float, most: float):
    lead, other = _one_bearing_first(
        [suspect("II front", 0.5, 12.0), suspect("III rear", depth, 10.0)]
    )
    assert lead.evidence == 12.0
    assert other.evidence <= most
    if depth == 0.5:
        assert other.evidence > 8.0


def test_both_ends_of_the_bearing_named_keep_what_they_say():
    lead = suspect("II front", 0.5, 12.0)
    same = replace(suspect("II front", 0.05, 9.0), fault="inner race")
    assert [each.evidence for each in _one_bearing_first([lead, same])] == [12.0, 9.0]


def test_beside_no_plain_one_nothing_is_held_back():
    given = [suspect("II front", 0.5, 5.0), suspect("III rear", 0.05, 4.5)]
    assert _one_bearing_first(given) == given
