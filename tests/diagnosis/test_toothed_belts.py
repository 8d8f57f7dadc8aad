"""A toothed belt sounds as gears do, and must not pass for a pair of them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.invented_sweeps import swaying_turns, take_of
from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.lines import pinning_lines
from vibecheck.machine.parts import (
    Belt,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Position,
    Supply,
)
from vibecheck.machine.turning import turning

RATE_HZ, SECONDS = 12000.0, 12.0
STEPS = (("1", 80, 120), ("2", 92, 108), ("3", 108, 92), ("4", 120, 80))


def milling_head() -> Machine:
    """A belt of four steps to the hub, a toothed belt 26/45 to the countershaft, one pair 22/109.

    A turn of the hub passes 26 teeth of the belt, and 2 x 12.71 of the pair: 2.3 % beside it.
    """
    steps = tuple(
        Belt(
            name="step belt",
            driver="motor",
            driven="hub",
            driver_mm=Known.exactly(big),
            driven_mm=Known.exactly(small),
            length_mm=Known.exactly(1250),
            slip=Known.between(0.0, 0.03),
            when={"S": (step,)},
        )
        for step, big, small in STEPS
    )
    toothed = Belt(
        name="toothed belt",
        driver="hub",
        driven="countershaft",
        driver_teeth=Known.exactly(26),
        driven_teeth=Known.exactly(45),
        toothed=True,
    )
    return Machine(
        name="milling head",
        supply=Supply(hz=Known.exactly(50), kind="three-phase", mains_hz=50.0),
        motor=Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1430)),
        shafts=("motor", "hub", "countershaft", "spindle"),
        gears=(
            Gear(name="pinion", shaft="countershaft", teeth=Known.exactly(22)),
            Gear(name="wheel", shaft="spindle", teeth=Known.exactly(109)),
        ),
        meshes=(Mesh(driver="pinion", driven="wheel"),),
        belts=(*steps, toothed),
        groups=(LeverGroup(name="S", settings=tuple(step for step, _, _ in STEPS)),),
        positions=tuple(Position(levers={"S": step}) for step, _, _ in STEPS),
    )


HEAD = milling_head()


def test_its_teeth_are_among_the_lines_that_pin_a_speed() -> None:
    where = turning(HEAD, HEAD.positions[0])
    hub = where.rotors["hub"]
    orders = pinning_lines(where, hub.group, 4000.0).orders / hub.ratio
    for wanted in (26.0, 52.0, 22 * 26 / 45, 2 * 22 * 26 / 45):
        assert np.min(np.abs(orders - wanted)) < 1e-6


def test_a_loud_belt_beside_a_quiet_pair_does_not_set_all_speeds_two_per_cent_off() -> None:
    takes, true_hz = [], []
    where = [turning(HEAD, each) for each in HEAD.positions]
    for number, at in enumerate(where):
        rng = np.random.default_rng(60 + number)
        nominal = at.nominal_hz("hub")
        assert nominal
        turns = swaying_turns(1.01 * nominal, rng, rate_hz=RATE_HZ, seconds=SECONDS)
        sound = rng.normal(size=turns.size)
        for order, level in ((26.0, 0.5), (22 * 26 / 45, 0.05)):
            for k in (1, 2, 3):
                sound += level / k * np.cos(2 * np.pi * k * order * turns + k)
        takes.append(made_ready(take_of(at.label, sound, rate_hz=RATE_HZ)))
        true_hz.append(turns[-1] / SECONDS)
    found = fit_speeds({each.label: each for each in where}, takes).takes
    assert all(each.found for each in found)
    heard_hz = [
        each.tracks[at.rotors["hub"].group].mean_hz * at.rotors["hub"].ratio
        for each, at in zip(found, where, strict=True)
    ]
    assert heard_hz == pytest.approx(true_hz, rel=3e-4)
