"""The sound of one pair of gears: never perfect when sound, and what a fault adds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibecheck.machine.parts import Gear, Planetary
from vibecheck.machine.train import MeshAtWork
from vibecheck.synth.faults import Faults, PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.motion import Motion
from vibecheck.synth.waves import (
    Course,
    Signal,
    Turns,
    crossings,
    fraction,
    noise,
    pulses,
    read,
    table,
    wander,
)

_TABLE_TEETH = 32
"""Teeth assumed for an impact's width when they are not known."""

_ONCE_A_TOOTH = table(np.array([0.8]), np.zeros(1))
"""Sliding noise comes and goes once a tooth."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Errors:
    """How far one gear is from perfect, over one turn: level, timing (turns of mesh), grass."""

    level: Signal
    timing: Signal
    grass: Signal


def errors(individual: Individual, gear: Gear, faults: Faults, reverse: bool) -> Errors:
    """Eccentricity, ovality and pitch scatter of a gear, with a planted eccentricity or wear."""
    rng = individual.draw(gear.name, "errors")
    teeth = int(gear.teeth.value or _TABLE_TEETH)
    run_out = 0.09 * individual.roughness * float(rng.lognormal(0, 0.45))
    multiples = np.arange(1, max(8, min(teeth // 2, 24)) + 1)
    level = (
        run_out * multiples ** -float(rng.uniform(1.0, 2.0)) * rng.lognormal(0, 0.5, multiples.size)
    )
    timing = 0.35 * level * rng.lognormal(0, 0.4, multiples.size) / (2 * np.pi) * 2
    phases = rng.uniform(0, 2 * np.pi, (2, multiples.size))
    level_table, timing_table = table(level, phases[0]), table(timing, phases[1])
    for fault in faults.of(gear.name, "eccentric or worn gear"):
        more, later = _run_out(individual, gear, fault)
        level_table, timing_table = level_table + more, timing_table + later
    flank = individual.draw(gear.name, "grass reversed" if reverse else "grass")
    return Errors(
        level=level_table, timing=timing_table, grass=_grass(flank, teeth, individual.roughness)
    )


def _grass(rng: np.random.Generator, teeth: int, roughness: float) -> Signal:
    """Pitch scatter: multiples of the turn, thickest around the multiples of the tooth count."""
    multiples = np.arange(1, int(3.6 * teeth) + 1)
    away = np.abs((multiples / teeth + 0.5) % 1.0 - 0.5) * teeth
    level = 0.05 * roughness * rng.rayleigh(1.0, multiples.size)
    level *= 0.25 + np.exp(-away / (0.12 * teeth + 1))
    level /= 1 + (multiples / (2 * teeth)) ** 2
    return table(level, rng.uniform(0, 2 * np.pi, multiples.size))


def _run_out(individual: Individual, gear: Gear, fault: PlantedFault) -> tuple[Signal, Signal]:
    rng = individual.draw(gear.name, "planted run-out")
    multiples = np.arange(1.0, 13.0)
    if fault.worn:
        extent = float(rng.uniform(0.08, 0.3))
        shape: Course = 2 * np.abs(np.sinc(multiples * extent))
        phases: Course = multiples * float(rng.uniform(0, 2 * np.pi))
    else:
        shape = 0.03 / multiples
        shape[:2] = 1.0, 0.3
        phases = rng.uniform(0, 2 * np.pi, multiples.size)
    level: Course = 0.5 * fault.strength * shape
    later: Course = 0.03 * fault.strength * shape / multiples
    turned: Course = phases + float(rng.uniform(0, 2 * np.pi))
    return table(level, phases), table(later, turned)


def mesh_wave(individual: Individual, name: str, highest: int, flank: str) -> Signal:
    """One tooth's worth of mesh sound: some harmonics strong, some weak, as profiles fall out."""
    rng = individual.draw(name, f"mesh wave {flank}")
    multiples = np.arange(1, max(1, min(highest, 9)) + 1)
    slope = multiples ** -float(rng.uniform(0.6, 1.9))
    level: Course = slope * rng.lognormal(0, 0.55, multiples.size)
    return table(level, rng.uniform(0, 2 * np.pi, multiples.size))


