"""A motor coupled to the first shaft: two names for what turns as one.

The takes are our own sums of tones and noise; nothing of the package's synthesis.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from tests.diagnosis.invented_sweeps import eight_speed_lathe, swaying_turns, take_of, tooth_tones
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.machine.parts import Coupling
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose

MACHINE = replace(eight_speed_lathe(), belts=(), couplings=(Coupling(driver="motor", driven="I"),))
RATE_HZ, SECONDS, MOTOR_HZ = 8000.0, 10.0, 29.4


@cache
def told(bend: float) -> Diagnosis:
    takes = []
    for number, position in enumerate(MACHINE.positions):
        rng = np.random.default_rng(300 + number)
        where = turning(MACHINE, position)
        turns = swaying_turns(MOTOR_HZ, rng, rate_hz=RATE_HZ, seconds=SECONDS)
        sound = tooth_tones(where, "motor", turns) + 0.4 * rng.normal(size=turns.size)
        for name in ("motor", "II", "III", "spindle"):
            own, motor = where.nominal_hz(name), where.nominal_hz("motor")
            assert own
            assert motor
            phase = 2 * np.pi * turns * own / motor
            sound += 0.06 * (own / 15.0) ** 2 * np.cos(phase) * rng.uniform(0.8, 1.2)
            bent = bend if name == "motor" else 0.0
            sound += (0.01 + bent) * (own / 15.0) ** 2 * np.cos(2 * phase + 1.0)
        takes.append(take_of(position.label, sound, rate_hz=RATE_HZ))
    return diagnose(MACHINE, takes)


def test_what_pushes_twice_a_turn_of_both_is_named_by_both_names() -> None:
    first = told(0.3).findings[0]
    assert (first.parts, first.fault) == (("motor", "I"), "bent or misaligned")
    assert first.probability > 0.85


def test_sound_ones_are_not() -> None:
    assert not [each for each in told(0.0).findings if each.probability > 0.3]
