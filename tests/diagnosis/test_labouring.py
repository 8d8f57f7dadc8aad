"""A motor that labours: the faster the spindle, the slower everything turns against the table.

The takes are our own sums of tooth tones and noise; nothing of the package's synthesis.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.diagnosis.invented_sweeps import eight_speed_lathe, swaying_turns, take_of, tooth_tones
from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.found import TakeSpeed
from vibecheck.diagnosis.speeds.labouring import expected_scales
from vibecheck.machine.turning import turning

MACHINE = eight_speed_lathe()
FILED = [turning(MACHINE, each) for each in MACHINE.positions]
SPINDLE_HZ = np.array([each.nominal_hz("spindle") for each in FILED], dtype=float)
RATE_HZ, SECONDS = 12000.0, 10.0


def speeds(scales: np.ndarray) -> list[TakeSpeed]:
    return [
        TakeSpeed(turning=where, filed=where.label, found=True, scale=float(scale))
        for where, scale in zip(FILED, scales, strict=True)
    ]


def labouring(slip: float) -> np.ndarray:
    """True over table speed where the motor slips by ``slip`` more at the fastest position."""
    return np.asarray(1.02 * (1.0 - slip * SPINDLE_HZ / SPINDLE_HZ.max()))


def test_the_slope_is_that_of_most_pairs_of_takes_whatever_one_of_them_says() -> None:
    scales = labouring(0.022)
    wrong = scales.copy()
    wrong[int(SPINDLE_HZ.argmax())] = 1.02
    assert expected_scales(speeds(wrong), FILED) == pytest.approx(scales, abs=1.5e-3)


def test_no_motor_is_quicker_for_its_load() -> None:
    rising = speeds(2.0 - labouring(0.02))
    found = expected_scales(rising, FILED)
    assert found is not None
    assert np.ptp(found) == 0.0


def test_two_takes_tell_no_slope() -> None:
    silent = [
        replace(each, found=number < 2) for number, each in enumerate(speeds(labouring(0.02)))
    ]
    assert expected_scales(silent, FILED) is None


@pytest.mark.parametrize("slip", [0.0, 0.024])
def test_every_speed_is_found_whether_or_not_the_motor_labours(slip: float) -> None:
    takes, true_hz = [], []
    for number, (where, scale) in enumerate(zip(FILED, labouring(slip), strict=True)):
        rng = np.random.default_rng(700 + number)
        nominal = where.nominal_hz("I")
        assert nominal
        turns = swaying_turns(nominal * scale, rng, rate_hz=RATE_HZ, seconds=SECONDS)
        sound = tooth_tones(where, "I", turns) + 0.6 * rng.normal(size=turns.size)
        takes.append(made_ready(take_of(where.label, sound, rate_hz=RATE_HZ)))
        true_hz.append(turns[-1] / SECONDS)
    found = fit_speeds({each.label: each for each in FILED}, takes)
    assert all(each.found for each in found.takes)
    heard_hz = [
        next(iter(each.tracks.values())).mean_hz * where.rotors["I"].ratio
        for each, where in zip(found.takes, FILED, strict=True)
    ]
    assert heard_hz == pytest.approx(true_hz, rel=2e-4)
