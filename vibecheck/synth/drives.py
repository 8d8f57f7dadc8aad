"""Belts, motor and pumps."""

from __future__ import annotations

import numpy as np

from vibecheck.machine.parts import Pump
from vibecheck.machine.train import BeltAtWork
from vibecheck.synth.faults import Faults, same_belt
from vibecheck.synth.individual import Individual
from vibecheck.synth.motion import Motion
from vibecheck.synth.waves import Signal, fraction, noise, read, table, wander


def _below(motion: Motion, hz: float, most: int) -> int:
    """How many multiples of a rate fit below what the rendering can carry."""
    return max(0, min(most, int(0.45 * motion.rate_hz / max(hz, 1e-3))))


def belt_sound(
    work: BeltAtWork,
    motion: Motion,
    individual: Individual,
    faults: Faults,
    rng: np.random.Generator,
) -> Signal:
    """Multiples of the belt's own turning; a lump or a set shows most at twice, unsteadily.

    A sound belt is uneven over its length, many have a splice or a few small lumps; a lump is
    short, its blow has more multiples.
    """
    order = work.order or 0.3
    alike = same_belt(motion.turning.machine, work.belt.name)
    stretch = 1 - float(individual.draw(alike[0], "creep").uniform(0, 0.008))
    turns = motion.turns(work.driver) * (order * (1.0 if work.belt.toothed else stretch))
    seconds = motion.frames / motion.rate_hz
    draw = individual.draw(alike[0], "belt")
    multiples = np.arange(1, 13)
    level = 0.012 * draw.lognormal(0, 0.5, 12) / multiples ** draw.uniform(1.0, 2.5)
    if draw.random() < 0.45:
        small = 0.012 * float(draw.lognormal(0, 0.6))
        level = level + small * np.exp(-(((multiples - 2) / draw.uniform(3.0, 8.0)) ** 2))
    lumps = [f for name in alike for f in faults.of(name, "lumpy or set belt")]
    for fault in lumps:
        short = draw.uniform(2.5, 8.0)
        shape = np.exp(-(((multiples - 2) / short) ** 2)) * draw.lognormal(0, 0.2, 12)
        level = level + 0.15 * fault.strength * shape
    wave = table(level, draw.uniform(0, 2 * np.pi, 12))
    unsteady = 1 + 0.35 * wander(rng, seconds, 0.4, motion.frames)
    out = read(wave, fraction(turns)) * unsteady.astype(np.float32)
    if work.belt.toothed and work.belt.driver_teeth.value:
        teeth = work.belt.driver_teeth.value * motion.turns(work.driver)
        level = 0.25 * draw.lognormal(0, 0.4, 4) / np.arange(1, 5)
        top = _below(motion, work.belt.driver_teeth.value * motion.speed_hz(work.driver), 4)
        out = out + read(table(level[:top], draw.uniform(0, 6, 4)[:top]), fraction(teeth))
    slap = np.float32(0.01 * draw.lognormal(0, 0.5))
    return out + slap * noise(rng, motion.frames) * np.abs(out)


def motor_sound(
    motion: Motion, individual: Individual, faults: Faults, rng: np.random.Generator
) -> Signal:
    """Torque ripple at twice the supply with slip sidebands, rotor slots, and the fan.

    The electrical part ends the moment the motor is switched off.
    """
    machine = motion.turning.machine
    first = next(iter(motion.turning.rotors))
    draw = individual.draw(first, "motor")
    supply = motion.supply_turns
    single = 3.0 if machine.supply.kind == "single-phase" else 1.0
    twice = 0.05 * single * float(draw.lognormal(0, 0.6))
    level = twice * np.array([1.0, 0.25, 0.12, 0.06])
    wave = table(level, draw.uniform(0, 6, 4))
    poles = machine.motor.poles.value if machine.motor else None
    electric = read(wave, fraction(2 * supply))
    if poles:
        pole_pass = 2 * supply - poles * motion.turns(first)
        electric *= (1 + 0.15 * np.cos(2 * np.pi * pole_pass)).astype(np.float32)
    slots = int(draw.integers(22, 48))
    slot_level = 0.03 * float(draw.lognormal(0, 0.5))
    if (slots + 8) * motion.speed_hz(first) < 0.45 * motion.rate_hz:
        slot_tone = table(np.array([slot_level]), np.zeros(1))
        electric += read(slot_tone, fraction(slots * motion.turns(first) + 2 * supply))
    if machine.supply.kind == "inverter":
        electric += _inverter_whine(motion, individual)
    blades = int(draw.integers(5, 12))
    where = motion.where(first)
    blade = table(np.array([0.06, 0.03]) * float(draw.lognormal(0, 0.5)), np.zeros(2))
    fan = read(blade, where * np.float32(blades))
    fan += np.float32(0.06) * noise(rng, motion.frames)
    return electric * motion.motor_on + fan * np.float32(min(motion.speed_hz(first) / 24, 2.0))


