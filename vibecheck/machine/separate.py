"""What to record: the fewest lever positions that part all suspects, and how long at each.

From the table alone. Every pair of suspects, and every suspect against "nothing wrong", must be
told apart by at least one of the positions chosen, if any position can.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import ceil
from typing import Literal

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.signature import (
    Sign,
    Suspect,
    every_suspect,
    groups_of,
    moves_alike,
    parted_here,
    seconds_to_part,
    signature,
)
from vibecheck.machine.tones import hunting_divisor
from vibecheck.machine.train import levers_in_neutral, turning

SHORTEST_S = 20.0
SPINDLE_TURNS = 20.0
LONGEST_S = 120.0
HUNTING_TURNS = 3.0
LONGEST_FOR_HUNTING_S = 60.0
NOTHING = "nothing wrong"

SpecialKind = Literal[
    "background", "motor alone", "neutral", "chuck off", "reverse", "coast-down", "cutting", "tap"
]
Reason = Literal["shortest", "spindle turns", "hunting teeth", "part two lines"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTake:
    """One lever position to record.

    ``reason`` says what sets the length; ``hardest`` the two suspects whose lines are closest
    there, when that is it. ``settles`` counts the pairs of suspects this take is the one to part.
    """

    position: str
    seconds: float
    reason: Reason
    hardest: tuple[str, ...] = ()
    settles: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialTake:
    """A recording that is no lever position of the chart; ``about`` names what it decides on."""

    kind: SpecialKind
    seconds: float
    about: tuple[str, ...]
    position: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inseparable:
    """Suspects no lever position parts, why, and the test that would."""

    suspects: tuple[str, ...]
    why: Literal["one speed", "one belt and shaft", "numbers missing"]
    test: Literal["inspect", "reverse and inspect", "find the numbers", "power off"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to record, and what recording will never decide."""

    machine: str
    suspects: tuple[str, ...]
    takes: tuple[PlannedTake, ...]
    specials: tuple[SpecialTake, ...]
    inseparable: tuple[Inseparable, ...]
    never_work: tuple[str, ...] = ()
    positions: int = 0

    @property
    def seconds(self) -> float:
        """Recording time of all takes, special ones included."""
        return sum(t.seconds for t in self.takes) + sum(t.seconds for t in self.specials)


def plan(
    machine: Machine,
    suspects: Iterable[Suspect] | None = None,
    relative: float = 1e-3,
    also: Sequence[Literal["chatter", "structure"]] = (),
) -> Plan:
    """The smallest set of lever positions that parts all suspects that can be parted.

    Parameters
    ----------
    machine : Machine
    suspects : iterable of Suspect, optional
        Those left after a first look; default everything in the table.
    relative : float
        Relative accuracy of speeds found from a take.
    also : sequence of str
        Suspects that are no part of the table: self-excited "chatter", resonant "structure".
    """
    chosen = tuple(suspects) if suspects is not None else every_suspect(machine)
    signs = signature(machine, chosen)
    cover = _Cover(machine, signs, relative)
    picked = cover.smallest()
    takes = tuple(_take(machine, cover, index, picked) for index in picked)
    groups = groups_of(
        {n: row for n, row in signs.items() if any(s.heard for s in row)}, relative, LONGEST_S
    )
    kinds = {s.name: s for s in chosen}
    return Plan(
        machine=machine.name,
        suspects=tuple(s.name for s in chosen),
        takes=tuple(sorted(takes, key=lambda take: cover.labels.index(take.position))),
        specials=tuple(_specials(machine, chosen, groups, suspects is not None, also, cover)),
        inseparable=tuple(_inseparable(group, kinds, signs) for group in groups),
        never_work=tuple(n for n, row in signs.items() if not any(s.heard for s in row)),
        positions=len(machine.positions),
    )


