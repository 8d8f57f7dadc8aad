"""A howl is believed when the takes have one and the same, and it is loud."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.verdicts.cutting_lines import swelling
from vibecheck.diagnosis.verdicts.howls import PURE, _Howl
from vibecheck.recording import Recording


def howl(scatter: float, level_db: float, takes: int, rank: int = 4) -> _Howl:
    return _Howl(
        hz=312.0,
        scatter=scatter,
        level_db=level_db,
        takes=tuple(range(takes)),
        ranks=(rank,) * takes,
        places=dict.fromkeys(range(takes), 312.0),
        of=max(takes, 8),
    )


def test_one_loud_howl_in_eight_takes_is_meant() -> None:
    assert howl(0.002, 0.0, 8).meant > 0.95


@pytest.mark.parametrize(
    "other",
    [howl(0.015, 0.0, 8, 9), howl(0.002, -20.0, 8), howl(0.004, 0.0, 3)],
    ids=["chance places", "faint", "three takes"],
)
def test_other_lines_are_not(other: _Howl) -> None:
    assert other.meant < 0.3


def test_more_takes_at_one_place_say_more() -> None:
    said = [howl(0.004, 0.0, takes).meant for takes in range(3, 12)]
    assert said == sorted(said)


def test_a_wandering_howl_that_tops_every_take_is_meant() -> None:
    assert howl(0.008, 0.0, 5, 1).meant > 0.9
    assert howl(0.008, 0.0, 5, 6).meant < 0.3


def test_what_turns_is_pure_and_what_sings_swells() -> None:
    rng = np.random.default_rng(5)
    times = np.arange(0.0, 8.0, 1 / 8000.0)
    noise = 0.05 * rng.normal(size=times.size)
    tone = np.sin(2 * np.pi * 170.3 * times)
    turned = 1.0 + 0.3 * np.sin(2 * np.pi * 1.7 * times)

    def heard(samples: np.ndarray) -> float:
        return swelling(Recording(samples=samples.astype(np.float32), rate_hz=8000.0), 170.3)

    assert heard(tone + noise) < PURE < heard(turned * tone + noise)
    assert heard(noise) == pytest.approx(np.sqrt(4 / np.pi - 1), abs=0.2)
