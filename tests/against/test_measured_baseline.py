"""A measured gearbox against its own baseline: two-stage box mirrored from OpenEI 623.

Gears 32/80 and 48/64 are inferred from the lines, and which gear has the broken tooth is not
documented, so that nothing may be named for sure; healthy against healthy nothing has changed.
"""

from __future__ import annotations

import gzip

import measured
import numpy as np
import pytest

from vibecheck.diagnosis.findings import Diagnosis, Fact
from vibecheck.machine.parts import (
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Position,
    Supply,
)
from vibecheck.pipeline import diagnose
from vibecheck.recording import Recording, Take

LOADS = ("0", "90")
BOX = Machine(
    name="two-stage gearbox",
    supply=Supply(mains_hz=60.0),
    motor=Motor(plate_rpm=Known.exactly(1780), shaft="in"),
    shafts=("in", "mid", "spindle"),
    gears=tuple(
        Gear(name=f"{teeth}T", shaft=shaft, teeth=Known.exactly(teeth))
        for teeth, shaft in ((32, "in"), (80, "mid"), (48, "mid"), (64, "spindle"))
    ),
    meshes=(Mesh(driver="32T", driven="80T"), Mesh(driver="48T", driven="64T")),
    groups=(LeverGroup(name="load", settings=LOADS),),
    positions=tuple(Position(levers={"load": load}) for load in LOADS),
)
"""The two loads stand for two lever positions."""


def takes(state: str, channel: int, part: tuple[float, float] = (0.0, 1.0)) -> list[Take]:
    """Both loads of a state ("h" or "b"), or a part of them."""
    found = []
    for load, position in zip(LOADS, BOX.positions, strict=True):
        with gzip.open(measured.path(f"sq_gear/{state}30hz{load}.csv.gz")) as packed:
            every = np.loadtxt(packed, delimiter=",", skiprows=1, dtype=np.float32)[:, channel]
        low, high = (int(share * every.size) for share in part)
        recording = Recording(
            samples=every[low:high], rate_hz=12800.0, quantity="acceleration", unit="m/s^2"
        )
        found.append(Take(recording=recording, position=position.label))
    return found


def risen(told: Diagnosis) -> list[Fact]:
    """What is said to have risen since the baseline."""
    facts = [each for finding in told.findings for each in finding.evidence]
    return [each for each in facts if each.kind.startswith("risen")]


@pytest.mark.parametrize("channel", range(4))
def test_a_healthy_gearbox_has_not_changed_since_it_was_healthy(channel: int) -> None:
    told = diagnose(BOX, takes("h", channel, (0.5, 1.0)), baseline=takes("h", channel, (0.0, 0.5)))
    assert told.faults_named == ()
    assert not [
        each for finding in told.findings for each in finding.evidence if "risen" in each.kind
    ]


@pytest.mark.parametrize("channel", [0, 2])
def test_with_a_broken_tooth_something_has_risen_and_two_takes_name_nobody(channel: int) -> None:
    told = diagnose(BOX, takes("b", channel), baseline=takes("h", channel))
    assert risen(told)
    assert told.faults_named == ()
