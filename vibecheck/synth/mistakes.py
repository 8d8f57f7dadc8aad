"""Tables as owners write them: a tooth miscounted, the wrong mains, half of it not known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vibecheck.machine.parts import UNKNOWN, Known, Machine


def with_wrong_tooth(
    machine: Machine, rng: np.random.Generator, *, keep_sum: bool = True
) -> tuple[Machine, str]:
    """One driving pair miscounted by one to three teeth; the table, and the pair's name.

    With ``keep_sum`` one gear is given what the other lost, as when a count is copied wrongly.
    """
    switched = [mesh for mesh in machine.meshes if mesh.when] or list(machine.meshes)
    mesh = switched[int(rng.integers(len(switched)))]
    off = float(rng.choice([-3, -2, -1, 1, 2, 3]))
    changed = {mesh.driver: off} | ({mesh.driven: -off} if keep_sum else {})
    gears = tuple(
        replace(gear, teeth=Known.exactly((gear.teeth.value or 0) + changed[gear.name]))
        if gear.name in changed
        else gear
        for gear in machine.gears
    )
    return replace(machine, gears=gears), mesh.name


def with_other_mains(machine: Machine) -> Machine:
    """The table of the same model from the other half of the world: 50 Hz for 60, or 60 for 50."""
    assert machine.motor is not None
    other = 110.0 - machine.supply.mains_hz
    plate = machine.motor.plate_rpm.middle
    scaled = UNKNOWN if plate is None else Known.exactly(plate * other / machine.supply.mains_hz)
    supply = replace(machine.supply, hz=Known.exactly(other), mains_hz=other)
    return replace(machine, supply=supply, motor=replace(machine.motor, plate_rpm=scaled))


def with_teeth_forgotten(machine: Machine, group: str) -> Machine:
    """The teeth of one lever group's pairs not counted."""
    unknown = {
        name for mesh in machine.meshes if group in mesh.when for name in (mesh.driver, mesh.driven)
    }
    gears = tuple(
        replace(gear, teeth=UNKNOWN) if gear.name in unknown else gear for gear in machine.gears
    )
    return replace(machine, gears=gears)


def with_bearings_forgotten(machine: Machine) -> Machine:
    """No bearing's inside known."""
    bare = tuple(
        replace(
            bearing,
            elements=UNKNOWN,
            element_mm=UNKNOWN,
            pitch_mm=UNKNOWN,
            angle_deg=UNKNOWN,
            multipliers={},
        )
        for bearing in machine.bearings
    )
    return replace(machine, bearings=bare)
