"""What a diagnosis says: findings, the evidence behind them, and what each take was worth.

Values only. A :class:`Fact` is a sentence not yet worded: ``vibecheck.report.words`` holds the one
phrase for each kind, so that terminal, page and JSON say the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Verdict = Literal["shown", "likely", "possible", "not shown", "cannot tell"]
VERDICTS: tuple[Verdict, ...] = ("shown", "likely", "possible", "not shown", "cannot tell")


def verdict_for(probability: float) -> Verdict:
    """The word for a probability: the same limits everywhere.

    >>> [verdict_for(p) for p in (0.995, 0.93, 0.5, 0.1)]
    ['shown', 'likely', 'possible', 'not shown']
    """
    if probability >= 0.98:
        return "shown"
    if probability >= 0.85:
        return "likely"
    if probability >= 0.30:
        return "possible"
    return "not shown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing found, as a kind of sentence and the values that fill it."""

    kind: str
    values: Mapping[str, object] = field(default_factory=dict)


def fact(kind: str, **values: object) -> Fact:
    """Short for ``Fact(kind=kind, values=values)``."""
    return Fact(kind=kind, values=values)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One part and fault, how sure, and why.

    Attributes
    ----------
    part : str
        Name in the machine's table; the first of ``parts``.
    parts : tuple of str
        Every part that predicts the same at all positions recorded; more than one means they
        cannot be told apart by these takes.
    part_kind : str
        "gear", "pair", "shaft", "bearing", "belt", "motor", "mains", "structure", "pump", "tool",
        "unknown".
    fault : str
        A name from ``vibecheck.diagnosis.faults``.
    verdict, probability
        How sure, in words and as a number.
    evidence, ruled_out : tuple of Fact
        Why; and which rivals fell, each with its reason.
    next_test : Fact or None
        The cheapest test that would settle more.
    heard, expected : tuple of str
        Lever positions where it was heard, and where it should be heard.
    rates_hz, per_spindle_turn : mapping of str to float
        Position -> how often it strikes, a second and a turn of the spindle.
    """

    part: str
    fault: str
    verdict: Verdict
    probability: float
    parts: tuple[str, ...] = ()
    part_kind: str = "unknown"
    evidence: tuple[Fact, ...] = ()
    ruled_out: tuple[Fact, ...] = ()
    next_test: Fact | None = None
    heard: tuple[str, ...] = ()
    expected: tuple[str, ...] = ()
    rates_hz: Mapping[str, float] = field(default_factory=dict)
    per_spindle_turn: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """How strongly one fault mode of one part shows in one take.

    Attributes
    ----------
    strength_db : float
        Strength over what the take's own noise allows, in decibels.
    error_db : float
        Its standard uncertainty.
    log10_odds : float
        Evidence for "present" against "absent" in this take alone.
    state : str
        "working", "idling" (turning unloaded), "out of mesh", "still", or "not heard" (the take
        cannot tell).
    """

    strength_db: float
    error_db: float
    log10_odds: float
    state: Literal["working", "idling", "out of mesh", "still", "not heard"] = "working"


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRow:
    """One part and fault mode over all takes; ``cells`` runs as the table's ``takes``."""

    part: str
    fault: str
    part_kind: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceTable:
    """Fault x take."""

    takes: tuple[str, ...]
    positions: tuple[str, ...]
    rows: tuple[EvidenceRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport:
    """What one take was worth.

    ``speeds_hz`` maps rigid group to mean speed, ``speed_error`` to its relative standard
    uncertainty; both empty when no speed was found. ``heard_position`` differs from ``position``
    when the take seems to be filed under the wrong lever position.
    """

    name: str
    position: str | None
    kind: str
    seconds: float
    speeds_hz: Mapping[str, float] = field(default_factory=dict)
    speed_error: Mapping[str, float] = field(default_factory=dict)
    spindle_rpm: float | None = None
    chart_rpm: float | None = None
    drift: float = 0.0
    heard_position: str | None = None
    remarks: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """Everything one run has to say.

    ``findings`` are in order of probability, verdicts "possible" and better first; ``warnings``
    concern the whole (wrong table, wrong supply, mixed sensors); ``next_test`` is the cheapest
    next step for the whole job.
    """

    machine: str
    takes: tuple[TakeReport, ...]
    findings: tuple[Finding, ...]
    warnings: tuple[Fact, ...] = ()
    next_test: Fact | None = None
    table: EvidenceTable | None = None
    pictures: Mapping[str, object] = field(default_factory=dict)

    @property
    def faults_named(self) -> tuple[Finding, ...]:
        """The findings a reader would act on: shown or likely."""
        return tuple(f for f in self.findings if f.verdict in ("shown", "likely"))