def next_take(
    machine: Machine,
    suspects: Iterable[Suspect],
    recorded: Iterable[str],
    relative: float = 1e-3,
) -> PlannedTake | SpecialTake | Inseparable | None:
    """The one recording that would part most of what the takes so far leave together.

    Parameters
    ----------
    machine : Machine
    suspects : iterable of Suspect
        Those still standing.
    recorded : iterable of str
        Labels of the positions recorded already.
    relative : float
        Relative accuracy of speeds found from a take.

    Returns
    -------
    PlannedTake, SpecialTake, Inseparable or None
        Another lever position when one helps; else a special take; else the group that no
        recording parts; None when the takes so far part everything.
    """
    chosen = tuple(suspects)
    signs = signature(machine, chosen)
    cover = _Cover(machine, signs, relative)
    done = tuple(i for i, label in enumerate(cover.labels) if label in set(recorded))
    parted = cover.parted(done)
    left = [i for i in range(len(cover.labels)) if i not in done]
    gains = {i: (cover.parted((*done, i)) & ~parted).bit_count() for i in left}
    best = max(left, key=lambda i: (gains[i], -cover.turns[i]), default=None)
    if best is not None and gains[best]:
        return _take(machine, cover, best, (best,))
    heard = {n: row for n, row in signs.items() if any(s.heard for s in row)}
    groups = groups_of(heard, relative, LONGEST_S)
    for special in _specials(machine, chosen, groups, True, (), cover):
        if groups and set(special.about) & set(groups[0]):
            return special
    return _inseparable(groups[0], {s.name: s for s in chosen}, signs) if groups else None


class _Cover:
    """Which position parts which pair of suspects; pairs are bits of a number."""

    def __init__(
        self, machine: Machine, signs: dict[str, tuple[Sign, ...]], relative: float
    ) -> None:
        self.machine, self.relative = machine, relative
        self.labels = [position.label for position in machine.positions]
        nothing = tuple(Sign(state="still", rate_hz=None) for _ in self.labels)
        self.signs = {**signs, NOTHING: nothing}
        self.pairs = list(combinations(self.signs, 2))
        count = len(self.labels)
        self.single = [self._single(index) for index in range(count)]
        self.double = {(a, b): self._double(a, b) for a, b in combinations(range(count), 2)}
        self.turns = [self._turns_seconds(index) for index in range(count)]

    def _single(self, index: int) -> int:
        bits = 0
        for bit, (a, b) in enumerate(self.pairs):
            x, y = self.signs[a][index], self.signs[b][index]
            if parted_here(x, y, self.relative, LONGEST_S):
                bits |= 1 << bit
        return bits

    def _double(self, i: int, j: int) -> int:
        """Pairs whose rates, known only up to a factor, keep another ratio at two positions."""
        bits = 0
        for bit, (a, b) in enumerate(self.pairs):
            rows = [(self.signs[n][i], self.signs[n][j]) for n in (a, b)]
            if not moves_alike(rows[0], rows[1], self.relative):
                bits |= 1 << bit
        return bits

    def parted(self, picked: Sequence[int]) -> int:
        """The pairs parted by takes at these positions."""
        bits = 0
        for index in picked:
            bits |= self.single[index]
        for pair in combinations(sorted(picked), 2):
            bits |= self.double[pair]
        return bits

    def smallest(self) -> tuple[int, ...]:
        """Fewest positions that part all that can be parted; of those, the quickest to record."""
        everything = range(len(self.labels))
        goal = self.parted(tuple(everything))
        for size in range(1, 4 if len(self.labels) > 24 else 5):
            found = [c for c in combinations(everything, size) if self.parted(c) == goal]
            if found:
                return min(found, key=self._cost)
        return self._greedy(goal)

    def _cost(self, picked: tuple[int, ...]) -> float:
        """Roughly the time: spindle turns and shortest length; closeness is added afterwards."""
        return sum(self.turns[index] for index in picked)

    def _greedy(self, goal: int) -> tuple[int, ...]:
        picked: list[int] = []
        while self.parted(picked) != goal:
            steps = [
                step
                for size in (1, 2)
                for step in combinations(range(len(self.labels)), size)
                if not set(step) & set(picked)
            ]
            best = max(
                steps,
                key=lambda s: (
                    (self.parted([*picked, *s]) & goal).bit_count() / len(s),
                    -self._cost(s),
                ),
            )
            picked += best
        needed = [i for i in picked if self.parted([k for k in picked if k != i]) != goal]
        return tuple(sorted(needed if self.parted(needed) == goal else picked))

    def _turns_seconds(self, index: int) -> float:
        here = turning(self.machine, self.machine.positions[index])
        spindle = here.nominal_hz(self.machine.spindle)
        return max(SHORTEST_S, SPINDLE_TURNS / spindle if spindle else SHORTEST_S)

    def seconds_of(self, index: int, bit: int) -> float:
        """Length of take that parts one pair at one position by their rates."""
        a, b = self.pairs[bit]
        return seconds_to_part(self.signs[a][index], self.signs[b][index], self.relative)


