"""One take of an invented machine: every force it makes, along its path, into the sensor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, TakeKind
from vibecheck.synth import drives, gears, rolling, rotors, sensor
from vibecheck.synth.conditions import Conditions
from vibecheck.synth.faults import Faults, PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.mixer import Mixer
from vibecheck.synth.motion import Motion, motion
from vibecheck.synth.surroundings import add_fixed, add_room, taps
from vibecheck.synth.waves import Signal, noise, wander

_LOWEST_RATE_HZ = 4000.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rendered:
    """A recording and what truly turned while it was made (None when nothing did)."""

    recording: Recording
    motion: Motion | None


def record(
    machine: Machine,
    position: Position,
    *,
    faults: Sequence[PlantedFault] = (),
    conditions: Conditions,
    rng: np.random.Generator,
    seconds: float = 10.0,
    rate_hz: float = 16000.0,
    individual: Individual | None = None,
    kind: TakeKind = "idle",
) -> Recording:
    """One invented recording of a machine in one lever position.

    Parameters
    ----------
    machine, position : Machine, Position
    faults : sequence of PlantedFault
    conditions : Conditions
        Sensor, shop, load and steadiness.
    rng : Generator
        Settles everything that differs from take to take.
    seconds, rate_hz : float
        A slow accelerometer has its own rate (``conditions.slow_rate_hz``).
    individual : Individual, optional
        Hidden traits of this machine; drawn when not given, so give it for a sweep.
    kind : str
        Idling, cutting, background, motor alone and so on.

    Returns
    -------
    Recording
        One channel, in full-scale fractions (microphones) or m/s^2 (accelerometers).
    """
    return rendered(
        machine,
        position,
        faults=faults,
        conditions=conditions,
        rng=rng,
        seconds=seconds,
        rate_hz=rate_hz,
        individual=individual,
        kind=kind,
    ).recording


def rendered(
    machine: Machine,
    position: Position,
    *,
    faults: Sequence[PlantedFault] = (),
    conditions: Conditions,
    rng: np.random.Generator,
    seconds: float = 10.0,
    rate_hz: float = 16000.0,
    individual: Individual | None = None,
    kind: TakeKind = "idle",
) -> Rendered:
    """As :func:`record`, with the true motion beside the recording."""
    individual = individual or Individual(seed=int(rng.integers(1 << 31)))
    slow = conditions.channel == "slow accelerometer"
    wanted = conditions.slow_rate_hz if slow else rate_hz
    times = int(np.ceil(_LOWEST_RATE_HZ / wanted)) if wanted < _LOWEST_RATE_HZ else 1
    inner, frames = wanted * times, max(16, round(seconds * wanted) * times)
    if kind == "cutting":
        conditions = replace(conditions, load=max(conditions.load, float(rng.uniform(2.5, 6))))
    mixer = Mixer.of(individual, frames, inner)
    ran = None
    if kind not in ("background", "tap"):
        turn = turning_for(machine, position, kind)
        off = float(rng.uniform(0.2, 0.4)) * seconds if kind == "coast-down" else None
        ran = motion(turn, individual, conditions, rng, frames, inner, power_off_s=off)
        _add_machine(mixer, ran, individual, Faults(planted=tuple(faults)), conditions, rng, kind)
    mains = ran.mains_turns if ran else _mains(machine, conditions, frames, inner)
    add_fixed(mixer, Faults(planted=tuple(faults)), mains, ran, rng, frames, inner)
    if kind == "tap":
        mixer.add(taps(rng, frames, inner), "structure", "structure")
    add_room(mixer, conditions, individual, rng, mains)
    return Rendered(
        recording=_finish(mixer, conditions, rng, frames, times, position, kind), motion=ran
    )


def turning_for(machine: Machine, position: Position, kind: TakeKind) -> Turning:
    """What turns in a take of this kind: in neutral, only what lies before the last lever."""
    first = machine.motor.shaft if machine.motor else machine.spindle
    if kind == "motor alone":
        bare = replace(
            machine, belts=(), meshes=(), couplings=(), planetaries=(), pumps=(), spindle=first
        )
        return turning(bare, position)
    standing = [group.name for group in machine.groups if group.name in position.levers]
    if kind == "neutral" and standing:
        last = standing[-1]
        levers = {k: ("0" if k == last else v) for k, v in position.levers.items()}
        return turning(replace(machine, spindle=first), Position(levers=levers))
    return turning(machine, position)


def _mains(
    machine: Machine, conditions: Conditions, frames: int, rate_hz: float
) -> NDArray[np.float64]:
    steady = machine.supply.mains_hz + conditions.supply_offset_hz
    return np.arange(frames, dtype=np.float64) * (steady / rate_hz)


def _add_machine(
    mixer: Mixer,
    ran: Motion,
    individual: Individual,
    faults: Faults,
    conditions: Conditions,
    rng: np.random.Generator,
    kind: TakeKind,
) -> None:
    machine, load = ran.turning.machine, conditions.load
    alive = ran_envelope(ran)
    if kind == "coast-down":
        load *= 0.5
    for work in ran.turning.meshes:
        force, strikes = gears.pair_sound(
            work, ran, individual, faults, load, rng, reverse=kind == "reverse"
        )
        mixer.add(force * alive, work.name, "gear")
        mixer.add(strikes, work.name, "gear")
    for stage, group, order in ran.turning.planetaries:
        whine = gears.planet_sound(stage, ran.group_turns[group] * order, ran, individual)
        mixer.add(whine * alive, stage.name, "gear")
    for rotor in ran.turning.rotors:
        low = rotors.turn_force(rotor, ran, individual, faults, chuck_off=kind == "chuck off")
        for fault in faults.of(rotor, "loose on its shaft or in its seat"):
            low = low + rotors.loose_sound(fault, ran, individual, rng)
        mixer.add_low(low * alive, rotor)
    for work_belt in ran.turning.belts:
        low = drives.belt_sound(work_belt, ran, individual, faults, rng)
        mixer.add_low(low * alive, work_belt.belt.name)
    for pump in machine.pumps:
        mixer.add(drives.pump_sound(pump, ran, individual, faults, rng), pump.name, "shaft")
    if machine.motor:
        motor = drives.motor_sound(ran, individual, faults, rng)
        mixer.add_low(motor, machine.motor.shaft)
    mixer.add(drives.unlisted_sound(ran, individual), "unlisted", "gear")
    _add_bearings(mixer, ran, individual, faults, conditions, rng)
    _add_oil(mixer, ran, individual, conditions, rng, alive)
    if kind == "cutting":
        mixer.add(cutting_sound(ran, faults, rng, load), "tool", "structure")


def ran_envelope(ran: Motion) -> Signal | np.float32:
    """1 while everything turns steadily; follows the speed when it coasts to rest."""
    if ran.motor_on.all():
        return np.float32(1.0)
    speed = np.gradient(next(iter(ran.group_turns.values()))) * ran.rate_hz
    share: Signal = np.clip(speed / speed[0], 0, 1).astype(np.float32)
    return share


def _add_bearings(
    mixer: Mixer,
    ran: Motion,
    individual: Individual,
    faults: Faults,
    conditions: Conditions,
    rng: np.random.Generator,
) -> None:
    by_shaft: dict[str, float] = {}
    for bearing in ran.turning.machine.bearings:
        if bearing.shaft not in ran.turning.rotors:
            continue
        level = rolling.rustle(bearing, ran, individual)
        by_shaft[bearing.shaft] = float(np.hypot(by_shaft.get(bearing.shaft, 0.0), level))
        for fault in rolling.bearing_faults(bearing, faults, individual):
            sound = rolling.fault_sound(fault, bearing, ran, individual, conditions.load, rng)
            mixer.add(sound, bearing.name, "bearing")
    for shaft, level in by_shaft.items():
        share = float(individual.draw(shaft, "rustle sway").uniform(0.03, 0.35))
        sway = 1 + np.float32(share) * np.cos(2 * np.pi * ran.where(shaft))
        mixer.add(np.float32(level) * noise(rng, ran.frames) * sway, f"{shaft} bearings", "bearing")


def _add_oil(
    mixer: Mixer,
    ran: Motion,
    individual: Individual,
    conditions: Conditions,
    rng: np.random.Generator,
    alive: Signal | np.float32,
) -> None:
    """Broadband noise of oil, air and sliding, with a low-frequency slope and a slow swell."""
    seconds = ran.frames / ran.rate_hz
    swell = 0.1 * wander(rng, seconds, 1.0, ran.frames) + 0.3 * wander(rng, seconds, 60, ran.frames)
    signal = noise(rng, ran.frames) * np.exp(swell.astype(np.float32))
    signal *= np.float32(conditions.oil_noise) * alive
    mixer.add(signal, "oil", "gear")
    rumble = scipy.fft.rfft(noise(rng, ran.frames), mixer.frames)
    tilt = 1 / np.sqrt(1 + (mixer.frequency_hz / 60.0) ** 2)
    share = 0.8 if conditions.airborne else 0.2
    mixer.spectrum += rumble * (share * conditions.oil_noise * tilt).astype(np.float32)


def cutting_sound(ran: Motion, faults: Faults, rng: np.random.Generator, load: float) -> Signal:
    """The cut's own hiss, and chatter at the structure's frequency, broken up once a turn."""
    seconds, frames = ran.frames / ran.rate_hz, ran.frames
    spindle = ran.where(ran.turning.machine.spindle)
    sway = 1 + np.float32(0.2) * np.cos(2 * np.pi * spindle)
    total: Signal = np.float32(0.12 * load) * noise(rng, frames) * sway
    for fault in faults.named("chatter"):
        frequency = fault.hz * (1 + 0.002 * wander(rng, seconds, 0.5, frames))
        phase = np.cumsum(frequency) / ran.rate_hz
        fits = np.clip(0.8 + 0.7 * wander(rng, seconds, 0.6, frames), 0, None)
        wave = np.sin(2 * np.pi * phase) + 0.3 * np.sin(4 * np.pi * phase + 1)
        total += (0.7 * fault.strength * fits * wave).astype(np.float32) * sway
    return total


def _finish(
    mixer: Mixer,
    conditions: Conditions,
    rng: np.random.Generator,
    frames: int,
    times: int,
    position: Position,
    kind: TakeKind,
) -> Recording:
    rate_hz = mixer.rate_hz / times
    mixer.colour(sensor.sensor_response(conditions, mixer.frequency_hz))
    if times > 1 and not conditions.aliased:
        mixer.spectrum[mixer.frequency_hz > 0.45 * rate_hz] = 0
    samples = scipy.fft.irfft(mixer.spectrum, mixer.frames)[:frames:times]
    samples = samples + np.float32(conditions.sensor_noise) * noise(rng, samples.size)
    samples = sensor.chain(samples * np.float32(sensor.scale(conditions)), rate_hz, conditions)
    what, unit = sensor.quantity(conditions)
    name = position.label if kind == "idle" else f"{position.label} {kind}".strip()
    return Recording(
        samples=samples,
        rate_hz=rate_hz,
        name=name,
        quantity=what,
        unit=unit,
        support=sensor.support(conditions, rate_hz),
    )
