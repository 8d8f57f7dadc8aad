"""What a bearing of known numbers explains is not laid to one of unknown inside."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vibecheck.diagnosis.suspects.unknown_order import _explained

TRIAL = np.linspace(2.0, 16.0, 1401)


def heard(*speeds: dict[str, float]) -> SimpleNamespace:
    score = SimpleNamespace(shaft="I", order=5.2, log10_chance=-9.0, reach=0.0)
    takes = [SimpleNamespace(ratio=speed.get) for speed in speeds]
    return SimpleNamespace(rolling=[score], takes=takes)


def taken(where: SimpleNamespace, shaft: str) -> np.ndarray:
    return TRIAL[_explained(where, shaft, TRIAL)]


def test_its_own_order_its_half_and_its_double_are_explained_on_its_shaft() -> None:
    found = taken(heard({"I": 1.0}, {"I": 1.0}), "I")
    for order in (2.6, 5.2, 10.4):
        assert np.abs(found - order).min() < 0.02
    assert np.abs(found[:, None] - np.array([2.6, 5.2, 10.4])).min(axis=1).max() < 0.11


@pytest.mark.filterwarnings("error")
def test_a_take_in_which_the_shaft_is_not_heard_says_nothing() -> None:
    everywhere = taken(heard({"I": 1.0}, {"I": 1.0}), "I")
    assert np.array_equal(taken(heard({}, {"I": 1.0}), "I"), everywhere)
    assert taken(heard({}, {}), "I").size == 0


def test_on_a_shaft_that_a_lever_sets_otherwise_nothing_is_explained() -> None:
    assert taken(heard({"I": 1.0, "II": 0.8}, {"I": 1.0, "II": 0.4}), "II").size == 0
    in_step = taken(heard({"I": 1.0, "II": 0.8}, {"I": 1.0, "II": 0.8}), "II")
    assert np.abs(in_step - 6.5).min() < 0.02
