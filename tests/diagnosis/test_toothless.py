"""Shafts that no teeth tell of: heard by their own turns, or honestly not at all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.found import SweepSpeeds
from vibecheck.diagnosis.speeds.turn_combs import slow_sound
from vibecheck.diagnosis.speeds.turn_tracks import turn_speed
from vibecheck.diagnosis.verdicts.take_reports import speed_warnings
from vibecheck.machine.parts import Belt, Known, LeverGroup, Machine, Motor, Position, Supply
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, Take
from vibecheck.units import hz

RATE_HZ, SECONDS = 6000.0, 12.0
MOTOR_HZ = 24.71
STEPS = {"1": (70.0, 160.0), "2": (95.0, 135.0), "3": (120.0, 110.0), "4": (150.0, 80.0)}
SLIP = 0.012

Signal = NDArray[np.float64]


def drill_press() -> Machine:
    """A motor and a spindle on step pulleys: not one tooth."""
    belts = tuple(
        Belt(
            name=f"belt step {step}",
            driver="motor",
            driven="spindle",
            driver_mm=Known.exactly(big),
            driven_mm=Known.exactly(small),
            when={"S": (step,)},
        )
        for step, (big, small) in STEPS.items()
    )
    return Machine(
        name="drill press",
        supply=Supply(hz=Known.exactly(50), mains_hz=50.0),
        motor=Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1440)),
        shafts=("motor", "spindle"),
        belts=belts,
        groups=(LeverGroup(name="S", settings=tuple(STEPS)),),
        positions=tuple(Position(levers={"S": step}) for step in STEPS),
    )


def turnings(machine: Machine) -> dict[str, Turning]:
    return {each.label: turning(machine, each) for each in machine.positions}


def turns(base_hz: float, sway: float, seed: int) -> Signal:
    """Turns since the start of a shaft whose speed sways slowly."""
    times = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
    phase = float(np.random.default_rng(seed).uniform(0, 6))
    speed = base_hz * (1.0 + sway * np.sin(2 * np.pi * 0.07 * times + phase))
    return np.asarray(np.cumsum(speed) / RATE_HZ, dtype=np.float64)


def tones(where: Signal, levels: tuple[float, ...]) -> Signal:
    made = [level * np.cos(2 * np.pi * (k + 1) * where + k) for k, level in enumerate(levels)]
    return np.asarray(np.sum(made, axis=0), dtype=np.float64)


def spindle_hz(step: str) -> float:
    big, small = STEPS[step]
    return MOTOR_HZ * big / small * (1 - SLIP)


def recorded(
    step: str, seed: int, *, motor: tuple[float, ...], spindle: tuple[float, ...]
) -> tuple[Ready, float, float]:
    """A take, and the true mean speeds of motor and spindle."""
    rng = np.random.default_rng(seed)
    own = turns(MOTOR_HZ, 6e-4, seed)
    driven = own * (spindle_hz(step) / MOTOR_HZ)
    hum = 0.3 * np.cos(2 * np.pi * 100.0 * np.arange(own.size) / RATE_HZ)
    sound = tones(own, motor) + tones(driven, spindle) + hum + rng.normal(size=own.size)
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name=f"S{step}")
    mean = float((own[-1] - own[0]) * RATE_HZ / (own.size - 1))
    return (
        made_ready(Take(recording=recording, position=f"S{step}")),
        mean,
        mean * spindle_hz(step) / MOTOR_HZ,
    )


def swept(
    motor: tuple[float, ...], spindle: tuple[float, ...]
) -> tuple[SweepSpeeds, list[float], list[float]]:
    made = [recorded(step, 10 + k, motor=motor, spindle=spindle) for k, step in enumerate(STEPS)]
    fitted = fit_speeds(turnings(drill_press()), [take for take, _, _ in made])
    return fitted, [one for _, one, _ in made], [one for _, _, one in made]


@pytest.fixture(scope="module")
def plain() -> tuple[SweepSpeeds, list[float], list[float]]:
    return swept((0.25, 0.12, 0.05), (0.3, 0.1, 0.06))


def test_motor_and_spindle_are_found_by_their_turns_alone(
    plain: tuple[SweepSpeeds, list[float], list[float]],
) -> None:
    fitted, motors, spindles = plain
    for take, motor, spindle in zip(fitted.takes, motors, spindles, strict=True):
        assert take.found
        assert take.by_turns
        assert take.tracks["motor"].mean_hz == pytest.approx(motor, rel=2e-4)
        assert take.tracks["spindle"].mean_hz == pytest.approx(spindle, rel=2e-4)


def test_the_spindle_is_the_track_that_a_take_is_laid_on_when_it_is_heard(
    plain: tuple[SweepSpeeds, list[float], list[float]],
) -> None:
    assert all(next(iter(take.tracks)) == "spindle" for take in plain[0].takes)


def test_claimed_errors_are_honest_where_only_turns_are_heard(
    plain: tuple[SweepSpeeds, list[float], list[float]],
) -> None:
    fitted, motors, spindles = plain
    for take, *true in zip(fitted.takes, motors, spindles, strict=True):
        for name, value in zip(("motor", "spindle"), true, strict=True):
            assert abs(take.tracks[name].mean_hz / value - 1) < 4 * take.errors[name]
            assert take.errors[name] > 1e-5


def test_a_spindle_that_is_not_heard_leaves_the_motor_and_no_guess() -> None:
    fitted, motors, _ = swept((0.25, 0.12, 0.05), (0.0,))
    for take, motor in zip(fitted.takes, motors, strict=True):
        assert list(take.tracks) == ["motor"]
        assert take.tracks["motor"].mean_hz == pytest.approx(motor, rel=2e-4)


def test_noise_has_no_speed() -> None:
    fitted, _, _ = swept((0.0,), (0.0,))
    assert not any(take.found for take in fitted.takes)


def test_takes_filed_in_turn_under_each_others_step_are_given_no_spindle_speed() -> None:
    made = [
        recorded(step, 30 + k, motor=(0.0,), spindle=(0.3, 0.1)) for k, step in enumerate(STEPS)
    ]
    labels = [f"S{step}" for step in (*list(STEPS)[1:], "1")]
    takes = [
        replace(take, take=replace(take.take, position=label))
        for (take, _, _), label in zip(made, labels, strict=True)
    ]
    fitted = fit_speeds(turnings(drill_press()), takes)
    assert not any("spindle" in take.tracks for take in fitted.takes)


def test_phase_counts_the_whole_take_where_a_spectrum_weighs_its_middle() -> None:
    where = turns(20.0, 8e-4, 3)
    sound = tones(where, (1.0, 0.5)) + 0.1 * np.random.default_rng(3).normal(size=where.size)
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name="a")
    ready = made_ready(Take(recording=recording, position="a"))
    true = float((where[-1] - where[0]) * RATE_HZ / (where.size - 1))
    heard = turn_speed(slow_sound(ready), 20.0, np.array([1.0, 2.0, 3.0]), hum_hz=50.0)
    assert heard is not None
    assert heard.followed
    assert heard.track.mean_hz == pytest.approx(true, rel=6e-5)


def test_lines_known_to_be_another_shafts_do_not_pull() -> None:
    where = turns(20.0, 0.0, 4)
    other = 0.8 * np.cos(2 * np.pi * 40.15 * np.arange(where.size) / RATE_HZ)
    noise = 0.1 * np.random.default_rng(4).normal(size=where.size)
    sound = tones(where, (0.5,)) + other + noise
    recording = Recording(samples=sound.astype(np.float32), rate_hz=RATE_HZ, name="a")
    slow = slow_sound(made_ready(Take(recording=recording, position="a")))
    orders = np.array([1.0, 2.0])
    heard = turn_speed(slow, 20.0, orders, hum_hz=50.0, foreign_hz=np.array([40.15]))
    assert heard is not None
    assert heard.multiples == (1.0,)
    assert heard.track.mean_hz == pytest.approx(20.0, rel=1e-4)


@pytest.mark.parametrize(
    ("scale", "said"), [(48.0 / 44.1, True), (22.05 / 16.0, True), (1.25, False), (0.86, False)]
)
def test_a_scale_like_two_usual_sample_rates_may_be_the_files_fault(
    plain: tuple[SweepSpeeds, list[float], list[float]], scale: float, said: bool
) -> None:
    speeds = replace(plain[0], scale=1.02 * scale)
    takes = [recorded(step, 1, motor=(0.1,), spindle=(0.1,))[0] for step in STEPS]
    (warning,) = (
        each
        for each in speed_warnings(drill_press(), takes, speeds)
        if each.kind == "scale_differs"
    )
    assert ("wrong sample rate" in str(warning.values["likely_cause"])) == said


def test_the_expected_speeds_are_those_of_the_steps() -> None:
    at = turnings(drill_press())
    assert at["S3"].nominal_hz("spindle") == pytest.approx(hz(1440) * 120 / 110 * 0.985)


def test_a_motor_in_air_is_not_sought_below_its_plate_nor_on_the_flank_of_another_line() -> None:
    """Plate 1440 is full load: a shaft at 23.3 turns a second, 3 % below, is no idling motor."""
    machine = drill_press()
    found = turnings(machine)
    rng = np.random.default_rng(12)
    takes = []
    for label in found:
        time = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
        stray = sum(np.cos(2 * np.pi * k * 23.3 * time + k) / k for k in range(1, 8))
        samples = (0.05 * stray + 0.02 * rng.standard_normal(time.size)).astype(np.float32)
        recording = Recording(samples=samples, rate_hz=RATE_HZ, name=label)
        takes.append(made_ready(Take(recording=recording, position=label)))
    speeds = fit_speeds(found, takes)
    assert not any("motor" in take.tracks for take in speeds.takes)
