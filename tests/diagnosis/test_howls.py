"""A howl is believed when the takes have one and the same, and it is loud."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vibecheck.diagnosis.verdicts.carriers import of_the_mains
from vibecheck.diagnosis.verdicts.cutting_lines import swelling
from vibecheck.diagnosis.verdicts.howl_lines import Howl, _beside_db, _in_step, only_at
from vibecheck.diagnosis.verdicts.howls import PURE
from vibecheck.finish.chatter import Line, Listening
from vibecheck.recording import Recording


def howl(scatter: float, level_db: float, takes: int, rank: int = 4) -> Howl:
    return Howl(
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
def test_other_lines_are_not(other: Howl) -> None:
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


@pytest.mark.parametrize("hz", [120.0, 240.2, 479.8, 60.0])
def test_a_multiple_of_the_mains_is_no_howl(hz: float) -> None:
    assert of_the_mains(hz, 60.0)


@pytest.mark.parametrize("hz", [242.0, 697.4, 721.0, 25.0])
def test_what_lies_between_the_multiples_of_the_mains_may_be(hz: float) -> None:
    assert not of_the_mains(hz, 60.0)


def test_a_howl_is_weighed_by_its_own_line_not_by_a_louder_one_near_it() -> None:
    lines = [Line(hz=697.0, level_db=-20.0), Line(hz=712.0, level_db=-5.0)]
    kept = only_at(Listening(name="a", rpm=300.0, lines=lines), 697.0)
    assert [line.hz for line in kept.lines] == [697.0]
    assert kept.rpm == 300.0


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (312.0, 936.3, True),
        (624.0, 312.2, True),
        (624.0, 936.0, True),
        (312.0, 330.0, False),
        (312.0, 312.0, False),
    ],
)
def test_a_howls_own_multiples_are_no_rivals_of_it(one: float, other: float, same: bool) -> None:
    assert _in_step(one, other) is same


def cut(number: int, *beside: tuple[float, float]) -> tuple[Listening, float]:
    """A cut at 300 rpm with a howl at 312 Hz, and lines so many hertz and decibels from it."""
    lines = [Line(hz=312.0 + hz, level_db=-10.0 + db) for hz, db in ((0.0, 0.0), *beside)]
    return Listening(name=str(number), rpm=300.0, lines=lines), 312.0


def test_a_heap_of_lines_is_no_howl() -> None:
    heap = _beside_db({n: cut(n, (-4.3, -2.0), (7.7, -5.0)) for n in range(5)})
    assert heap == -2.0
    crowded = replace(howl(0.008, 0.0, 5, 1), beside_db=heap)
    assert crowded.meant < 0.1 < 0.9 < howl(0.008, 0.0, 5, 1).meant


def test_a_howls_own_sides_and_what_lies_further_off_do_not_crowd_it() -> None:
    sides = {n: cut(n, (5.0, -1.0), (-10.05, -2.0), (16.0, -1.0), (2.3, -18.0)) for n in range(5)}
    assert _beside_db(sides) == -18.0
