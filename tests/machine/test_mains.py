"""Which mains feeds a machine: the table's, unless the plate and the speeds say another."""

from __future__ import annotations

import pytest

from vibecheck.machine.mains import mains_by_plate, true_mains_hz
from vibecheck.machine.parts import Known, Machine, Motor, Supply


def machine(plate: float, stated: float, poles: int | None = 4, kind: str = "three-phase"):
    known = Known.exactly(poles) if poles else Known()
    return Machine(
        name="invented",
        motor=Motor(poles=known, plate_rpm=Known.exactly(plate)),
        supply=Supply(mains_hz=stated, kind=kind),  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("plate", "stated", "poles", "needed"),
    [
        (1730, 50.0, 4, 60.0),
        (1440, 60.0, 4, 50.0),
        (1440, 50.0, 4, None),
        (1725, 60.0, 4, None),
        (1730, 50.0, None, 60.0),
        (1150, 50.0, 6, 60.0),
        (2000, 50.0, 4, None),
    ],
)
def test_a_plate_says_which_mains_its_motor_was_made_for(plate, stated, poles, needed) -> None:
    """Synchronous speed is 120 f / poles (any textbook); a loaded motor slips a few per cent."""
    assert mains_by_plate(machine(plate, stated, poles)) == needed


def test_a_drive_or_direct_current_leaves_the_mains_open() -> None:
    assert mains_by_plate(machine(1730, 50.0, kind="inverter")) is None
    assert mains_by_plate(Machine(name="no motor")) is None


@pytest.mark.parametrize(
    ("plate", "stated", "scale", "true"),
    [
        (1440, 50.0, 1.01, 50.0),
        (1440, 50.0, 1.21, 60.0),
        (1725, 60.0, 0.84, 50.0),
        (1730, 50.0, 1.0, 60.0),
        (1440, 60.0, 1.2, 60.0),
        (1440, 50.0, 1.4, 50.0),
    ],
    ids=["right", "60 for 50", "50 for 60", "plate of 60", "50 Hz motor on 60", "neither"],
)
def test_the_speeds_heard_decide_together_with_the_plate(plate, stated, scale, true) -> None:
    assert true_mains_hz(machine(plate, stated), scale) == true
