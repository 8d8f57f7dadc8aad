"""Which mains feeds the machine: what the table says, what the plate allows, what speeds tell."""

from __future__ import annotations

from vibecheck.machine.parts import Machine
from vibecheck.units import rpm

USUAL_HZ = (50.0, 60.0)
USUAL_POLES = (2.0, 4.0, 6.0, 8.0)
MOST_SLIP = 0.12
"""A motor's plate gives a speed no further under its synchronous one (common practice)."""
SLOWER, FASTER = 0.95, 1.07
"""How far true speeds may lie from those by the plate: motors labour or idle, belts slip."""


def mains_by_plate(machine: Machine) -> float | None:
    """The mains that the motor's plate speed needs; None where the stated one will do, or nobody
    can tell.

    >>> from vibecheck.machine.parts import Known, Machine, Motor, Supply
    >>> motor = Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1730))
    >>> mains_by_plate(Machine(name="", motor=motor, supply=Supply(mains_hz=50.0)))
    60.0
    """
    motor, stated = machine.motor, machine.supply.mains_hz
    plate = motor.plate_rpm.value if motor and not motor.speeds else None
    if motor is None or plate is None or machine.supply.kind in ("inverter", "direct current"):
        return None
    poles = (motor.poles.value,) if motor.poles.value else USUAL_POLES
    if _reached(plate, stated, poles):
        return None
    return next((hz for hz in USUAL_HZ if hz != stated and _reached(plate, hz, poles)), None)


def _reached(plate_rpm: float, mains_hz: float, poles: tuple[float, ...]) -> bool:
    """Whether a motor of one of these numbers of poles can have that speed on its plate."""
    return any(1.0 - MOST_SLIP <= plate_rpm / rpm(2.0 * mains_hz / n) <= 1.0 for n in poles)


def true_mains_hz(machine: Machine, scale: float) -> float:
    """The mains by the speeds heard: ``scale`` is what they are over those by table and plate.

    >>> from vibecheck.machine.parts import Supply
    >>> true_mains_hz(Machine(name="", supply=Supply(mains_hz=50.0)), 1.21)
    60.0
    """
    stated = machine.supply.mains_hz
    base = mains_by_plate(machine) or stated
    for hz in (stated, *USUAL_HZ):
        if SLOWER < scale * base / hz < FASTER:
            return hz
    return stated
