"""How fast the motor turns by its plate, its poles and what feeds it."""

from __future__ import annotations

from vibecheck.machine.parts import Known, Machine, Motor, Position, Supply
from vibecheck.units import hz

Span = tuple[float | None, float | None, float | None]
"""Likely, lowest and highest turns a second; None when nothing is known."""

_PLATE_RANGE = 0.05
_ANY_INVERTER = (0.1, 1.6)
"""What an inverter of unknown frequency may make of the plate's speed."""


def motor_span(machine: Machine, position: Position) -> Span:
    """The motor's speed to be expected at one lever position.

    The plate's speed is that of full load at mains frequency; at idle the motor runs a little
    faster, which the range allows for. An inverter shifts the synchronous speed, not the slip.
    """
    motor = machine.motor
    if motor is None:
        return None, None, None
    plate = _plate(motor, position).middle
    poles, supply = motor.poles.value, machine.supply
    if plate is None:
        return _synchronous(poles, supply)
    likely = hz(plate)
    if supply.kind != "inverter":
        return likely, likely * (1 - _PLATE_RANGE), likely * (1 + _PLATE_RANGE)
    if supply.hz.low is None or supply.hz.high is None or supply.hz.middle is None:
        return likely, likely * _ANY_INVERTER[0], likely * _ANY_INVERTER[1]
    speeds = [
        _fed(likely, poles, supply.mains_hz, fed)
        for fed in (supply.hz.middle, supply.hz.low, supply.hz.high)
    ]
    return speeds[0], speeds[1] * (1 - _PLATE_RANGE), speeds[2] * (1 + _PLATE_RANGE)


def _plate(motor: Motor, position: Position) -> Known:
    here = [speed.plate_rpm for speed in motor.speeds if position.fits(speed.when)]
    return here[0] if here else motor.plate_rpm


def _fed(plate_hz: float, poles: float | None, mains_hz: float, fed_hz: float) -> float:
    if not poles:
        return plate_hz * fed_hz / mains_hz
    slip_hz = 2.0 * mains_hz / poles - plate_hz
    return max(2.0 * fed_hz / poles - slip_hz, 0.1 * plate_hz)


def _synchronous(poles: float | None, supply: Supply) -> Span:
    if not poles or supply.hz.low is None or supply.hz.high is None:
        return None, None, None
    middle = supply.hz.middle or supply.hz.high
    return (
        2.0 * middle / poles * 0.97,
        2.0 * supply.hz.low / poles * 0.90,
        2.0 * supply.hz.high / poles * 1.01,
    )


def slip_hz(poles: float, supply_hz: float, turn_hz: float) -> float:
    """How far the rotor turns behind the field, turns a second of the shaft.

    >>> round(slip_hz(6, 60.0, 1152.0 / 60.0), 6)
    0.8
    """
    return 2.0 * supply_hz / poles - turn_hz


def pole_pass_hz(poles: float, supply_hz: float, turn_hz: float) -> float:
    """How often a pole of the field passes a bar of the rotor: poles times slip.

    A broken bar or an uneven gap beats at this rate beside the motor's turning line.

    >>> round(pole_pass_hz(6, 60.0, 1152.0 / 60.0), 6)
    4.8
    """
    return poles * slip_hz(poles, supply_hz, turn_hz)
