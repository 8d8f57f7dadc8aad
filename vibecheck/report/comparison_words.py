"""Sentences about a comparison, the same for terminal, page and JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isinf

from vibecheck.diagnosis.compared.change import Comparison, LineChange, Outcome, PositionChange
from vibecheck.diagnosis.compared.finding_change import FindingChange
from vibecheck.diagnosis.compared.severity import Limits

SAID: dict[Outcome, str] = {
    "better": "better",
    "same": "same within repeatability",
    "worse": "worse",
    "not comparable": "not comparable",
    "not heard": "not heard",
}
"""Outcome -> the words a customer reads."""


def headline(comparison: Comparison) -> str:
    """How many positions came out how; never one figure for all."""
    told = [
        f"{SAID[outcome]} at {comparison.count(outcome)}"
        for outcome in ("worse", "same", "not comparable", "better")
        if comparison.count(outcome)
    ]
    total = len(comparison.positions)
    where = "lever position" if total == 1 else "lever positions"
    return f"Of {total} {where} compared: {', '.join(told)}."


def decibels(value: float) -> str:
    """With sign and one decimal: "-14.2 dB"."""
    return f"{value:+.1f} dB"


def interval(line: LineChange) -> str:
    """The change and its 95 % interval, or the bound of a line that was lost in the noise.

    A line that is gone or new has no upper (lower) end: the noise hides it.
    """
    if line.bound == "gone":
        return f"gone, at least {-line.high_db:.1f} dB down" if line.high_db < 0 else "gone"
    if line.bound == "new":
        return f"new, at least {line.low_db:.1f} dB up" if line.low_db > 0 else "new"
    return f"{decibels(line.change_db)} ({line.low_db:+.1f} to {line.high_db:+.1f})"


def repeatability_said(comparison: Comparison) -> str:
    """Where the interval comes from."""
    spread = comparison.repeatability
    if not spread.measured:
        return (
            f"Spread of a level when nothing changed: {spread.standard_deviation_db:.1f} dB "
            "standard uncertainty, an allowance, not measured here."
        )
    dof = "" if isinf(spread.take_dof) else f", about {spread.take_dof:.0f} degrees of freedom"
    return (
        f"Spread of a level when nothing changed, from the repeats: s = "
        f"{spread.standard_deviation_db:.1f} dB{dof}; repeatability limit 2.8 s = "
        f"{spread.limit_db:.1f} dB (ISO 5725)."
    )


def smallest_said(comparison: Comparison) -> str:
    """What such a pair could have shown, and what more repeats would."""
    more = "; ".join(
        f"with {count} takes a side {value:.1f} dB" for count, value in comparison.smallest_with
    )
    said = (
        f"Smallest change of one line this pair would have shown four times in five: "
        f"{comparison.smallest_db:.1f} dB"
    )
    return f"{said}; {more}." if more else f"{said}."


def control_said(comparison: Comparison) -> str:
    """How many were compared together."""
    return (
        f"{comparison.compared} lines were compared together: the chance that any of them is "
        "called better or worse falsely is 1 %. The intervals are 95 % for each line by itself."
    )


def why_same(position: PositionChange) -> str:
    """What a position that came out the same would have shown."""
    if position.smallest_db is None:
        return ""
    return f"No line moved beyond the spread; {position.smallest_db:.1f} dB would have shown."


def shaking_said(position: PositionChange, limits: Limits | None = None) -> str:
    """Calibrated numbers of both sides; a zone only by limits someone named."""
    found = position.shaking
    if found is None:
        return ""
    low, high = found.band_hz
    said = (
        f"{found.before_mm_s:.3g} mm/s before, {found.after_mm_s:.3g} mm/s after "
        f"({found.before_um:.3g} and {found.after_um:.3g} um), r.m.s., {low:.0f}-{high:.0f} Hz"
    )
    if limits is not None:
        zones = limits.zone(found.before_mm_s), limits.zone(found.after_mm_s)
        said += f"; zone {zones[0]} before, {zones[1]} after by {limits.source}"
    return f"{said}."


def findings_said(changes: Sequence[FindingChange], names: Mapping[str, str]) -> tuple[str, ...]:
    """What became of each finding of the first sweep, a line each."""
    if not changes:
        return ()
    said = ["What was found before the repair, afterwards:"]
    for change in changes:
        part = names.get(change.finding.part, change.finding.part)
        told = [
            f"{SAID[outcome]} at {', '.join(change.where(outcome))}"
            for outcome in ("worse", "same", "not comparable", "not heard", "better")
            if change.where(outcome)
        ]
        where = "; ".join(told) or "not recorded on both sides"
        said.append(f"- {part}, {change.finding.fault} ({change.finding.verdict}): {where}.")
    return tuple(said)


def also(line: LineChange) -> str:
    """The lines that cannot be told from this one."""
    if not line.same_as:
        return ""
    names = ", ".join(line.same_as[:3])
    more = f" and {len(line.same_as) - 3} more" if len(line.same_as) > 3 else ""
    return f"cannot be told from {names}{more} here"
