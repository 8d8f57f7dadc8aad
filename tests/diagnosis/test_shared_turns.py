"""Whose is a tone that two shafts share where they are clutched together?

A cone and a spindle that turn as one in direct drive, the spindle at a tenth of it in back gear.
Levels are our own; the square of speed is common knowledge of unbalance.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum, TurnLines, coupled_rotors, turn_lines
from vibecheck.diagnosis.readings.shared_turns import with_shared
from vibecheck.diagnosis.readings.turn_pushes import CLEAR

CONE_HZ = (6.1, 8.3, 11.2)
BACK = 0.1
TURNS = 150.0


def take(cone_hz: float, *, direct: bool) -> Heard:
    ratios = {"cone": 1.0, "spindle": 1.0 if direct else BACK}
    machine = SimpleNamespace(supply=SimpleNamespace(mains_hz=60.0), shafts=tuple(ratios))
    turning = SimpleNamespace(machine=machine, belts=(), rotors=ratios, meshes=())
    support = SimpleNamespace(low_hz=0.0)
    ready = SimpleNamespace(take=SimpleNamespace(recording=SimpleNamespace(support=support)))
    made = SimpleNamespace(
        turning_ratios=lambda: ratios, turning=turning, base_hz=cone_hz, ready=ready
    )
    return cast(Heard, made)


def spectrum(cone_hz: float, tones: dict[float, float]) -> LineSpectrum:
    """A floor of 1e-9 and tones of these amplitudes at these orders of the cone."""
    floor = np.full(round(50 * TURNS), 1e-9)
    power = floor.copy()
    for order, amplitude in tones.items():
        power[round(order * TURNS)] += 0.5 * amplitude**2
    return LineSpectrum(power=power, floor=floor, turns=TURNS, base_hz=cone_hz)


def heard(cone: float, spindle: float, *, back_gear: bool = True) -> list[dict[str, TurnLines]]:
    """Tones of all takes of shafts so far out of balance, direct drive first."""
    takes, spectra = [], []
    for direct in (True, False) if back_gear else (True,):
        for hz in CONE_HZ:
            push = (hz / CONE_HZ[-1]) ** 2
            tones = {1.0: push * (cone + spindle if direct else cone)}
            if not direct:
                tones[BACK] = BACK**2 * push * spindle
            takes.append(take(hz, direct=direct))
            spectra.append(spectrum(hz, tones))
    coupled = (
        coupled_rotors(takes) if back_gear else {n: frozenset({n}) for n in ("cone", "spindle")}
    )
    rows = [
        {name: turn_lines(t, s, name, coupled=coupled[name]) for name in ("cone", "spindle")}
        for t, s in zip(takes, spectra, strict=True)
    ]
    return with_shared(takes, spectra, rows, coupled)


def owners(rows: list[dict[str, TurnLines]]) -> list[set[str]]:
    return [{n for n, line in row.items() if line.over_floor > CLEAR} for row in rows[:3]]


def test_a_shared_tone_is_the_spindles_where_the_cone_by_itself_is_quiet() -> None:
    assert owners(heard(cone=0.003, spindle=0.05)) == [{"spindle"}] * 3


def test_it_is_nobodys_where_the_cone_makes_as_much_by_itself() -> None:
    assert owners(heard(cone=0.05, spindle=0.002)) == [set()] * 3


def test_it_is_nobodys_where_neither_turns_apart() -> None:
    assert owners(heard(cone=0.003, spindle=0.05, back_gear=False)) == [set()] * 3


def test_a_tone_that_is_not_given_to_a_shaft_bounds_it_all_the_same() -> None:
    for row in heard(cone=0.05, spindle=0.002)[:3]:
        assert row["spindle"].limit_db == row["spindle"].once_db
        assert np.isfinite(row["spindle"].limit_db)