def pair_sound(
    work: MeshAtWork,
    motion: Motion,
    individual: Individual,
    faults: Faults,
    load: float,
    rng: np.random.Generator,
    *,
    reverse: bool = False,
) -> tuple[Signal, Signal | None]:
    """Force at the teeth of one pair over a take, and what its idling or a fault strikes.

    Returns
    -------
    force : ndarray
        Smooth part.
    strikes : ndarray or None
        Impacts, which go the same way to the sensor.
    """
    machine = motion.turning.machine
    driver, driven = machine.gear(work.mesh.driver), machine.gear(work.mesh.driven)
    teeth, rotor = _teeth_and_rotor(work)
    one = errors(individual, driver, faults, reverse)
    two = errors(individual, driven, faults, reverse)
    here, there = motion.where(work.driver), motion.where(work.driven)
    mesh_hz = teeth * motion.speed_hz(rotor)
    at = (here if rotor == work.driver else there) * np.float32(teeth)
    at += read(one.timing, here) + read(two.timing, there)
    highest = int(0.45 * motion.rate_hz / max(mesh_hz, 1e-3))
    flank = "reversed" if reverse else ("loaded" if work.loaded else "idle")
    swell = 1 + read(one.level, here) + read(two.level, there)
    carried = _carried(work, individual, motion, load, rng)
    force = read(mesh_wave(individual, work.name, highest, flank), at) * swell
    force += (read(one.grass, here) + read(two.grass, there)) * _grass_share(motion, mesh_hz)
    rub = np.float32(0.25 * float(individual.draw(work.name, "rub").lognormal(0, 0.5)))
    blows = rng.lognormal(-0.2, 0.8, 4096).astype(np.float32)
    each = blows.take((motion.turns(rotor) * teeth).astype(np.int64) & 4095)
    force += rub * noise(rng, motion.frames) * swell * each * (1 + read(_ONCE_A_TOOTH, at))
    unsteady = 1 + 0.12 * wander(rng, motion.frames / motion.rate_hz, 3.0, motion.frames)
    level = 0.5 * carried * individual.loudness * max(mesh_hz / 300, 0.02) ** 0.8
    force *= (level * unsteady).astype(np.float32)
    return force, _strikes(work, motion, faults, carried, rng, reverse)


def planet_sound(stage: Planetary, meshed: Turns, motion: Motion, individual: Individual) -> Signal:
    """Mesh of a planetary stage, swelling as each planet passes; ``meshed`` counts teeth met."""
    draw = individual.draw(stage.name, "planets")
    mesh_hz = float((meshed[-1] - meshed[0]) * motion.rate_hz / meshed.size)
    wave = mesh_wave(individual, stage.name, int(0.45 * motion.rate_hz / mesh_hz), "loaded")
    ring = stage.ring_teeth.value or 90.0
    passing = np.cos(2 * np.pi * fraction(meshed * (stage.planets / ring)))
    out: Signal = read(wave, fraction(meshed)) * (1 + np.float32(draw.uniform(0.1, 0.5)) * passing)
    level = 0.3 * individual.loudness * float(draw.lognormal(0, 0.4)) * (mesh_hz / 300) ** 0.8
    return out * np.float32(level)


def _teeth_and_rotor(work: MeshAtWork) -> tuple[int, str]:
    if work.driver_teeth:
        return work.driver_teeth, work.driver
    return work.driven_teeth or _TABLE_TEETH, work.driven


def _grass_share(motion: Motion, mesh_hz: float) -> np.float32:
    """Grass reaches past three mesh harmonics: none of it may fold back at a low rate."""
    return np.float32(1.0 if 3.7 * mesh_hz < 0.5 * motion.rate_hz else 0.0)


