"""The true angle of everything that turns, sample by sample."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import SpeedError
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import BeltAtWork, Turning
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.individual import Individual
from vibecheck.synth.waves import Signal, Turns, fraction, wander

Course = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Motion:
    """How everything turned during one take.

    Attributes
    ----------
    turning : Turning
        What turns with whom.
    rate_hz : float
    group_turns : dict of ndarray
        Turns since the start of each rigid group, one value a sample.
    mains_turns : ndarray
        Cycles of the mains since the start.
    supply_turns : ndarray
        Cycles of what feeds the motor.
    motor_on : ndarray
        1 where the motor is fed, 0 after it was switched off.
    offset : dict
        Where each rotor stood at the start, in turns.
    """

    turning: Turning
    rate_hz: float
    group_turns: dict[str, Turns]
    mains_turns: Turns
    supply_turns: Turns
    motor_on: Signal
    offset: dict[str, float]
    _fractions: dict[str, Signal] = field(default_factory=dict)

    @property
    def frames(self) -> int:
        """Samples."""
        return int(self.mains_turns.size)

    def turns(self, rotor: str) -> Turns:
        """Turns of a rotor since some zero of its own."""
        turn = self.turning.rotors[rotor]
        out: Turns = self.group_turns[turn.group] * turn.ratio + self.offset[rotor]
        return out

    def where(self, rotor: str) -> Signal:
        """Where in its turn a rotor stands, 0..1."""
        if rotor not in self._fractions:
            self._fractions[rotor] = fraction(self.turns(rotor))
        return self._fractions[rotor]

    def speed_hz(self, rotor: str) -> float:
        """Mean speed of a rotor over the take, turns a second."""
        turn = self.turning.rotors[rotor]
        course = self.group_turns[turn.group]
        return float((course[-1] - course[0]) * turn.ratio * self.rate_hz / (course.size - 1))


def motion(
    turning: Turning,
    individual: Individual,
    conditions: Conditions,
    rng: np.random.Generator,
    frames: int,
    rate_hz: float,
    *,
    power_off_s: float | None = None,
) -> Motion:
    """Run the machine for one take: mains, slip of motor and belts, drift and hunting.

    ``power_off_s`` switches the motor off at that moment; everything then coasts to rest.
    """
    seconds = frames / rate_hz
    mains = turning.machine.supply.mains_hz + conditions.supply_offset_hz
    mains_course = mains + 0.006 * wander(rng, seconds, 0.1, frames)
    on = np.ones(frames, dtype=np.float32)
    coast: Course | float = 1.0
    if power_off_s is not None:
        time = np.arange(frames) / rate_hz
        on[time > power_off_s] = 0.0
        length = float(rng.uniform(2.0, 6.0))
        left = np.clip(1 - np.clip(time - power_off_s, 0, None) / length, 0, 1)
        coast = left ** float(rng.uniform(1.0, 1.4))
    supply = _supply_course(turning.machine, mains_course)
    first, speeds = _motor_speed(turning, individual, conditions, supply, rng)
    courses: dict[str, Course] = {first: speeds * coast}
    _spread_through_belts(turning, individual, conditions, rng, courses, seconds)
    return Motion(
        turning=turning,
        rate_hz=rate_hz,
        group_turns={name: np.cumsum(course) / rate_hz for name, course in courses.items()},
        mains_turns=np.cumsum(mains_course) / rate_hz,
        supply_turns=np.cumsum(supply) / rate_hz,
        motor_on=on,
        offset={name: float(rng.uniform(1, 2)) for name in turning.rotors},
    )


def _supply_course(machine: Machine, mains: Course) -> Course:
    """Frequency the motor is fed with: the mains, or an inverter that knows nothing of them."""
    fed = machine.supply.hz.middle or machine.supply.mains_hz
    if machine.supply.kind in ("inverter", "converter"):
        return np.full(mains.size, fed)
    return mains * (fed / machine.supply.mains_hz)


def _pole_pairs(machine: Machine, fed_hz: float, likely_hz: float) -> float | None:
    """Pole pairs by the plate, or by the synchronous speed just above the expected one."""
    motor = machine.motor
    if motor is None or machine.supply.kind == "direct current":
        return None
    if motor.poles.value and not motor.speeds:
        return motor.poles.value / 2
    return float(np.floor(fed_hz / likely_hz)) or None


def _motor_speed(
    turning: Turning,
    individual: Individual,
    conditions: Conditions,
    supply: Course,
    rng: np.random.Generator,
) -> tuple[str, Course]:
    machine, frames = turning.machine, supply.size
    first = next(iter(turning.groups))
    likely = turning.groups[first].nominal_hz
    if likely is None:
        raise SpeedError("a motor with neither poles nor speed", "Give one.", machine.name)
    slow = conditions.drift * (np.linspace(-0.5, 0.5, frames) * rng.choice([-1, 1]))
    unsteady = 1 + slow + conditions.hunting * wander(rng, 20.0, 0.8, frames)
    pairs = _pole_pairs(machine, float(supply.mean()), likely)
    if pairs is None:
        return first, likely * (
            1 + float(individual.draw(first, "speed").uniform(-0.01, 0.01))
        ) * unsteady
    synchronous = supply / pairs
    full_hz = max(float(synchronous.mean()) - likely, 0.01 * likely)
    idle = float(individual.draw(first, "idle slip").uniform(0.12, 0.4))
    idle *= 1.0 + _stiffness(turning, individual, first, likely)
    share = min(idle * conditions.load**0.8 * float(rng.uniform(0.9, 1.1)), 1.3)
    return first, (synchronous - share * full_hz) * unsteady


def _stiffness(turning: Turning, individual: Individual, first: str, motor_hz: float) -> float:
    """How much more the motor must turn here than by itself, of its own idling load.

    What brakes at the spindle reaches the motor through the ratio between them.
    """
    spindle_hz = turning.nominal_hz(turning.machine.spindle)
    if spindle_hz is None:
        return 0.0
    stiff = float(individual.draw(first, "stiffness").uniform(0.0, 1.2))
    return stiff * min(2.0, spindle_hz / motor_hz)


def _spread_through_belts(
    turning: Turning,
    individual: Individual,
    conditions: Conditions,
    rng: np.random.Generator,
    courses: dict[str, Course],
    seconds: float,
) -> None:
    """Speeds of the groups behind belts that slip, in the order the power reaches them."""
    waiting = [name for name in turning.groups if name not in courses]
    frames = next(iter(courses.values())).size
    for name in waiting:
        belt = _belt_into(turning, name, courses)
        if belt is None:
            nominal = turning.groups[name].nominal_hz
            if nominal is None:
                raise SpeedError(f"no speed for '{name}'", "Give its ratio.", turning.label)
            courses[name] = np.full(frames, nominal)
            continue
        driver, driven = turning.rotors[belt.driver], turning.rotors[belt.driven]
        into = driven.group == name
        own, other = (driven, driver) if into else (driver, driven)
        big, small = belt.belt.driver_mm.middle, belt.belt.driven_mm.middle
        assert big is not None
        assert small is not None
        ratio = big / small * individual.pulley_factor(belt.belt)
        usual = float(individual.draw(belt.belt.name, "slip").uniform(0.006, 0.02))
        slip = usual * float(rng.uniform(0.85, 1.15)) * conditions.load**0.2
        steady = ratio * (1 - slip)
        course = courses[other.group] * other.ratio / own.ratio
        unsteady = 1 + conditions.belt_wander * wander(rng, seconds, 0.5, frames)
        courses[name] = course * (steady if into else 1 / steady) * unsteady


def _belt_into(turning: Turning, group: str, courses: dict[str, Course]) -> BeltAtWork | None:
    for work in turning.belts:
        if work.belt.toothed:
            continue
        ends = {turning.rotors[work.driver].group, turning.rotors[work.driven].group}
        if group in ends and (ends - {group}) & set(courses):
            return work
    return None
