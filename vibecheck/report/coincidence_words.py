"""What sounds alike, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from vibecheck.machine.coincidences import Coincidence, parting_moves
from vibecheck.machine.parts import Machine
from vibecheck.machine.places import positions_text
from vibecheck.machine.turning import sweep

_HEADS = {
    "same frequency": "{a} and {b} are one frequency",
    "sideband": "{a} lies on the sideband {b}",
    "turn alike": "{a} and {b} turn at one speed",
    "whole ratio": "{a} turns at {b}",
    "bearing": "{a} comes near {b}",
    "mains": "{a} and {b} lie together",
    "slip decides": "{a} and {b} lie together",
    "close together": "{a} and {b} lie together",
}


def coincidence_text(machine: Machine, case: Coincidence) -> str:
    """One case in two sentences: what falls together where, and what parts it."""
    kind = case.kind if case.exact or case.kind != "same frequency" else "close together"
    head = _HEADS[kind].format(a=case.first, b=case.second)
    where = positions_text(machine, case.where)
    if case.kind == "bearing" and case.apart:
        where = f"{len(case.where)} of {len(machine.positions)} positions, the slow ones"
    near = "less than 0.001" if case.gap_hz < 1e-3 else f"{case.gap_hz:.2g}"
    gap = "" if case.exact else f", {near} Hz apart by the table"
    return f"{head} (in {where}){gap}. {_remedy(machine, case)}"


def _remedy(machine: Machine, case: Coincidence) -> str:
    if case.kind == "slip decides":
        slips = "How near they really come depends on slip; " if case.apart else ""
        if not case.apart:
            rest = "the bearing is the suspect, not one race" if _one_part(case) else "inspect both"
            return f"They slip by more than that: never parted by frequency; {rest}."
        return slips + _record(case) + " or use another lever position."
    if case.kind == "mains":
        return (
            "How near depends on the true motor speed. Power off tells: mains stops at once, "
            "the machine runs down."
        )
    if case.kind in ("bearing", "close together"):
        other = " or use another lever position" if case.apart else ""
        if case.kind == "bearing" and case.apart:
            other = f"; better, judge it in {_fastest(machine, case.apart)}"
        return f"{_record(case).capitalize()}{other}."
    return _parted(machine, case)


def _one_part(case: Coincidence) -> bool:
    return case.parts[0] == case.parts[1]


def _fastest(machine: Machine, labels: Sequence[str]) -> str:
    speeds = {
        here.label: here.nominal_hz(machine.spindle) or 0.0
        for here in sweep(machine)
        if here.label in labels
    }
    return max(speeds, key=lambda label: speeds[label])


def _record(case: Coincidence) -> str:
    seconds = case.seconds
    return f"record {seconds:.0f} s or more there" if seconds else "no length parts them there"


def _parted(machine: Machine, case: Coincidence) -> str:
    if not case.apart:
        return "Never parted by any lever position: inspect both."
    moves = parting_moves(machine, case)
    if moves:
        return f"Parted by {_or(moves)}."
    return f"Parted in {positions_text(machine, case.apart)}."


def same_teeth_text(cases: Sequence[Coincidence]) -> str:
    """One sentence for all pairs in which the same teeth always meet."""
    names = ", ".join(case.first for case in cases)
    return (
        f"The same teeth meet at every turn of the larger gear in {names}: they wear to each "
        "other, and a new gear there runs in noisily."
    )


def _or(words: Sequence[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last