def _carried(
    work: MeshAtWork,
    individual: Individual,
    motion: Motion,
    load: float,
    rng: np.random.Generator,
) -> float:
    """Share of the load at these teeth here: it differs from position to position."""
    place = individual.draw(work.name, f"level at {motion.turning.label}").lognormal(0, 0.35)
    pair = individual.draw(work.name, "level").lognormal(0, 0.5)
    again = rng.lognormal(0, 0.08)
    idle = 1.0 if work.loaded else float(individual.draw(work.name, "idling").uniform(0.08, 0.35))
    return float(place * pair * again * idle * (load**0.7 if work.loaded else 1.0))


def _strikes(
    work: MeshAtWork,
    motion: Motion,
    faults: Faults,
    carried: float,
    rng: np.random.Generator,
    reverse: bool,
) -> Signal | None:
    total = None if work.loaded else _rattle(work, motion, carried, rng)
    for gear_name, rotor in ((work.mesh.driver, work.driver), (work.mesh.driven, work.driven)):
        for fault in faults.of(gear_name, "broken or damaged tooth"):
            struck = tooth_strikes(fault, work, rotor, motion, carried, rng, reverse)
            total = struck if total is None else total + struck
    return total


def _rattle(work: MeshAtWork, motion: Motion, carried: float, rng: np.random.Generator) -> Signal:
    """Idling teeth knock to and fro in their backlash, in fits."""
    teeth, rotor = _teeth_and_rotor(work)
    turns = motion.turns(rotor) * teeth
    marks = np.arange(np.ceil(turns[0]), turns[-1])
    seconds = motion.frames / motion.rate_hz
    fit = np.interp(
        np.linspace(0, 1, max(marks.size, 2)),
        np.linspace(0, 1, 200),
        np.maximum(wander(rng, seconds, 2.0, 200) - 0.5, 0),
    )[: marks.size]
    strength = fit * rng.exponential(1.0, marks.size) * (rng.random(marks.size) < 0.5)
    at = crossings(turns, marks + rng.normal(0, 0.08, marks.size), motion.rate_hz)
    strength = strength[: at.size] * carried * 4e-4 * motion.rate_hz
    return pulses(motion.frames, at, strength, 3e-4 * motion.rate_hz)


def tooth_strikes(
    fault: PlantedFault,
    work: MeshAtWork,
    rotor: str,
    motion: Motion,
    carried: float,
    rng: np.random.Generator,
    reverse: bool = False,
) -> Signal:
    """One knock a turn of the damaged gear's rotor: teeth drop into the gap and are caught.

    The stiffness dips for about one tooth, then the next tooth takes the load with a blow. The
    blow varies from turn to turn, is stronger with speed and load, and weak on an idling gear.
    """
    turns = motion.turns(rotor)
    marks = np.arange(np.floor(turns[0]), np.ceil(turns[-1])) + 0.37
    at = crossings(turns, marks, motion.rate_hz)
    scatter = rng.lognormal(0, 0.3, at.size)
    if not work.loaded:
        scatter *= rng.random(at.size) < 0.6
    flank = 0.12 if (fault.one_flank and reverse) else 1.0
    speed = max(motion.speed_hz(rotor) / 8.0, 0.01)
    teeth = (work.driver_teeth if rotor == work.driver else work.driven_teeth) or _TABLE_TEETH
    tooth_s = 1 / max(motion.speed_hz(rotor) * teeth, 1e-3)
    blow = 6.0 * fault.strength * carried**0.6 * speed**0.6 * flank
    sharp = pulses(
        motion.frames,
        at + 0.5 * tooth_s * motion.rate_hz,
        blow * scatter * 5e-4 * motion.rate_hz,
        max(0.08 * tooth_s, 2e-4) * motion.rate_hz,
    )
    dip = pulses(
        motion.frames,
        at,
        -0.5 * blow * scatter * tooth_s * motion.rate_hz,
        tooth_s * motion.rate_hz,
    )
    return sharp + dip
