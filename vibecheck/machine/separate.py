"""What to record: the fewest lever positions that part all suspects, and how long at each.

From the table alone. Every pair of suspects, and every suspect against "nothing wrong", must be
told apart by at least one of the positions chosen, if any position can.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil
from typing import Literal

from vibecheck.machine.cover import LONGEST_S, SHORTEST_S, Cover
from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.planned import Inseparable, Plan, PlannedTake, Reason, SpecialTake
from vibecheck.machine.signature import Sign, Suspect, every_suspect, groups_of, signature
from vibecheck.machine.special_takes import special_takes
from vibecheck.machine.tones import hunting_divisor
from vibecheck.machine.turning import turning

HUNTING_TURNS = 3.0
LONGEST_FOR_HUNTING_S = 60.0


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
    cover = Cover(machine, signs, relative)
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
        specials=tuple(special_takes(machine, chosen, groups, suspects is not None, also, cover)),
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
    cover = Cover(machine, signs, relative)
    done = tuple(i for i, label in enumerate(cover.labels) if label in set(recorded))
    parted = cover.parted(done)
    left = [i for i in range(len(cover.labels)) if i not in done]
    gains = {i: (cover.parted((*done, i)) & ~parted).bit_count() for i in left}
    best = max(left, key=lambda i: (gains[i], -cover.turns[i]), default=None)
    if best is not None and gains[best]:
        return _take(machine, cover, best, (best,))
    heard = {n: row for n, row in signs.items() if any(s.heard for s in row)}
    groups = groups_of(heard, relative, LONGEST_S)
    for special in special_takes(machine, chosen, groups, True, (), cover):
        if groups and set(special.about) & set(groups[0]):
            return special
    return _inseparable(groups[0], {s.name: s for s in chosen}, signs) if groups else None


def _take(machine: Machine, cover: Cover, index: int, picked: tuple[int, ...]) -> PlannedTake:
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