def _inverter_whine(motion: Motion, individual: Individual) -> Signal:
    """Lines about an inverter's switching rate, twice the fed frequency apart."""
    draw = individual.draw("inverter", "whine")
    carrier_hz, level = float(draw.uniform(2000, 9000)), 0.05 * float(draw.lognormal(0, 0.7))
    if carrier_hz > 0.42 * motion.rate_hz:
        return np.zeros(motion.frames, dtype=np.float32)
    carrier = np.arange(motion.frames, dtype=np.float64) * (carrier_hz / motion.rate_hz)
    beat = np.cos(2 * np.pi * fraction(2 * motion.supply_turns))
    out: Signal = level * np.cos(2 * np.pi * fraction(carrier)) * (0.2 + beat)
    return out


def pump_sound(
    pump: Pump, motion: Motion, individual: Individual, faults: Faults, rng: np.random.Generator
) -> Signal | None:
    """Pulses of a pump's vanes or teeth."""
    vanes = pump.vanes.value
    if pump.shaft not in motion.turning.rotors:
        return None
    draw = individual.draw(pump.name, "pump")
    level = 0.03 * draw.lognormal(0, 0.4, 5) / np.arange(1, 6) ** 0.7
    for fault in faults.of(pump.name, "pump pulsation"):
        level = level + 0.14 * fault.strength * draw.lognormal(0, 0.3, 5) / np.arange(1, 6)
    where = motion.where(pump.shaft)
    uneven = 1 + 0.2 * np.cos(2 * np.pi * where).astype(np.float32)
    top = _below(motion, (vanes or 7) * motion.speed_hz(pump.shaft), 5)
    wave = table(level[:top], draw.uniform(0, 6, 5)[:top])
    unsteady = 1 + 0.15 * wander(rng, motion.frames / motion.rate_hz, 1.0, motion.frames)
    pulsing = read(wave, where * np.float32(vanes or 7)) * uneven
    out: Signal = pulsing * unsteady.astype(np.float32)
    return out


def unlisted_sound(motion: Motion, individual: Individual) -> Signal | None:
    """Something healthy that the table does not list, in one machine of three: a feed gear left
    in mesh, an idler, a governor. It follows some shaft at a multiple of its own.
    """
    draw = individual.draw("unlisted", "presence")
    if draw.random() > 0.33:
        return None
    rotors = [name for name in motion.turning.machine.shafts if name in motion.turning.rotors]
    rotor = rotors[int(draw.integers(len(rotors)))]
    order = float(draw.uniform(2.2, 45.0))
    if 2.2 * order * motion.speed_hz(rotor) > 0.45 * motion.rate_hz:
        return None
    own = float(draw.choice([1.0, order / round(draw.uniform(12, 40))]))
    turns = motion.turns(rotor)
    wave = table(np.array([1.0, 0.4]) * 0.08 * float(draw.lognormal(0, 0.6)), np.zeros(2))
    sway = 1 + float(draw.uniform(0.05, 0.4)) * np.cos(2 * np.pi * fraction(turns * own))
    out: Signal = read(wave, fraction(turns * order)) * sway.astype(np.float32)
    return out
