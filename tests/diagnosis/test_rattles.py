"""Something loose: the loudness comes and goes with half turns, whether or not a tone does.

The takes are our own sums of tooth tones, noise and blows; nothing of the package's synthesis.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from tests.diagnosis.invented_sweeps import (
    eight_speed_lathe,
    ringing,
    swaying_turns,
    take_of,
    tooth_tones,
)
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.readings.listened import Listened, listen
from vibecheck.machine.parts import Bearing, Known, Machine
from vibecheck.machine.turning import turning
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take

RATE_HZ, SECONDS, FIRST_HZ = 12000.0, 10.0, 14.4
THRUST = Bearing(
    name="thrust",
    shaft="spindle",
    kind="thrust ball",
    elements=Known.exactly(14),
    element_mm=Known.exactly(9.5),
    pitch_mm=Known.exactly(60.0),
    angle_deg=Known.exactly(90.0),
)


def recorded(machine: Machine, label: str, number: int, shaft: str, every: float) -> Take:
    """Tooth tones and noise; a blow of uneven strength every so many turns of one shaft."""
    rng = np.random.default_rng(400 + number)
    where = turning(machine, next(p for p in machine.positions if p.label == label))
    first = where.nominal_hz("I")
    own = where.nominal_hz(shaft)
    assert first
    assert own
    turns = swaying_turns(FIRST_HZ, rng, rate_hz=RATE_HZ, seconds=SECONDS)
    sound = 0.5 * rng.normal(size=turns.size) + tooth_tones(where, "I", turns)
    if every:
        blows = np.flatnonzero(np.diff(np.floor(turns * own / first / every + 0.3)) > 0)
        struck = np.zeros(turns.size)
        struck[blows] = 4.0 * (1 + 0.3 * rng.normal(size=blows.size))
        sound += ringing(struck, rate_hz=RATE_HZ, fades=18.0)
    return take_of(label, sound, rate_hz=RATE_HZ)


def swept(machine: Machine, shaft: str, every: float) -> list[Take]:
    labels = [position.label for position in machine.positions]
    return [recorded(machine, label, n, shaft, every) for n, label in enumerate(labels)]


@cache
def told(shaft: str, every: float) -> Diagnosis:
    return diagnose(eight_speed_lathe(), swept(eight_speed_lathe(), shaft, every))


def heard(machine: Machine, shaft: str, every: float) -> Listened:
    where = {each.label: turning(machine, each) for each in machine.positions}
    return listen(machine, where, swept(machine, shaft, every), lambda *_: None)


def halves(listened: Listened, shaft: str) -> float:
    return float(np.median([row[shaft].halves for row in listened.turns]))


def test_what_rattles_every_other_turn_is_loose() -> None:
    sure = [each for each in told("spindle", 2.0).findings if each.probability >= 0.85]
    assert [(each.part, each.fault) for each in sure] == [
        ("spindle", "loose on its shaft or in its seat")
    ]


def test_a_sound_machine_is_not() -> None:
    assert not [each for each in told("spindle", 0.0).findings if each.probability > 0.3]


def test_half_turns_are_read_in_the_loudness_and_only_of_what_rattles() -> None:
    """A blow every turn has no half multiples, nor have shafts that turn at other speeds."""
    rattling = heard(eight_speed_lathe(), "spindle", 2.0)
    assert halves(rattling, "spindle") > 2.0
    assert halves(rattling, "III") < 1.3
    assert halves(heard(eight_speed_lathe(), "spindle", 1.0), "spindle") < 1.3


def test_a_cage_that_comes_round_every_other_turn_leaves_it_open() -> None:
    """The cage of a thrust bearing does: no rattle is read on its shaft."""
    plain = eight_speed_lathe()
    assert halves(heard(plain, "spindle", 2.0), "spindle") > 2.0
    assert halves(heard(replace(plain, bearings=(THRUST,)), "spindle", 2.0), "spindle") < 1.3
