"""What explains a tone that stays put: the mains, a shaft, a belt, the motor?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.readings.fixed_tones import FixedTone
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.machine.mains import true_mains_hz
from vibecheck.machine.parts import Machine
from vibecheck.units import SECONDS_PER_MINUTE

NEAR_MAINS, SHARP_MAINS = 0.003, 0.0012
"""Mains are this steady; a multiple of a motor seldom comes within the sharper."""
MAINS_NEAR, MAINS_HZ = 0.0025, 0.6
"""A line of a cut nearer a multiple of the mains than this, relative and in hertz, is the mains."""
MOST_ELECTRIC = 14
"""Higher multiples of the supply are weak, and lie so close that chance finds one."""
SWITCHES_HZ, CLOCK, SWITCHED_NEAR = 1000.0, 6e-5, 0.02
"""Inverters switch faster than this, as steadily as a clock (relative scatter), and their lines lie
so near even multiples of the fed frequency apart (plates are rounded)."""
MOTOR_TIMES, MOTOR_DOWN, MOTOR_UP = 8, 0.97, 1.065
"""Multiples of a motor that are heard, and the shares of its plate's speed between which it runs;
never beyond the mains, where its poles are known."""


def at_true_mains(heard: Listened) -> Machine:
    """The machine, on the other mains when all its speeds, or the motor's plate, say so."""
    machine = heard.machine
    mains_hz = true_mains_hz(machine, heard.speeds.scale)
    if mains_hz == machine.supply.mains_hz:
        return machine
    return replace(machine, supply=replace(machine.supply, mains_hz=mains_hz))


def mains_multiple(machine: Machine, hz: float, *, within: float = NEAR_MAINS) -> int:
    """Which multiple of twice the mains a tone is; 0 for none."""
    twice = 2.0 * machine.supply.mains_hz
    times = round(hz / twice)
    return times if times >= 1 and abs(hz / (times * twice) - 1) < within else 0


def of_the_mains(hz: float, mains_hz: float) -> bool:
    """A line so near a multiple of the mains is of the supply; a tool that sings there by chance
    wanders off it."""
    times = round(hz / mains_hz)
    return times >= 1 and abs(hz - times * mains_hz) < min(MAINS_HZ, MAINS_NEAR * hz)


def electric(heard: Listened, tone: FixedTone) -> bool:
    """A multiple of the mains, or of what an inverter feeds the motor with; or its switching."""
    supply = heard.machine.supply
    if _switching(heard, tone):
        return True
    rates = [at_true_mains(heard).supply.mains_hz]
    if supply.kind == "inverter" and supply.hz.value:
        rates.append(supply.hz.value)
    return any(
        round(tone.hz / rate) >= 1
        and abs(tone.hz / (rate * round(tone.hz / rate)) - 1.0) < SHARP_MAINS
        and round(tone.hz / rate) <= MOST_ELECTRIC
        for rate in rates
    )


def _switching(heard: Listened, tone: FixedTone) -> bool:
    """Whether a tone is one of those that an inverter's switching makes: high, steady as a clock,
    and even multiples of the fed frequency apart (textbook: sidebands of the carrier)."""
    supply = heard.machine.supply
    fed_hz = supply.hz.value if supply.kind == "inverter" else None
    if not fed_hz or tone.hz < SWITCHES_HZ or tone.spread > CLOCK:
        return False
    apart = [abs(other.hz - tone.hz) for other in heard.fixed if other is not tone]
    return any(abs(gap - k * fed_hz) < SWITCHED_NEAR * k * fed_hz for gap in apart for k in (2, 4))


def carried(heard: Listened, tone: FixedTone) -> bool:
    """Whether something that turns at a steady rate explains it: a shaft, the motor, a belt."""
    if mains_multiple(at_true_mains(heard), tone.hz, within=SHARP_MAINS):
        return False
    return _on_a_rotor(heard, tone) or _on_a_belt(heard, tone) or _on_the_motor(heard, tone)


def _on_a_rotor(heard: Listened, tone: FixedTone) -> bool:
    """A low multiple of one rotor's own speed in most takes, as those speeds were heard."""
    names = {name for take in heard.takes for name in take.turning_ratios()}
    for name in names:
        speeds = [hz for take in heard.takes if (hz := take.rotor_hz(name))]
        for times in range(1, 13):
            near = [abs(tone.hz / (times * hz) - 1) < 0.003 for hz in speeds]
            if len(near) > 2 and np.mean(near) > 0.6:
                return True
    return False


def _on_a_belt(heard: Listened, tone: FixedTone) -> bool:
    """Up to the eighth multiple of a belt's rate, within what belts stretch and slip."""
    for work in (w for take in heard.takes for w in take.turning.belts if w.order is not None):
        driver = heard.takes[0].turning.nominal_hz(work.driver) if heard.takes else None
        if driver is None or work.order is None:
            continue
        times = tone.hz / (work.order * driver * heard.speeds.scale)
        if 0.5 < times < 8.5 and abs(times - round(times)) < 0.03 * times:
            return True
    return False


def _on_the_motor(heard: Listened, tone: FixedTone) -> bool:
    """One or two turns of the motor, anywhere between its plate and its supply."""
    motor = heard.machine.motor
    plate = motor.plate_rpm.middle if motor else None
    if plate is None:
        return False
    return _near_a_multiple(tone.hz, plate, 0.98, MOTOR_UP, 2)


def may_be_the_motors(machine: Machine, hz: float) -> bool:
    """Whether a tone may be a multiple of the motor's turns, its rotor's bars among them."""
    motor = machine.motor
    plate = motor.plate_rpm.middle if motor and not motor.speeds else None
    if plate is None or machine.supply.kind == "inverter":
        return True
    most = MOTOR_UP
    if motor and motor.poles.value:
        field_rpm = 2.0 * machine.supply.mains_hz / motor.poles.value * SECONDS_PER_MINUTE
        most = min(most, SHARP_MAINS + field_rpm / plate)
    beyond = hz * SECONDS_PER_MINUTE > MOTOR_TIMES * plate
    return beyond or _near_a_multiple(hz, plate, MOTOR_DOWN, most, MOTOR_TIMES)


def _near_a_multiple(hz: float, plate_rpm: float, low: float, high: float, upto: int) -> bool:
    """Whether a tone is a multiple of what turns between two shares of a plate's speed."""
    times = hz * SECONDS_PER_MINUTE / plate_rpm
    return any(low * k < times < high * k for k in range(1, upto + 1))
