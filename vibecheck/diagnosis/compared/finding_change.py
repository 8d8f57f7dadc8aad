"""What became of each finding of the first sweep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vibecheck.diagnosis.compared.change import Comparison, LineChange, Outcome
from vibecheck.diagnosis.compared.compared_lines import Sort
from vibecheck.diagnosis.findings import Finding
from vibecheck.machine.parts import Machine

HEARD_IN: dict[str, tuple[Sort, ...]] = {
    "broken or damaged tooth": ("blows",),
    "eccentric or worn gear": ("sidebands",),
    "gear worn or damaged": ("blows", "sidebands"),
    "gear worn, damaged or loose": ("blows", "sidebands"),
    "imbalance": ("turn",),
    "bent or misaligned": ("turn",),
    "loose on its shaft or in its seat": ("turn", "blows"),
    "shaft out of balance, bent or loose": ("turn", "blows"),
    "lumpy or set belt": ("belt",),
    "mains hum": ("mains",),
}
"""Fault -> the kinds of line that tell of it; bearings are told by their own lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChange:
    """One finding of the first sweep, afterwards.

    Attributes
    ----------
    finding : Finding
    at : tuple of (str, str, LineChange or None)
        Lever position, outcome there, and the line that decided it.
    """

    finding: Finding
    at: tuple[tuple[str, Outcome, LineChange | None], ...]

    def where(self, outcome: Outcome) -> tuple[str, ...]:
        """The positions with that outcome."""
        return tuple(label for label, found, _ in self.at if found == outcome)


def finding_changes(
    machine: Machine, findings: Sequence[Finding], comparison: Comparison
) -> tuple[FindingChange, ...]:
    """Each finding at every position where it should be heard and both sides were recorded."""
    there = {position.position: position for position in comparison.positions}
    made = []
    for finding in findings:
        named = _names(machine, finding)
        sorts = HEARD_IN.get(finding.fault, ("bearing",))
        rows: list[tuple[str, Outcome, LineChange | None]] = []
        for label in finding.expected or tuple(there):
            position = there.get(label)
            if position is None:
                continue
            if position.obstacles:
                rows.append((label, "not comparable", None))
                continue
            lines = [
                line for line in position.lines if line.sort in sorts and named & {*line.parts}
            ]
            rows.append((label, *_decided(lines)))
        made.append(FindingChange(finding=finding, at=tuple(rows)))
    return tuple(made)


def _names(machine: Machine, finding: Finding) -> set[str]:
    """The parts' own names, and the shafts they turn with."""
    parts = {finding.part, *finding.parts}
    shafts = {gear.shaft for gear in machine.gears if gear.name in parts}
    return parts | (shafts if "blows" in HEARD_IN.get(finding.fault, ()) else set())


def _decided(lines: Sequence[LineChange]) -> tuple[Outcome, LineChange | None]:
    """Worse if any line is, else better if any is, else the same; not heard when none was."""
    for outcome in ("worse", "better", "same"):
        for line in lines:
            if line.outcome == outcome:
                return outcome, line
    return "not heard", None
