"""A head on step pulleys as its owner writes it: all steps are one belt by one name, behind them is
a toothed belt to a back gear, and the motor labours on the fastest step.

The takes are our own sums of turns and noise; nothing of the package's synthesis.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.agreement import agreed_on_steps, same_steps
from vibecheck.diagnosis.speeds.belt_turns import _belts_into
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.found import SweepSpeeds, TakeSpeed
from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.files.gear_table import read_table
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, Take

RATE_HZ, SECONDS = 6000.0, 12.0
STEPS = {"1": (47, 173), "2": (75, 145), "3": (110, 110), "4": (144, 76)}
LOADED = {"1": 1.0, "2": 0.9985, "3": 0.996, "4": 0.992}
"""Speed of the motor on each step over that on the slowest."""
MOTOR_HZ, SLIP = 24.62, 0.011
TABLE = """
name = "head on step pulleys"
[supply]
mains_hz = 50
[motor]
poles = 4
plate_rpm = 1430
[levers.S]
between = ["motor", "pulley"]
belt = "V-belt"
length_mm = 820
1 = "47/173 mm"
2 = "75/145 mm"
3 = "110/110 mm"
4 = "144/76 mm"
[levers.R]
between = ["pulley", "spindle"]
H = "direct"
L = "elsewhere"
[belts."toothed belt"]
between = ["pulley", "countershaft"]
teeth = "28/53"
belt_teeth = 98
when = "RL"
[[pairs]]
pair = "22/98"
between = ["countershaft", "spindle"]
when = "RL"
"""


@pytest.fixture(scope="module")
def head(tmp_path_factory: pytest.TempPathFactory) -> Machine:
    path = tmp_path_factory.mktemp("tables") / "head.toml"
    path.write_text(TABLE)
    return read_table(path).machine


@pytest.fixture(scope="module")
def settings(head: Machine) -> dict[str, Turning]:
    return {each.label: turning(head, each) for each in head.positions}


def true_hz(label: str) -> tuple[float, float]:
    """Motor and pulley."""
    step = label[1]
    big, small = STEPS[step]
    motor = MOTOR_HZ * LOADED[step]
    return motor, motor * big / small * (1 - SLIP)


@cache
def take(label: str) -> Take:
    """Motor, pulley and, at R L, the countershaft by their turns; no tooth is heard."""
    rng = np.random.default_rng(sum(map(ord, label)))
    times = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
    sway = 1.0 + 4e-4 * np.sin(2 * np.pi * 0.07 * times + rng.uniform(0, 6))
    sound = rng.normal(size=times.size)
    for hz in true_hz(label):
        angle = np.cumsum(hz * sway / sway.mean()) / RATE_HZ
        sound += sum(
            level * np.cos(2 * np.pi * k * angle + k) for k, level in ((1, 0.5), (2, 0.2), (3, 0.1))
        )
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name=label)
    return Take(recording=recording, position=label)


@pytest.fixture(scope="module")
def fitted(settings: dict[str, Turning]) -> SweepSpeeds:
    return fit_speeds(settings, [made_ready(take(label)) for label in settings])


def test_steps_of_one_belt_are_told_apart_though_they_share_its_name(
    settings: dict[str, Turning],
) -> None:
    direct = {label: _belts_into(here, "pulley") for label, here in settings.items()}
    assert len(set(direct.values())) == len(STEPS)
    assert all(steps[0][0] == "V-belt" for steps in direct.values())


def test_a_toothed_belt_within_a_group_does_not_hide_the_belt_before_it(
    settings: dict[str, Turning],
) -> None:
    for step in STEPS:
        low, high = settings[f"S{step} RL"], settings[f"S{step} RH"]
        assert _belts_into(low, "pulley") == _belts_into(high, "pulley")
        assert same_steps(low, high)
    assert not same_steps(settings["S1 RL"], settings["S2 RL"])


def test_takes_on_different_steps_may_disagree(settings: dict[str, Turning]) -> None:
    """Pulleys are measured to a millimetre: each step has a scale of its own, 2 % apart here."""
    labels = ["S1 RL", "S2 RL", "S1 RH"]
    takes = [made_ready(take(label)) for label in labels]
    speeds = [
        TakeSpeed(
            turning=settings[label],
            filed=label,
            found=True,
            scale=scale,
            tracks={"pulley": SpeedTrack(times_s=np.array([0.0, 9.0]), hz=np.array([9.0, 9.0]))},
        )
        for label, scale in zip(labels, (1.0, 1.02, 1.001), strict=True)
    ]
    assert [each.found for each in agreed_on_steps(speeds, takes)] == [True, True, True]


def test_the_motor_is_heard_where_it_labours(fitted: SweepSpeeds) -> None:
    """On the 1:1 step the pulley turns all but as fast: there it may be left open."""
    heard = {speed.filed: speed.tracks["motor"].mean_hz for speed in fitted.takes if speed.found}
    assert {"S4 RH", "S4 RL"} <= set(heard)
    assert len(heard) >= 7
    for label, hz in heard.items():
        assert label is not None
        assert hz == pytest.approx(true_hz(label)[0], rel=2.5e-4)


def test_what_turns_behind_its_belts_is_heard_though_no_tooth_is(fitted: SweepSpeeds) -> None:
    """Four takes ought to have teeth and have none: the belts' shafts show that it is the table's
    machine all the same."""
    heard = {s.filed: s.tracks["pulley"].mean_hz for s in fitted.takes if "pulley" in s.tracks}
    assert len(heard) >= 3
    for label, hz in heard.items():
        assert label is not None
        assert hz == pytest.approx(true_hz(label)[1], rel=2.5e-4)