def _take(machine: Machine, cover: _Cover, index: int, picked: tuple[int, ...]) -> PlannedTake:
    """Length and reason of one take; a pair is charged to the position that parts it quickest."""
    mine: list[tuple[float, tuple[str, str]]] = []
    for bit, pair in enumerate(cover.pairs):
        able = [i for i in picked if cover.single[i] >> bit & 1]
        if able and min(able, key=lambda i: cover.seconds_of(i, bit)) == index:
            mine.append((cover.seconds_of(index, bit), pair))
    closest = max(mine, default=(0.0, ("", "")))
    turns, hunting = cover.turns[index], _hunting_seconds(machine, machine.positions[index])
    needs: list[tuple[float, Reason]] = [
        (SHORTEST_S, "shortest"),
        (turns, "spindle turns"),
        (hunting, "hunting teeth"),
        (closest[0], "part two lines"),
    ]
    seconds, reason = max(needs, key=lambda need: need[0])
    return PlannedTake(
        position=cover.labels[index],
        seconds=5.0 * ceil(min(seconds, LONGEST_S) / 5.0),
        reason=reason,
        hardest=closest[1] if reason == "part two lines" else (),
        settles=len(mine),
    )


def _hunting_seconds(machine: Machine, position: Position) -> float:
    """Three meetings of the same two teeth, of every driving pair where a minute will do."""
    here = turning(machine, position)
    longest = 0.0
    for work in here.meshes:
        divisor, base = hunting_divisor(work), here.groups[work.group].nominal_hz
        if divisor and work.order and base and work.loaded:
            need = HUNTING_TURNS * divisor / (work.order * base)
            longest = max(longest, need) if need <= LONGEST_FOR_HUNTING_S else longest
    return longest


def _inseparable(
    group: tuple[str, ...], kinds: dict[str, Suspect], signs: dict[str, tuple[Sign, ...]]
) -> Inseparable:
    missing = any(
        sign.heard and (not sign.known or sign.spread == float("inf"))
        for name in group
        for sign in signs[name]
    )
    sorts = {kinds[name].kind for name in group}
    if "mains" in sorts:
        return Inseparable(suspects=group, why="one speed", test="power off")
    if missing:
        return Inseparable(suspects=group, why="numbers missing", test="find the numbers")
    if sorts == {"gear", "shaft"}:
        return Inseparable(suspects=group, why="one speed", test="reverse and inspect")
    if "belt" in sorts:
        return Inseparable(suspects=group, why="one belt and shaft", test="inspect")
    return Inseparable(suspects=group, why="one speed", test="inspect")


def _specials(
    machine: Machine,
    chosen: tuple[Suspect, ...],
    groups: list[tuple[str, ...]],
    narrowed: bool,
    also: Sequence[str],
    cover: _Cover,
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


def _where(cover: _Cover, group: tuple[str, ...]) -> str:
    """The quickest position at which every one of a group works."""
    able = [
        i for i in range(len(cover.labels)) if all(cover.signs[name][i].heard for name in group)
    ]
    return cover.labels[min(able, key=lambda i: cover.turns[i])] if able else ""


def _motor_alone(
    machine: Machine, names: set[str], groups: list[tuple[str, ...]], cover: _Cover
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
