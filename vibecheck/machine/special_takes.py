"""Recordings that are no lever position of the chart, each only where it changes the answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations, product

from vibecheck.machine.cover import SHORTEST_S, Cover
from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.planned import SpecialTake
from vibecheck.machine.signature import Suspect, signature
from vibecheck.machine.turning import levers_in_neutral


def special_takes(
    machine: Machine,
    chosen: tuple[Suspect, ...],
    groups: list[tuple[str, ...]],
    narrowed: bool,
    also: Sequence[str],
    cover: Cover,
) -> Iterable[SpecialTake]:
    """Special takes, each only where it would change the answer."""
    names = {s.name for s in chosen}
    if "mains" in names or "structure" in also:
        yield SpecialTake(kind="background", seconds=20.0, about=("mains", "the room"))
    motor = machine.motor
    fed = machine.supply.kind not in ("direct current",)
    if motor and fed and "mains" in names and motor.shaft in names:
        # An induction motor's whole multiples crowd twice the mains; only their death tells.
        yield SpecialTake(kind="coast-down", seconds=30.0, about=("mains", motor.shaft))
    yield from _motor_alone(machine, names, groups, cover)
    yield from _neutral(machine, chosen, groups)
    if narrowed and machine.spindle in names:
        yield SpecialTake(kind="chuck off", seconds=SHORTEST_S, about=(machine.spindle,))
    kinds = {s.name: s.kind for s in chosen}
    mixed = [g for g in groups if {"gear", "shaft"} <= {kinds[n] for n in g}]
    if mixed:
        yield SpecialTake(
            kind="reverse", seconds=30.0, about=mixed[0], position=_where(cover, mixed[0])
        )
    if "chatter" in also:
        yield SpecialTake(kind="cutting", seconds=30.0, about=("chatter",))
    if "chatter" in also or "structure" in also:
        yield SpecialTake(kind="tap", seconds=10.0, about=tuple(also))


def _where(cover: Cover, group: tuple[str, ...]) -> str:
    """The quickest position at which every one of a group works."""
    able = [
        i for i in range(len(cover.labels)) if all(cover.signs[name][i].heard for name in group)
    ]
    return cover.labels[min(able, key=lambda i: cover.turns[i])] if able else ""


def _motor_alone(
    machine: Machine, names: set[str], groups: list[tuple[str, ...]], cover: Cover
) -> Iterable[SpecialTake]:
    """With the belt off only the motor is left: worth it where motor and belt are not parted."""
    if machine.motor is None or not machine.belts:
        return
    motor = machine.motor.shaft
    driven = {belt.name for belt in machine.belts if motor in (belt.driver, belt.driven)}
    unknown = {name for name in driven & names if any(not sign.known for sign in cover.signs[name])}
    tangled = {n for group in groups if set(group) & {motor, *driven} for n in group}
    about = sorted(unknown | tangled)
    if about and motor in names:
        yield SpecialTake(kind="motor alone", seconds=SHORTEST_S, about=tuple(about))


def _neutral(
    machine: Machine, chosen: tuple[Suspect, ...], groups: list[tuple[str, ...]]
) -> Iterable[SpecialTake]:
    """The neutral position that parts most of what no driving position parts."""
    if not groups:
        return
    places = list(neutral_positions(machine))
    together = {name for group in groups for name in group}
    signs = signature(machine, [s for s in chosen if s.name in together], places)
    best: tuple[int, Position, set[str]] | None = None
    for index, place in enumerate(places):
        split = {
            name
            for group in groups
            for a, b in combinations(group, 2)
            if signs[a][index].heard != signs[b][index].heard
            for name in (a, b)
        }
        if split and (best is None or len(split) > best[0]):
            best = len(split), place, split
    if best:
        about = tuple(sorted(best[2]))
        yield SpecialTake(kind="neutral", seconds=SHORTEST_S, about=about, position=best[1].label)


def neutral_positions(machine: Machine) -> Iterable[Position]:
    """Lever positions in which one lever, and only one, selects nothing."""
    groups = machine.groups
    for settings in product(*(group.settings for group in groups)):
        place = Position(levers={g.name: s for g, s in zip(groups, settings, strict=True)})
        if len(levers_in_neutral(machine, place)) == 1:
            yield place
