"""A pump is accused by pulses louder than teeth, and by nothing less."""

from __future__ import annotations

import numpy as np
import pytest

from vibecheck.diagnosis.readings.pump_readings import PumpTones
from vibecheck.diagnosis.suspects.pumps import lean


def tones(level_db: float, above_db: float, *, takes: int = 8, counted: bool = True) -> PumpTones:
    return PumpTones(
        pump="oil pump",
        rotor="I",
        vanes=7,
        counted=counted,
        levels_db=dict.fromkeys(range(takes), level_db),
        level_db=level_db,
        multiples=1.0,
        above_db=above_db,
    )


def test_a_pump_much_louder_than_working_teeth_is_possibly_at_fault_and_no_more() -> None:
    assert 1.0 < lean(tones(8.0, 12.0)) <= lean(tones(30.0, 40.0))
    assert 1 / (1 + np.exp(-lean(tones(30.0, 40.0)))) < 0.85


def test_a_pump_as_loud_as_working_teeth_may_well_be_sound() -> None:
    assert lean(tones(0.0, 15.0)) < 0.0


@pytest.mark.parametrize(("level_db", "above_db"), [(-12.0, 12.0), (2.0, -8.0), (-30.0, -20.0)])
def test_a_pump_that_is_quiet_or_does_not_stand_out_is_not(
    level_db: float, above_db: float
) -> None:
    assert lean(tones(level_db, above_db)) < -2.0


def test_louder_never_speaks_for_a_sound_pump() -> None:
    leans = [lean(tones(level, 10.0)) for level in range(-30, 20, 2)]
    assert leans == sorted(leans)


def test_two_takes_are_too_few_to_accuse() -> None:
    assert lean(tones(20.0, 20.0, takes=2)) <= 1.0


def test_uncounted_vanes_must_sound_louder() -> None:
    assert lean(tones(3.5, 12.0, counted=False)) < 0.0 < lean(tones(3.5, 12.0))
