"""A machine with something in every place where its owner knows nothing."""

from __future__ import annotations

from dataclasses import replace

from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Bearing, Known, Machine

_STAND_INS = (23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83, 89)


def with_stand_ins(machine: Machine) -> Machine:
    """The machine with a stand-in for every unknown number that decides a speed.

    The stand-ins are not guesses: with them the machine merely has *some* speeds, which move with
    the levers exactly as the true ones do.
    """
    gears = tuple(
        gear
        if gear.teeth.value
        else replace(gear, teeth=Known.exactly(_STAND_INS[i % len(_STAND_INS)], "guessed"))
        for i, gear in enumerate(machine.gears)
    )
    belts = tuple(
        replace(
            belt,
            driver_mm=belt.driver_mm if belt.driver_mm.middle else Known.exactly(100.0),
            driven_mm=belt.driven_mm if belt.driven_mm.middle else Known.exactly(170.0 + 13.0 * i),
            driver_teeth=belt.driver_teeth if belt.driver_teeth.value else Known.exactly(26.0),
            driven_teeth=belt.driven_teeth if belt.driven_teeth.value else Known.exactly(41.0 + i),
            belt_teeth=belt.belt_teeth if belt.belt_teeth.value else Known.exactly(97.0 + i),
            length_mm=belt.length_mm if belt.length_mm.middle else Known.exactly(1237.0 + 31.0 * i),
        )
        for i, belt in enumerate(machine.belts)
    )
    motor = machine.motor
    if motor is not None and motor.plate_rpm.middle is None and motor.poles.value is None:
        motor = replace(motor, plate_rpm=Known.exactly(1430.0, "guessed"))
    return replace(
        machine,
        gears=gears,
        belts=belts,
        motor=motor,
        bearings=tuple(_bearing_stand_in(i, b) for i, b in enumerate(machine.bearings)),
        pumps=tuple(
            pump if pump.vanes.value else replace(pump, vanes=Known.exactly(7))
            for pump in machine.pumps
        ),
    )


def _bearing_stand_in(number: int, bearing: Bearing) -> Bearing:
    if orders_of(bearing) is not None:
        return bearing
    outer = 4.137 + 0.619 * number
    return replace(bearing, kind="unknown", multipliers={"outer": outer, "inner": outer * 1.3})
