"""A tone that stays put is told from one that follows something that turns."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from vibecheck.diagnosis.readings.fixed_tones import FixedTone, fixed_tones
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.verdicts.carriers import electric, may_be_the_motors
from vibecheck.diagnosis.verdicts.fixed_findings import STEADY, _hum_of_all_db, standing
from vibecheck.machine.parts import Known, Machine, Motor, Supply
from vibecheck.recording import Recording, Take

RATE_HZ = 8000.0
SECONDS = 8.0


def take(number: int, hz: float, level: float = 0.2) -> Ready:
    rng = np.random.default_rng(number)
    time = np.arange(int(RATE_HZ * SECONDS)) / RATE_HZ
    sound = 0.05 * rng.normal(size=time.size) + level * np.sin(2 * np.pi * hz * time)
    recording = Recording(
        name=f"take {number}", samples=sound.astype(np.float32)[None, :], rate_hz=RATE_HZ
    )
    return made_ready(Take(recording=recording, kind="idle"))


def tone_of(places: list[float]) -> FixedTone:
    takes = [take(number, hz) for number, hz in enumerate(places)]
    found = fixed_tones(takes, [None] * len(takes))
    assert found
    return found[0]


def test_a_tone_at_one_hertz_scatters_ten_times_less_than_any_motor() -> None:
    tone = tone_of([312.3] * 6)
    assert tone.hz == pytest.approx(312.3, abs=0.05)
    assert tone.spread < 0.5 * STEADY
    assert tone.share == 1.0


def test_a_tone_that_follows_a_motors_slip_is_seen_to_move() -> None:
    moved = [312.3 * (1 + 0.0007 * k) for k in (-2, -1, 0, 1, 2, 0.5)]
    assert tone_of(moved).spread > 3 * STEADY


def test_the_share_of_all_sound_is_that_of_the_tone() -> None:
    sine, noise = 0.2**2 / 2, 0.05**2 * 3200 / 4000
    expected = 10 * np.log10(sine / noise)
    assert tone_of([500.0] * 4).of_all_db == pytest.approx(expected, abs=1.5)


TONE = FixedTone(
    hz=312.0,
    spread=2e-5,
    share=1.0,
    takes=(0, 1, 2, 3, 4),
    over_floor=1e3,
    above_mesh_db=-3.0,
    upper_db=0.0,
    of_all_db=-10.0,
    tied=1e-3,
)


def test_a_steady_tone_that_follows_no_rotor_is_likely_of_structure_or_room() -> None:
    assert standing(TONE) > 0.85


@pytest.mark.parametrize(
    "other",
    [
        replace(TONE, spread=1e-3),
        replace(TONE, spread=1e-4, tied=5e-5),
        replace(TONE, upper_db=-30.0),
        replace(TONE, share=0.7),
    ],
    ids=["it wanders", "it fits a rotor better", "it is faint", "it is often missing"],
)
def test_no_other_tone_is(other: FixedTone) -> None:
    assert standing(other) < 0.3


def test_a_tone_that_cannot_be_the_motors_may_wander_more_than_the_motor_slips() -> None:
    """152.85 Hz lies between the sixth and seventh multiple of what a 1440 rpm motor may do."""
    assert standing(replace(TONE, spread=3e-4)) < 0.3
    assert standing(replace(TONE, spread=3e-4), motor=False) > 0.85
    assert standing(replace(TONE, spread=3e-3), motor=False) < 0.3
    unknown = replace(TONE, spread=3e-4, tied=float("nan"))
    assert standing(unknown, motor=False) == standing(unknown)


@pytest.mark.parametrize(
    ("hz", "may"), [(152.85, False), (24.5, True), (146.0, True), (700.0, True), (35.0, False)]
)
def test_the_motors_multiples_are_known_between_plate_and_mains(hz: float, may: bool) -> None:
    machine = Machine(
        name="invented", motor=Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1440))
    )
    assert may_be_the_motors(machine, hz) is may


def hum(*levels: tuple[float, float]) -> Listened:
    tones = [replace(TONE, hz=hz, of_all_db=level, tied=1e-1) for hz, level in levels]
    machine = Machine(name="invented")
    speeds = SimpleNamespace(scale=1.0)
    return SimpleNamespace(fixed=tones, machine=machine, speeds=speeds)  # type: ignore[return-value]


def test_all_multiples_of_the_mains_make_the_hum_together() -> None:
    """Each counts with its double: 100 with 200, 300 with 600."""
    assert _hum_of_all_db(hum((100.0, 0.0))) == pytest.approx(0.0, abs=0.01)
    assert _hum_of_all_db(hum((100.0, 0.0), (200.0, -3.0))) == pytest.approx(0.0, abs=0.01)
    spread = _hum_of_all_db(hum((100.0, -1.4), (200.0, -6.1), (300.0, -5.8), (500.0, -7.6)))
    assert spread == pytest.approx(5.4, abs=0.2)
    assert _hum_of_all_db(hum((311.0, 5.0))) < -25.0


def fed_by(kind: str, *hz: float) -> Listened:
    """A machine with such a supply, fed at 45 Hz, and its fixed tones."""
    supply = Supply(kind=kind, hz=Known.exactly(45.0), mains_hz=50.0)  # type: ignore[arg-type]
    machine = Machine(name="invented", supply=supply)
    return cast(
        Listened,
        SimpleNamespace(
            machine=machine,
            speeds=SimpleNamespace(scale=1.0),
            fixed=[replace(TONE, hz=each) for each in hz],
        ),
    )


def test_what_an_inverters_switching_makes_is_electric() -> None:
    pair = fed_by("inverter", 2270.0, 2450.0)
    assert all(electric(pair, tone) for tone in pair.fixed)
    for other in (fed_by("three-phase", 2270.0, 2450.0), fed_by("inverter", 2270.0, 2390.0)):
        assert not any(electric(other, tone) for tone in other.fixed)
    wandering = fed_by("inverter", 2270.0, 2450.0)
    assert not electric(wandering, replace(TONE, hz=2270.0, spread=3e-4))
