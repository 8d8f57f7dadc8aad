"""Sets of lever positions, said in as few words as the levers allow."""

from __future__ import annotations

from collections.abc import Iterable

from vibecheck.machine.parts import Machine, Position


def positions_text(machine: Machine, labels: Iterable[str], most: int = 3) -> str:
    """Lever positions in short: "every position", "A2 B2", "A1/A3 B2", or a list.

    >>> from vibecheck.machine.parts import LeverGroup
    >>> m = Machine(name="m", groups=(LeverGroup(name="A", settings=("1", "2")),
    ...     LeverGroup(name="B", settings=("1", "2"))), positions=tuple(
    ...     Position(levers={"A": a, "B": b}) for a in "12" for b in "12"))
    >>> positions_text(m, ["A1 B1", "A1 B2"])
    'A1'
    >>> positions_text(m, ["A1 B1", "A2 B2"])
    'A1 B1, A2 B2'
    """
    wanted = set(labels)
    chosen = [position for position in machine.positions if position.label in wanted]
    if not chosen:
        return "no position"
    if len(chosen) == len(machine.positions):
        return "every position"
    block = _block(machine, chosen)
    if block is not None:
        return block
    names = [position.label for position in chosen]
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _block(machine: Machine, chosen: list[Position]) -> str | None:
    """The lever settings that give exactly these positions, when there are any."""
    settings = {
        group.name: tuple(
            s for s in group.settings if any(p.levers.get(group.name) == s for p in chosen)
        )
        for group in machine.groups
    }
    if sum(position.fits(settings) for position in machine.positions) != len(chosen):
        return None
    words = []
    for group in machine.groups:
        there = {p.levers.get(group.name) for p in machine.positions}
        if set(settings[group.name]) != there:
            words.append("/".join(group.name + s for s in settings[group.name]))
    return " ".join(words)
