"""Gear tables: a machine as its owner writes it down, in TOML.

The ordinary case is short: motor, belt, and one section for each lever with the pair every setting
selects. ``gear_tables/starter.toml`` explains everything that can be said.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from vibecheck.errors import Fault, GearTableError, UsageError
from vibecheck.files import table_bearings, table_levers, table_parts
from vibecheck.files.shipped import shipped_names, shipped_path
from vibecheck.files.table_chart import read_chart
from vibecheck.files.table_checks import check_machine
from vibecheck.files.table_draft import Draft, lever_setting
from vibecheck.files.table_numbers import Unreadable
from vibecheck.files.table_section import Notes, Section, nearest
from vibecheck.files.table_writing import write_machine
from vibecheck.machine.parts import LeverGroup, Machine, Motor, Position

__all__ = [
    "Table",
    "find_table",
    "parse_table",
    "position_of",
    "read_machine",
    "read_table",
    "write_machine",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A machine, and what its owner should look at although nothing is wrong."""

    machine: Machine
    remarks: tuple[str, ...] = ()


def find_table(name: str | Path) -> Path:
    """Path of a gear table: a file of that name, else a shipped table.

    Raises
    ------
    GearTableError
        When there is neither; offers the nearest shipped name.
    """
    path = Path(name)
    if path.is_file():
        return path
    shipped = shipped_path("gear_tables", path.name.removesuffix(".toml") + ".toml")
    if len(path.parts) == 1 and shipped.is_file():
        return shipped
    names = shipped_names("gear_tables", ".toml")
    found = "is a folder" if path.is_dir() else "there is no such gear table"
    raise GearTableError(
        [Fault(str(name), found, f"{nearest(path.stem, names)} Or give the path of your own.")]
    )


def read_machine(name: str | Path) -> Machine:
    """The machine of a gear table, by path or by the name of a shipped one.

    Raises
    ------
    GearTableError
        With every fault of the file at once, each with its key path and what would do.

    >>> len(read_machine("lathe-8-speed").positions)
    8
    """
    return read_table(name).machine


def read_table(name: str | Path) -> Table:
    """The machine of a gear table together with the remarks on it."""
    path = find_table(name)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        fault = Fault(path.name, "this is not a text file", "A gear table is plain text (UTF-8).")
        raise GearTableError([fault], str(path)) from None
    except OSError as error:
        fault = Fault(path.name, f"cannot be read ({error.strerror})", "Check the path.")
        raise GearTableError([fault], str(path)) from None
    return parse_table(text, str(path))


def position_of(machine: Machine, words: str) -> Position:
    """The position written as "A3 B2 CL"; levers in any order, feed levers and neutral allowed.

    Raises
    ------
    UsageError
        When a lever is not named, named twice, or has no such setting.
    """
    levers: dict[str, str] = {}
    for word in words.split():
        try:
            group, setting = lever_setting(word, _all_levers(machine))
        except Unreadable as problem:
            raise UsageError(problem.found, problem.remedy, words) from None
        if group in levers:
            raise UsageError(f"lever {group} stands in two places", "Name each once.", words)
        levers[group] = setting
    missing = [group.name for group in machine.groups if group.name not in levers]
    if missing:
        raise UsageError(
            f"does not say where lever {', '.join(missing)} stands",
            f'Name every lever, such as "{machine.positions[0].label}".',
            words or "no lever position",
        )
    ordered = {g.name: levers[g.name] for g in _all_levers(machine) if g.name in levers}
    made = Position(levers=ordered)
    return next((p for p in machine.positions if p.label == made.label), made)


def _all_levers(machine: Machine) -> tuple[LeverGroup, ...]:
    return (*machine.groups, *machine.feed_groups)


def parse_table(text: str, where: str = "") -> Table:
    """The machine written in ``text``; ``where`` names the source in errors."""
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        remedy = (
            'Usual causes: a missing quotation mark, "36/36" written without them, one key or '
            "section given twice."
        )
        raise GearTableError([Fault("file", f"not TOML: {error}", remedy)], where) from None
    if not values:
        fault = Fault("file", "the table is empty", 'Start from the shipped "starter" table.')
        raise GearTableError([fault], where)
    notes = Notes()
    machine = _read(values, notes, Path(where).stem or "unnamed machine")
    if not notes.faults:
        check_machine(machine, notes)
    if notes.faults:
        raise GearTableError(notes.faults, where)
    return Table(machine=machine, remarks=tuple(notes.remarks))


def _read(values: dict[str, Any], notes: Notes, called: str) -> Machine:
    top = Section(values, "", notes)
    draft = Draft(notes=notes)
    name, spindle = top.text("name", called), top.text("spindle", "spindle")
    motor = table_parts.read_motor(top.section("motor"))
    supply = table_parts.read_supply(top.section("supply"), top.section("motor"))
    if motor:
        draft.shaft(motor.shaft)
    levers, feed = top.named("levers"), top.section("feed")
    feed_levers = feed.named("levers")
    draft.groups = table_levers.read_groups(draft, levers)
    draft.feed_groups = table_levers.read_groups(draft, feed_levers)
    table_parts.read_gears(draft, top.named("gears"))
    between = table_levers.default_between(levers, spindle)
    first = next(iter(between.values()))[0] if between else "I"
    table_parts.read_belts(draft, top.named("belts"), first)
    for group, (_, section) in zip(draft.groups, levers, strict=True):
        table_levers.read_lever(draft, group, section, between.get(group.name))
    for group, (_, section) in zip(draft.feed_groups, feed_levers, strict=True):
        table_levers.read_lever(draft, group, section, None)
    for gear in draft.gears.values():
        draft.shaft(gear.shaft)
    table_parts.read_pairs(draft, top.listed("pairs"))
    table_parts.read_couplings(draft, top.listed("couplings"))
    planetaries = table_parts.read_planetaries(draft, top.named("planetary"))
    bearings = table_bearings.read_bearings(top.named("bearings"), spindle)
    pumps = table_parts.read_pumps(top.named("pumps"))
    neutral = {
        (group, key)
        for group, section in levers
        for key, value in section.values.items()
        if value == "neutral"
    }
    positions = read_chart(top.section("chart_rpm"), draft.groups, neutral)
    shafts = top.words("shafts")
    machine = Machine(
        name=name,
        description=top.text("description"),
        supply=supply,
        motor=_with_speeds(motor, draft),
        shafts=shafts if shafts is not None else tuple(draft.shafts),
        spindle=spindle,
        gears=tuple(draft.gears.values()),
        meshes=tuple(draft.meshes),
        belts=tuple(draft.belts),
        couplings=tuple(draft.couplings),
        planetaries=tuple(planetaries),
        bearings=tuple(bearings),
        pumps=tuple(pumps),
        feed=table_parts.read_feed(feed),
        groups=tuple(draft.groups),
        positions=tuple(positions),
        feed_groups=tuple(draft.feed_groups),
        rides_on=_rides_on(top.section("rides_on")),
    )
    top.close()
    return machine


def _with_speeds(motor: Motor | None, draft: Draft) -> Motor | None:
    if not draft.motor_speeds:
        return motor
    if motor is None:
        draft.notes.fault(
            "motor", "missing, though a lever sets its speed", "Write [motor] and its poles."
        )
        return None
    return replace(motor, speeds=tuple(draft.motor_speeds))


def _rides_on(section: Section) -> dict[str, str]:
    return {key: section.text(key) for key in section.values}
