"""What turns and what works at one lever position, worked out from the gear table."""

from __future__ import annotations

from statistics import median

from vibecheck.errors import Fault, GearTableError
from vibecheck.machine.motor import motor_span
from vibecheck.machine.parts import Machine, Planetary, Position, When
from vibecheck.machine.ratios import planet_mesh_per_input
from vibecheck.machine.train import BeltAtWork, Group, MeshAtWork, Turning
from vibecheck.machine.walk import Walk
from vibecheck.units import hz

_CHART_RANGE = 0.12
_ENOUGH, _SAME_MACHINE = 2, 0.06
"""Positions from which the chart's own slip is told, and the most that passes for one, relative."""


def _conditions(machine: Machine) -> list[When]:
    return [
        *(mesh.when for mesh in machine.meshes),
        *(belt.when for belt in machine.belts),
        *(coupling.when for coupling in machine.couplings),
        *(stage.when for stage in machine.planetaries),
        *(speed.when for speed in (machine.motor.speeds if machine.motor else ())),
    ]


def turning(machine: Machine, position: Position) -> Turning:
    """What turns at one lever position, and how fast by the table.

    With a lever in neutral what lies beyond it, perhaps the spindle, is not among the rotors.

    Raises
    ------
    GearTableError
        When the power does not reach the spindle although no lever is in neutral, or when two
        paths through the train would drive one shaft at two speeds.
    """
    walk = _walked(machine, position)
    _anchor_to_chart(walk)
    _check_free_to_turn(walk)
    if machine.spindle not in walk.rotors and not levers_in_neutral(machine, position):
        raise GearTableError(
            [
                Fault(
                    f"positions.{position.label}",
                    f"nothing that turns reaches the spindle '{machine.spindle}'; "
                    f"what turns: {', '.join(walk.rotors)}",
                    "Say what the motor drives: a belt, or [[couplings]] between two shafts."
                    if len(walk.rotors) == 1
                    else "Check that each lever group has a pair for this setting and that shaft "
                    "names match.",
                )
            ],
            machine.name,
        )
    return Turning(
        machine=machine,
        position=position,
        rotors=walk.rotors,
        groups=walk.groups,
        meshes=tuple(_meshes(walk)),
        belts=tuple(_belts(walk)),
        planetaries=tuple(_planetaries(walk)),
    )


def _walked(machine: Machine, position: Position) -> Walk:
    walk = Walk(machine, position)
    first = machine.motor.shaft if machine.motor else (machine.shafts or (machine.spindle,))[0]
    walk.start(first, *motor_span(machine, position))
    walk.spread()
    return walk


def levers_in_neutral(machine: Machine, position: Position) -> tuple[str, ...]:
    """Levers of the chart that stand where nothing is selected."""
    selected = {
        (group, setting)
        for when in _conditions(machine)
        for group, settings in when.items()
        for setting in settings
    }
    return tuple(
        group.name
        for group in machine.groups
        if (group.name, position.levers.get(group.name)) not in selected
    )


def _check_free_to_turn(walk: Walk) -> None:
    for link in walk.locked():
        raise GearTableError(
            [
                Fault(
                    f"positions.{walk.position.label}",
                    f"the train is locked: {link.name} and another path drive '{link.b}' from "
                    f"'{link.a}' at two speeds or two ways round",
                    "Check which pairs are together in this lever position, and their shafts.",
                )
            ],
            walk.machine.name,
        )


def _anchor_to_chart(walk: Walk) -> None:
    """Give a group of unknown or vague speed the one the chart promises the spindle."""
    chart = walk.position.chart_rpm.middle
    spindle = walk.rotors.get(walk.machine.spindle)
    if chart is None or spindle is None or not _vague(walk.groups[spindle.group]):
        return
    base = hz(chart) / spindle.ratio / _chart_over_table(walk.machine)
    walk.groups[spindle.group] = Group(
        name=spindle.group,
        nominal_hz=base,
        low_hz=base * (1 - _CHART_RANGE),
        high_hz=base * (1 + _CHART_RANGE),
    )


def _chart_over_table(machine: Machine) -> float:
    """What the chart promises over what the table says, where it says anything: a chart may be of
    the machine at work, or rounded, and all positions are to stand alike to the table."""
    found = []
    for position in machine.positions:
        walk = _walked(machine, position)
        spindle = walk.rotors.get(machine.spindle)
        chart, group = position.chart_rpm.middle, walk.groups[spindle.group] if spindle else None
        if chart and spindle and group and group.nominal_hz and not _vague(group):
            found.append(hz(chart) / (group.nominal_hz * spindle.ratio))
    over = median(found) if len(found) >= _ENOUGH else 1.0
    return over if abs(over - 1.0) <= _SAME_MACHINE else 1.0


def _vague(group: Group) -> bool:
    if group.nominal_hz is None or group.low_hz is None or group.high_hz is None:
        return True
    return group.high_hz / group.low_hz > (1 + _CHART_RANGE) / (1 - _CHART_RANGE)


def _meshes(walk: Walk) -> list[MeshAtWork]:
    found = []
    for mesh in walk.machine.meshes:
        fits = walk.position.fits(mesh.when)
        if not fits and mesh.style != "dog clutch":
            continue
        driver, driven = walk.carrier(mesh.driver), walk.carrier(mesh.driven)
        if driver not in walk.rotors or driven not in walk.rotors:
            continue
        z1 = walk.machine.gear(mesh.driver).teeth.value
        z2 = walk.machine.gear(mesh.driven).teeth.value
        turn1, turn2 = walk.rotors[driver], walk.rotors[driven]
        if z1:
            group, order = turn1.group, z1 * turn1.ratio
        elif z2:
            group, order = turn2.group, z2 * turn2.ratio
        else:
            group, order = turn1.group, None
        found.append(
            MeshAtWork(
                mesh=mesh,
                driver=driver,
                driven=driven,
                driver_teeth=int(z1) if z1 else None,
                driven_teeth=int(z2) if z2 else None,
                group=group,
                order=order,
                loaded=fits,
            )
        )
    return found


def _belts(walk: Walk) -> list[BeltAtWork]:
    found = []
    for belt in walk.machine.belts:
        if not walk.position.fits(belt.when) or belt.driver not in walk.rotors:
            continue
        order = None
        teeth, around = belt.driver_teeth.value, belt.belt_teeth.value
        if belt.toothed and teeth and around:
            order = teeth / around
        elif belt.length_mm.middle and belt.driver_mm.middle:
            order = 3.141592653589793 * belt.driver_mm.middle / belt.length_mm.middle
        found.append(BeltAtWork(belt=belt, driver=belt.driver, driven=belt.driven, order=order))
    return found


def _planetaries(walk: Walk) -> list[tuple[Planetary, str, float]]:
    found = []
    for stage in walk.machine.planetaries:
        if not walk.position.fits(stage.when) or stage.input not in walk.rotors:
            continue
        sun, ring = stage.sun_teeth.value, stage.ring_teeth.value
        if not sun or not ring:
            continue
        turn = walk.rotors[stage.input]
        per_input = planet_mesh_per_input(stage, sun, ring)
        found.append((stage, turn.group, turn.ratio * per_input))
    return found


def sweep(machine: Machine) -> tuple[Turning, ...]:
    """What turns at every position of the chart, in chart order."""
    return tuple(turning(machine, position) for position in machine.positions)
