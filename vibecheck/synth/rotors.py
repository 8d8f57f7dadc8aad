"""Shafts: unbalance in every one of them, bends, and parts that are loose."""

from __future__ import annotations

import numpy as np

from vibecheck.synth.faults import Faults, PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.motion import Motion
from vibecheck.synth.waves import Signal, fraction, pulses, read, table, wander


def turn_force(
    rotor: str, motion: Motion, individual: Individual, faults: Faults, *, chuck_off: bool = False
) -> Signal:
    """Force at once, twice ... a turn of one rotor: unbalance (growing as speed squared), bends.

    A sound shaft has a little of everything.
    """
    rng = individual.draw(rotor, "unbalance")
    speed = motion.speed_hz(rotor)
    level = 0.035 * individual.roughness * float(rng.lognormal(0, 0.5)) * (speed / 15) ** 2
    level *= 1 + sum(6.0 * f.strength for f in faults.of(rotor, "imbalance"))
    level *= 0.3 if chuck_off and rotor == motion.turning.machine.spindle else 1.0
    multiples = np.zeros(6)
    multiples[0] = level
    multiples[1:] = 0.006 * rng.lognormal(0, 0.6, 5) * (speed / 15) / np.arange(1, 6)
    for fault in faults.of(rotor, "bent or misaligned"):
        shape = np.array([0.55, 1.0, 0.35, 0.12, 0.06, 0.03])
        shape *= individual.draw(rotor, "bend").lognormal(0, 0.3, 6)
        multiples += 0.13 * fault.strength * shape * speed / 15
    top = max(1, int(0.45 * motion.rate_hz / max(speed, 1e-3)))
    phases = rng.uniform(0, 2 * np.pi, 6)
    return read(table(multiples[: min(6, top)], phases[: min(6, top)]), motion.where(rotor))


def loose_sound(
    fault: PlantedFault, motion: Motion, individual: Individual, rng: np.random.Generator
) -> Signal:
    """A part loose on its shaft, or the shaft in its seat: cut-off motion, halves, irregular.

    The course of the force over two turns is clipped by the clearance, so it holds many multiples
    and halves; how hard it bounces, and whether every second turn, changes all the time.
    """
    draw = individual.draw(fault.part, "looseness")
    turns = motion.turns(fault.part)
    seconds = motion.frames / motion.rate_hz
    speed = motion.speed_hz(fault.part)
    where = fraction(turns)
    lift = wander(rng, seconds, 1.2, motion.frames)
    swing = np.sin(2 * np.pi * (where + draw.random())) + 0.35 * np.sin(
        np.pi * turns + float(draw.uniform(0, 6))
    ) * (1 + 0.5 * wander(rng, seconds, 0.7, motion.frames))
    cut = np.clip(swing + 0.15 * lift, -0.3, float(draw.uniform(0.3, 0.8)))
    cut -= cut.mean()
    level = 0.7 * fault.strength * (max(speed, 0.05) / 15) ** 0.8
    smooth = (level * cut).astype(np.float32)
    marks = np.arange(np.ceil(turns[0]), np.floor(turns[-1])) + rng.normal(0, 0.02)
    per_turn = int(draw.integers(1, 3))
    marks = np.sort(np.concatenate([marks + k / per_turn for k in range(per_turn)]))
    marks = marks + rng.normal(0, 0.012, marks.size)
    at = np.interp(np.sort(marks), turns, np.arange(turns.size, dtype=np.float64))
    second = np.where(np.arange(at.size) % (2 * per_turn) < per_turn, 1.0, draw.uniform(0.3, 0.8))
    strength = level * second * rng.lognormal(0, 0.4, at.size) * 6e-3 * motion.rate_hz
    out: Signal = smooth + pulses(motion.frames, at, strength, 6e-4 * motion.rate_hz)
    return out
