"""Speeds that few lines hold are not believed against what else is known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from vibecheck.diagnosis.readings.floating import apart_from_belts, floating_ratios
from vibecheck.diagnosis.speeds.agreement import (
    AS_ONE,
    LIKE_EACH_OTHER,
    UNDER_CUT,
    _agreement,
    agreed_on_steps,
)
from vibecheck.diagnosis.speeds.by_turns import _in_step, _outvoted
from vibecheck.diagnosis.speeds.followed import _clearly_other, _Fit
from vibecheck.diagnosis.speeds.found import TakeSpeed, not_used
from vibecheck.diagnosis.speeds.scale import (
    MANY_PAIRS,
    SCALES,
    Likely,
    common_scale,
    pairs_under_load,
    too_few_to_tell,
)
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.files.gear_table import read_machine
from vibecheck.machine.turning import turning


def track(hz: float) -> SpeedTrack:
    return SpeedTrack(times_s=np.array([0.0, 10.0]), hz=np.array([hz, hz]))


@pytest.fixture(scope="module")
def head():
    machine = read_machine("lathe-12-speed")
    return [turning(machine, each) for each in machine.positions]


@pytest.fixture(scope="module")
def mill():
    machine = read_machine("mill-8-speed")
    return [turning(machine, each) for each in machine.positions]


def test_one_pair_of_gears_does_not_tell_a_scale_four_per_cent_beyond_the_usual(mill, head) -> None:
    assert too_few_to_tell(1.08, mill)
    assert not too_few_to_tell(1.02, mill)
    assert not too_few_to_tell(1.08, head)


def test_nor_does_it_tell_the_other_mains(mill, head) -> None:
    assert too_few_to_tell(1.2 * 1.01, mill)
    assert not too_few_to_tell(1.2 * 1.01, head)
    assert not too_few_to_tell(1.01 / 1.2, head)


def test_a_take_that_fits_where_it_was_filed_stays_there() -> None:
    def fit(sureness: float, support: float) -> _Fit:
        return _Fit(track=track(10.0), error=1e-4, sureness=sureness, support=support)

    assert not _clearly_other(fit(13.0, 27.0), fit(17.0, 39.0))
    assert _clearly_other(fit(3.0, 8.0), fit(13.0, 39.0))


def test_what_keeps_step_with_a_driven_shaft_is_not_the_motor(head) -> None:
    here = head[0]
    group = next(iter({rotor.group for rotor in here.rotors.values() if rotor.ratio == 1.0}))
    speed = TakeSpeed(turning=here, filed=here.label, found=True, tracks={group: track(12.0)})
    assert _in_step(SimpleNamespace(track=track(24.0)), speed, here)
    assert not _in_step(SimpleNamespace(track=track(24.37)), speed, here)


def test_idle_takes_on_one_step_that_disagree_are_not_used(mill) -> None:
    here = mill[0]
    group = next(iter(here.groups))
    ready = SimpleNamespace(take=SimpleNamespace(kind="idle"))

    def found(scale: float) -> TakeSpeed:
        return TakeSpeed(
            turning=here, filed=here.label, found=True, scale=scale, tracks={group: track(20.0)}
        )

    kept = agreed_on_steps([found(1.02), found(1.021), found(0.97)], [ready] * 3)
    assert [speed.found for speed in kept] == [True, True, False]


def test_takes_that_heard_the_motor_tell_it_to_the_others(head) -> None:
    here = head[0]
    names = list(here.groups)
    main = next(name for name in names if name != "motor")
    computed = here.groups["motor"].nominal_hz / here.groups[main].nominal_hz
    speed = SimpleNamespace(by_turns=False)
    heard = [
        SimpleNamespace(turning=here, group=main, speed=speed, floating={"motor": 0.99 * computed})
        for _ in range(2)
    ]
    deaf = SimpleNamespace(turning=here, group=main, speed=speed, floating={})
    ratios = floating_ratios([*heard, deaf], [None] * 3)
    assert ratios[2]["motor"] == pytest.approx(0.99 * computed)


@pytest.mark.parametrize(
    ("sureness", "refuted", "outvoted"),
    [(12.0, 3, True), (12.0, 1, False), (6.0, 3, False)],
    ids=["plain teeth in most takes", "one take", "weak teeth"],
)
def test_what_passes_for_the_motor_does_not_speak_against_most_plain_takes(
    head, sureness: float, refuted: int, outvoted: bool
) -> None:
    """A lumpy belt's multiples lie as evenly as a motor's turns."""
    here = next(each for each in head if len(pairs_under_load(each)) >= MANY_PAIRS)
    found = [
        TakeSpeed(turning=here, filed=here.label, found=True, sureness=sureness) for _ in range(4)
    ]
    left = [not_used(each) if n < refuted else each for n, each in enumerate(found)]
    assert _outvoted(found, left) is outvoted


@pytest.mark.parametrize(
    ("motor_hz", "kept"), [(23.93, False), (24.6, True), (11.96, False)], ids=str
)
def test_what_keeps_step_with_a_belt_that_is_heard_is_no_shaft(motor_hz: float, kept: bool) -> None:
    """Belts 5.98 times a second; in two of six takes the lines are read a little beside."""
    takes = [
        SimpleNamespace(floating={"motor": motor_hz * off / 16.6}, belts={"V-belt": 5.98 / 16.6})
        for off in (1.0, 1.001, 0.999, 1.0005, 1.002, 1.0)
    ]
    assert [("motor" in each) for each in apart_from_belts(takes)] == [kept] * len(takes)


def test_without_a_belt_that_is_heard_no_shaft_is_left_out() -> None:
    takes = [SimpleNamespace(floating={"motor": 1.44}, belts={}) for _ in range(4)]
    assert apart_from_belts(takes) == [{"motor": 1.44}] * 4


def test_nine_takes_at_one_scale_are_of_one_machine() -> None:
    close = np.array([0.0, 0.0005, -0.0011, 0.0002, 0.0018, -0.0004, 0.0009, -0.0016, 0.0003])
    assert _agreement(close, LIKE_EACH_OTHER) > AS_ONE
    one_astray = np.append(close, 0.012)
    assert AS_ONE < _agreement(one_astray, LIKE_EACH_OTHER) < _agreement(close, LIKE_EACH_OTHER)


def test_lines_of_another_machine_hardly_ever_agree_so_nearly() -> None:
    rng = np.random.default_rng(11)
    for alike in (LIKE_EACH_OTHER, UNDER_CUT):
        drawn = rng.uniform(-alike.between, alike.between, size=(2000, 8))
        reached = [_agreement(each, alike) >= AS_ONE for each in drawn]
        assert np.mean(reached) < 0.005


def test_a_heard_motor_speaks_against_a_far_scale_that_fits_hardly_better() -> None:
    def hill(scale: float) -> np.ndarray:
        return np.exp(-0.5 * (np.log(SCALES / scale) / 0.002) ** 2)

    take = SimpleNamespace(take=SimpleNamespace(position="A"))
    curve = 10.6 * hill(1.19) + 8.8 * hill(1.03)
    trials = [{"A": SimpleNamespace(curve=curve)}] * 10
    motor = Likely(middle=float(np.log(1.034)), width=0.022, cost=25.0)
    heard, unheard = (common_scale([take] * 10, trials, at, 0.015) for at in (motor, Likely()))
    assert heard.scale == pytest.approx(1.03, abs=0.004)
    assert heard.lead > 0.05 > 0.0 > heard.lead_by_teeth
    assert unheard.scale == pytest.approx(1.19, abs=0.004)
    assert unheard.lead == unheard.lead_by_teeth > 0.0
