"""Faults that concern several entries at once: ratios, shafts, the way to the spindle."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import isclose, pi

from vibecheck.errors import GearTableError
from vibecheck.files.table_section import Notes, nearest
from vibecheck.machine.mains import mains_by_plate
from vibecheck.machine.parts import Belt, Machine, Mesh, When
from vibecheck.machine.turning import sweep, turning
from vibecheck.machine.wrong_numbers import chart_rounding, chart_speeds, explain_speeds
from vibecheck.machine.wrong_pairs import WrongPair

LARGEST_RATIO = 15.0
"""Steepest step of one ordinary pair; heads stay between 1/4 and 2 (common practice)."""


def check_machine(machine: Machine, notes: Notes) -> None:
    """Report faults that concern several entries at once, and remarks."""
    _check_shafts(machine, notes)
    _check_names(machine, notes)
    for mesh in machine.meshes:
        _check_ratio(machine, mesh, notes)
    for belt in machine.belts:
        _check_belt(belt, notes)
    if not notes.faults:
        _check_trains(machine, notes)
    _remark_sums(machine, notes)
    _remark_mains(machine, notes)
    _remark_chart(machine, notes)
    if not notes.faults:
        _remark_speeds(machine, notes)


def _mentions(machine: Machine) -> Iterator[tuple[str, str]]:
    yield "spindle", machine.spindle
    for gear in machine.gears:
        yield f"gears ({gear.name})", gear.shaft
    for bearing in machine.bearings:
        yield f"bearings.{bearing.name}.shaft", bearing.shaft
    for pump in machine.pumps:
        yield f"pumps.{pump.name}.shaft", pump.shaft
    for belt in machine.belts:
        yield from ((f"belts.{belt.name}.between", end) for end in (belt.driver, belt.driven))
    for rider, carrier in machine.rides_on.items():
        yield from (("rides_on", name) for name in (rider, carrier))


def _check_shafts(machine: Machine, notes: Notes) -> None:
    known = [*machine.shafts, *([machine.motor.shaft] if machine.motor else [])]
    reported: set[tuple[str, str]] = set()
    for key, shaft in _mentions(machine):
        if shaft not in known and (key, shaft) not in reported:
            reported.add((key, shaft))
            notes.fault(key, f'there is no shaft "{shaft}"', nearest(shaft, known))
    if not machine.positions:
        notes.fault("levers", "there is no lever position that drives", "Give a lever a pair.")


def _check_names(machine: Machine, notes: Notes) -> None:
    for i, belt in enumerate(machine.belts):
        for other in machine.belts[:i]:
            if belt.name == other.name and not _exclude(belt.when, other.when):
                notes.fault(
                    f"belts.{belt.name}",
                    "two belts of one name run at the same time",
                    "Give each its own name.",
                )


def _exclude(a: When, b: When) -> bool:
    return any(group in b and not set(a[group]) & set(b[group]) for group in a)


def _check_ratio(machine: Machine, mesh: Mesh, notes: Notes) -> None:
    driver, driven = machine.gear(mesh.driver), machine.gear(mesh.driven)
    if driver.shaft == driven.shaft:
        notes.fault(
            f"pair {mesh.name}",
            f"both gears sit on shaft {driver.shaft}",
            "Two gears that mesh sit on two shafts.",
        )
    z1, z2 = driver.teeth.value, driven.teeth.value
    if z1 and z2 and not mesh.worm and not 1 / LARGEST_RATIO <= z1 / z2 <= LARGEST_RATIO:
        notes.fault(
            f"pair {mesh.name}",
            f"{z1:g}/{z2:g} steps the speed {max(z1 / z2, z2 / z1):.0f} times, which no single "
            "pair does",
            "Count both gears again, or write worm = true.",
        )


def _check_belt(belt: Belt, notes: Notes) -> None:
    a, b, length = belt.driver_mm.middle, belt.driven_mm.middle, belt.length_mm.middle
    if a and b and not 1 / LARGEST_RATIO <= a / b <= LARGEST_RATIO:
        notes.fault(f"belts.{belt.name}", f"pulleys {a:g}/{b:g} mm cannot be", "Measure again.")
    if a and b and length and length < pi * (a + b) / 2:
        notes.fault(
            f"belts.{belt.name}.length_mm",
            f"{length:g} mm is too short to go round pulleys of {a:g} and {b:g} mm",
            f"It must be more than {pi * (a + b) / 2:.0f} mm.",
        )
    teeth = [k.value for k in (belt.driver_teeth, belt.driven_teeth, belt.belt_teeth)]
    if all(teeth) and teeth[2] <= (teeth[0] + teeth[1]) / 2:  # type: ignore[operator]
        notes.fault(
            f"belts.{belt.name}.belt_teeth",
            f"{teeth[2]:g} teeth are too few to go round {teeth[0]:g} and {teeth[1]:g}",
            "Count the teeth of the belt.",
        )


def _check_trains(machine: Machine, notes: Notes) -> None:
    """Follow the power at every position; one fault for each reason, with its positions."""
    found: dict[tuple[str, str], list[str]] = {}
    for position in machine.positions:
        try:
            turning(machine, position)
        except GearTableError as error:
            for fault in error.faults:
                found.setdefault((fault.found, fault.remedy), []).append(position.label)
    if not found:
        _check_all_driven(machine, notes)
        _remark_idle_levers(machine, notes)
    for (what, remedy), labels in found.items():
        notes.fault(_place(labels, len(machine.positions)), what, remedy)


def _check_all_driven(machine: Machine, notes: Notes) -> None:
    """A pair that a lever of the chart selects must turn at some position."""
    levers = {group.name for group in machine.groups}
    driven = {work.name for here in sweep(machine) for work in here.meshes}
    for mesh in machine.meshes:
        selected = any(set(p.levers.items()) & _wanted(mesh.when) for p in machine.positions)
        if levers & set(mesh.when) and selected and mesh.name not in driven:
            ends = machine.gear(mesh.driver).shaft, machine.gear(mesh.driven).shaft
            notes.fault(
                f"pair {mesh.name}",
                f"nothing drives shaft {ends[0]} or {ends[1]} when this pair is selected",
                "Check the names of the shafts (between = [...]) of the levers.",
            )


def _remark_idle_levers(machine: Machine, notes: Notes) -> None:
    """A lever that never changes the speed of the spindle is probably given the wrong shafts."""
    speeds = {
        tuple(here.position.levers.items()): (
            here.nominal_hz(machine.spindle),
            here.rotors[machine.spindle].reverse,
        )
        for here in sweep(machine)
    }
    for group in machine.groups:
        others: dict[tuple[tuple[str, str], ...], list[tuple[float | None, bool]]] = {}
        for levers, speed in speeds.items():
            rest = tuple(pair for pair in levers if pair[0] != group.name)
            others.setdefault(rest, []).append(speed)
        compared = [found for found in others.values() if len(found) > 1]
        if compared and all(_alike(found) for found in compared):
            notes.remark(
                f"lever {group.name} changes nothing at the spindle; check its shafts "
                "(between = [...]) and its pairs."
            )


def _alike(speeds: list[tuple[float | None, bool]]) -> bool:
    first = speeds[0]
    if first[0] is None:
        return False
    return all(s[0] is not None and isclose(s[0], first[0]) and s[1] == first[1] for s in speeds)


def _wanted(when: When) -> set[tuple[str, str]]:
    return {(group, setting) for group, settings in when.items() for setting in settings}


def _place(labels: list[str], all_of_them: int) -> str:
    if len(labels) == all_of_them:
        return "every lever position" if all_of_them > 1 else f"lever position {labels[0]}"
    shown = ", ".join(labels[:3]) + (f" and {len(labels) - 3} more" if len(labels) > 3 else "")
    return f"lever position {shown}"


def _remark_sums(machine: Machine, notes: Notes) -> None:
    ends = [name for mesh in machine.meshes for name in (mesh.driver, mesh.driven)]
    shared = {name for name in ends if ends.count(name) > 1}
    sums: dict[tuple[str, str], dict[str, float]] = {}
    for mesh in machine.meshes:
        driver, driven = machine.gear(mesh.driver), machine.gear(mesh.driven)
        z1, z2 = driver.teeth.value, driven.teeth.value
        if z1 and z2 and not mesh.worm and not shared & {driver.name, driven.name}:
            key = (min(driver.shaft, driven.shaft), max(driver.shaft, driven.shaft))
            sums.setdefault(key, {})[mesh.name] = z1 + z2
    for (a, b), pairs in sums.items():
        if len(set(pairs.values())) > 1:
            each = ", ".join(f"{name} adds to {total:g}" for name, total in pairs.items())
            notes.remark(
                f"shafts {a} and {b}: {each}. Pairs on the same two shafts usually have one sum; "
                "if these were counted twice, all is well."
            )


def _remark_mains(machine: Machine, notes: Notes) -> None:
    needed = mains_by_plate(machine)
    if needed is not None and machine.motor is not None:
        notes.remark(
            f"the motor's plate speed, {machine.motor.plate_rpm.value:g} rpm, is one of {needed:g} "
            f"Hz mains, and the table says {machine.supply.mains_hz:g} Hz. Put mains_hz = "
            f"{needed:g} under [supply] if the plate is right."
        )


def _remark_chart(machine: Machine, notes: Notes) -> None:
    by_rpm: dict[float, list[str]] = {}
    for position in machine.positions:
        if position.chart_rpm.value is not None:
            by_rpm.setdefault(position.chart_rpm.value, []).append(position.label)
    for rpm, labels in by_rpm.items():
        if len(labels) > 1:
            notes.remark(f"the chart promises {rpm:g} rpm at {_and(labels)} alike.")


def _with_settings(wrong: WrongPair) -> str:
    step = "/".join(wrong.settings)
    return wrong.pair if wrong.counted else f"{wrong.pair} ({step})"


CHART_ERROR = 0.012
"""Charts are rounded, often to a preferred series: their speeds are good to a few per cent."""


def _remark_speeds(machine: Machine, notes: Notes) -> None:
    """Where chart and teeth disagree by more than a chart is rounded, and what would explain it."""
    told = explain_speeds(machine, chart_speeds(machine), CHART_ERROR, chart_rounding(machine))
    if told.kind == "scale":
        notes.remark(
            f"every speed of the chart is {told.scale:.3f} times what the table gives; likely: "
            f"{told.cause}."
        )
    elif told.kind == "misfiled" and told.misfiled:
        pairs = ", ".join(f"{a} looks like {b}" for a, b in told.misfiled.items())
        notes.remark(f"chart lines seem to be exchanged: {pairs}.")
    elif told.kind == "pair":
        wrong = told.pairs[0]
        near = " or ".join(f"{a}/{b}" for a, b in wrong.candidates[:3])
        notes.remark(
            f"where {_with_settings(wrong)} works the chart is {wrong.deviation:+.1%} off, and "
            f"nowhere else: count that pair again{f' (perhaps {near})' if near else ''}."
        )
    elif told.kind == "unexplained":
        worst = sorted((told.deviations or {}).items(), key=lambda item: -abs(item[1]))[:3]
        listed = ", ".join(f"{label} {off:+.0%}" for label, off in worst)
        notes.remark(f"chart and table disagree: {listed}. Measure the spindle there.")


def _and(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
