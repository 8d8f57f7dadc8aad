"""The smallest machine: one shaft at one speed, with the bearings someone gave numbers for."""

from __future__ import annotations

from vibecheck.machine.parts import Bearing, Known, Machine, Motor, Position, Supply


def one_shaft(rpm: float | None, bearings: tuple[Bearing, ...] = ()) -> Machine:
    """A machine of one shaft, for a single recording with nothing but a speed to go by.

    Parameters
    ----------
    rpm : float or None
        Speed as far as it is known; the true one is sought within a few per cent.
    bearings : tuple of Bearing
        Their ``shaft`` must be "shaft".
    """
    plate = Known.exactly(rpm, "measured") if rpm else Known()
    return Machine(
        name="one shaft",
        supply=Supply(),
        motor=Motor(shaft="shaft", plate_rpm=plate),
        shafts=("shaft",),
        spindle="shaft",
        bearings=bearings,
        positions=(Position(levers={}),),
    )
