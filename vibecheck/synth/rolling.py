"""Rolling bearings: a faint rustle when sound, strikes that slip and wander when not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vibecheck.machine.bearings import BearingOrders
from vibecheck.machine.parts import Bearing
from vibecheck.synth.faults import BEARING_FAULTS, Faults, PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.motion import Motion
from vibecheck.synth.waves import Signal, fraction, noise, pulses

Track = NDArray[np.float64]

_RANK = {"outer race": 5.0, "inner race": 7.0, "rolling element": 10.0, "cage": 7.0}
"""Force of equal severity: what hides in a load zone must be worse to be as plain."""


def rustle(bearing: Bearing, motion: Motion, individual: Individual) -> float:
    """Level of a sound bearing's noise."""
    speed = motion.speed_hz(bearing.shaft)
    usual = float(individual.draw(bearing.name, "rustle").lognormal(0, 0.5))
    return float(0.05 * usual * max(speed / 15, 0.02) ** 0.9)


def heard_when_sound(bearing: Bearing, individual: Individual) -> PlantedFault | None:
    """The faint strikes by which a sound bearing is heard, as a flaw far too small to be one.

    In one machine out of four most of the bearings are heard so, in the others hardly any; measured
    motors are, with a new bearing too.
    """
    lively = individual.draw("bearings", "heard").random() < 0.25
    draw = individual.draw(bearing.name, "heard")
    if draw.random() >= (0.7 if lively else 0.06):
        return None
    return PlantedFault(
        part=bearing.name,
        fault=str(
            draw.choice(["outer race", "inner race", "rolling element"], p=[0.5, 0.35, 0.15])
        ),
        severity=min(0.1, float(draw.normal(-0.15, 0.2))),
        slip=float(draw.uniform(0.001, 0.015)),
        jitter=float(draw.uniform(0.002, 0.012)),
    )


def strike_order(orders: BearingOrders, fault: PlantedFault) -> float:
    """Strikes per turn of the shaft, slip included: cage falls behind, inner race gains on it."""
    behind = 1 - fault.slip
    count = orders.outer + orders.inner
    return {
        "outer race": orders.outer * behind,
        "inner race": count - orders.outer * behind,
        "rolling element": orders.roller * behind,
        "cage": orders.cage * behind,
    }[fault.fault]


def cage_order(orders: BearingOrders, fault: PlantedFault) -> float:
    """Turns of the cage per turn of the shaft."""
    return orders.cage * (1 - fault.slip)


def _load_zone(at: Track, sharpness: float = 1.0) -> Track:
    """Share of the load carried at an angle (turns) from where the load presses."""
    zone = np.maximum(1 - (1 - np.cos(2 * np.pi * at)) * sharpness, 0)
    out: Track = zone**1.2
    return out


def _strike_marks(
    shaft: Track, order: float, jitter: float, rng: np.random.Generator
) -> tuple[Track, Track]:
    """Sample positions and shaft angles of strikes whose spacing errors add up."""
    count = int((shaft[-1] - shaft[0]) * order * 1.05) + 3
    spacing = 1 + jitter * rng.standard_normal(count)
    marks = shaft[0] + (np.cumsum(spacing) - rng.random()) / order
    marks = marks[(marks > shaft[0]) & (marks < shaft[-1])]
    return np.interp(marks, shaft, np.arange(shaft.size, dtype=np.float64)), marks


def fault_sound(
    fault: PlantedFault,
    bearing: Bearing,
    motion: Motion,
    individual: Individual,
    load: float,
    rng: np.random.Generator,
) -> Signal | None:
    """Force of a damaged bearing, or None when its shaft stands or its kind has no elements."""
    orders = individual.bearing_orders(bearing)
    if orders is None or bearing.shaft not in motion.turning.rotors:
        return None
    shaft, order = motion.turns(bearing.shaft), strike_order(orders, fault)
    speed = max(motion.speed_hz(bearing.shaft) / 15, 0.01)
    place = individual.draw(bearing.name, f"level at {motion.turning.label}").lognormal(0, 0.2)
    level = fault.strength * float(place) * speed**1.1 * load**0.3
    cage = cage_order(orders, fault)
    level *= _RANK[fault.fault]
    if fault.fault == "cage":
        return _rubbing_cage(fault, shaft, cage, level, motion, rng)
    if fault.worn:
        return _worn(fault, shaft, order, cage, level, motion, individual, rng)
    at, marks = _strike_marks(shaft, order, fault.jitter, rng)
    strength = level * rng.lognormal(0, 0.35, at.size)
    strength *= _zone(fault, marks, cage, individual)
    if fault.fault == "rolling element":
        other_race = float(individual.draw(bearing.name, "other race").uniform(0.3, 0.9))
        strength[1::2] *= other_race
    width = float(individual.draw(bearing.name, "spall").uniform(1.2e-4, 4e-4)) / speed**0.3
    return pulses(motion.frames, at, strength * 2.2e-4 * motion.rate_hz, width * motion.rate_hz)


def _zone(fault: PlantedFault, shaft: Track, cage: float, individual: Individual) -> Track:
    """How the load zone lets strikes come and go."""
    rng = individual.draw(fault.part, "load zone")
    sharp = float(rng.uniform(0.25, 1.1))
    if fault.fault == "inner race":
        return 0.1 + _load_zone(shaft + rng.random(), sharp)
    if fault.fault == "rolling element":
        return 0.1 + _load_zone(shaft * cage + rng.random(), sharp)
    steady: Track = 1 + float(rng.uniform(0.03, 0.4)) * np.cos(2 * np.pi * shaft)
    return steady


def _worn(
    fault: PlantedFault,
    shaft: Track,
    order: float,
    cage: float,
    level: float,
    motion: Motion,
    individual: Individual,
    rng: np.random.Generator,
) -> Signal:
    """Spread wear: noise that swells at the strike rate, with the load zone over it."""
    seconds_walk = np.cumsum(rng.standard_normal(shaft.size)) / np.sqrt(shaft.size)
    strikes = (shaft[-1] - shaft[0]) * order
    walk = fault.jitter * np.sqrt(max(strikes, 1.0)) * seconds_walk
    swell = (0.5 + 0.5 * np.cos(2 * np.pi * (shaft * order + walk))) ** 2
    swell *= _zone(fault, shaft, cage, individual)
    out: Signal = (0.32 * level * swell).astype(np.float32) * noise(rng, motion.frames)
    return out


def _rubbing_cage(
    fault: PlantedFault,
    shaft: Track,
    cage: float,
    level: float,
    motion: Motion,
    rng: np.random.Generator,
) -> Signal:
    """A cracked or dragging cage: a rub over part of each cage turn, and a tick."""
    where = fraction(shaft * cage)
    rub = np.maximum(np.cos(2 * np.pi * where), 0).astype(np.float32) ** 3
    rub *= (0.30 * level) * noise(rng, motion.frames)
    at, _ = _strike_marks(shaft, cage, 3 * fault.jitter, rng)
    strength = level * rng.exponential(1.0, at.size) * 5e-4 * motion.rate_hz
    out: Signal = rub + pulses(motion.frames, at, strength, 5e-4 * motion.rate_hz)
    return out


def bearing_faults(bearing: Bearing, faults: Faults, individual: Individual) -> list[PlantedFault]:
    """Faults planted in one bearing, and what is heard of it when it is sound."""
    faint = heard_when_sound(bearing, individual)
    planted = faults.of(bearing.name, *BEARING_FAULTS)
    return planted if faint is None else [*planted, faint]
