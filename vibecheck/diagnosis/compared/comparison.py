"""Two sweeps of one machine held against each other, line by line and position by position.

Nothing is called better or worse unless it stands clear of what the same machine does when it is
measured twice, with all lines of all positions controlled together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from vibecheck.diagnosis.compared.change import Comparison
from vibecheck.diagnosis.compared.comparability import not_told
from vibecheck.diagnosis.compared.compared_position import ComparedPosition, compared_at
from vibecheck.diagnosis.compared.judged_positions import judged
from vibecheck.diagnosis.compared.repeatability import RESEATING_DB, Repeatability
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.errors import JobError
from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import turning

SEAT_WORDS = ("seat", "reseated", "re-seated", "sensor reseated")


def compare(
    machine: Machine,
    before: Sequence[TakeAtSpeed],
    after: Sequence[TakeAtSpeed],
    *,
    extra_hz: Sequence[float] = (),
) -> Comparison:
    """Compare two sweeps of one machine at every lever position both contain.

    Parameters
    ----------
    machine : Machine
    before, after : sequence of TakeAtSpeed
        Takes with their speeds. Several of one position are repeats; takes of kind "background"
        are subtracted; only "idle" takes are compared.
    extra_hz : sequence of float
        Tones of fixed frequency to follow as well.

    Returns
    -------
    Comparison

    Raises
    ------
    JobError
        When the two sweeps have no lever position in common.
    """
    sides = [_by_position(side) for side in (before, after)]
    labels = [p.label for p in machine.positions if all(p.label in side for side in sides)]
    if not labels:
        raise JobError(
            "the two sweeps have no lever position in common",
            "Record the same lever positions before and after.",
        )
    turnings = {label: turning(machine, machine.position(label)) for label in labels}
    grounds = [_backgrounds(side) for side in (before, after)]
    measured = [
        compared_at(turnings[label], sides[0][label], sides[1][label], grounds, extra_hz)
        for label in labels
    ]
    seated = _seating([*before, *after])
    idle = [[h.take for h in side if h.take.kind == "idle"] for side in (before, after)]
    made = judged(machine, measured, seated)
    return replace(
        made,
        missing=_missing(machine, sides),
        not_told=not_told(*idle),
        notes=_notes(seated, measured, made.repeatability),
    )


def _by_position(side: Sequence[TakeAtSpeed]) -> dict[str, list[TakeAtSpeed]]:
    found: dict[str, list[TakeAtSpeed]] = {}
    for heard in side:
        if heard.take.kind == "idle" and heard.take.position is not None:
            found.setdefault(heard.take.position, []).append(heard)
    return found


def _backgrounds(side: Sequence[TakeAtSpeed]) -> list[TakeAtSpeed]:
    return [heard for heard in side if heard.take.kind == "background"]


def _seating(every: Sequence[TakeAtSpeed]) -> bool | None:
    told = []
    for heard in every:
        for key, value in heard.take.conditions.items():
            if key.lower().strip() in SEAT_WORDS:
                told.append(value.lower().strip() not in ("no", "same", "false", "0", "left"))
    return any(told) if told else None


def _missing(machine: Machine, sides: Sequence[Mapping[str, object]]) -> tuple[str, ...]:
    found = []
    for position in machine.positions:
        label = position.label
        held = [label in side for side in sides]
        if any(held) and not all(held):
            found.append(f"{label} (only {'before' if held[0] else 'after'})")
    return tuple(found)


def _notes(
    seated: bool | None, measured: Sequence[ComparedPosition], known: Repeatability
) -> tuple[str, ...]:
    notes = []
    repeats = any(m.cell.spare > 0 and not m.obstacles for m in measured)
    if not repeats:
        notes.append(
            f"No repeats: seating the sensor is allowed {RESEATING_DB:g} dB (standard uncertainty, "
            "common practice, not measured here). Three takes a side, the sensor taken off and "
            "put back between them, would measure it."
        )
    elif seated is None:
        notes.append(
            "Nobody recorded whether the sensor was re-seated between repeats; it is taken that "
            "it was. If it stayed in place, the spread is too small and changes of 1-3 dB prove "
            "nothing."
        )
    elif seated is False:
        notes.append(
            f"The sensor stayed in place between repeats, so {RESEATING_DB:g} dB is allowed for "
            "seating it anew (standard uncertainty, common practice)."
        )
    if any(not m.before.heard[0].speeds_hz for m in measured):
        notes.append("Some takes have no known speed; their lines could not be placed.")
    return tuple(notes)
