"""Joining marks to a diagnosis: which finding explains them, which does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vibecheck.finish.marks import Reading
from vibecheck.finish.naming import Candidate, fit

Answer = Literal["explained", "not explained", "drive clean", "cannot tell"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """Whether what was found on the machine explains what is seen on the work.

    Attributes
    ----------
    answer : str
        "explained" by one or more findings; "not explained" by any of them; "drive clean" when
        there were no findings, so the marks come from elsewhere; "cannot tell" when the marks
        could not be read.
    by, not_by : tuple of str
        Names of findings.
    sentence : str
        The same for a report.
    """

    answer: Answer
    by: tuple[str, ...]
    not_by: tuple[str, ...]
    sentence: str


def explain(
    readings: Sequence[Reading], findings: Sequence[tuple[str, Sequence[Sequence[Candidate]]]]
) -> Explanation:
    """Set findings against marks.

    Parameters
    ----------
    readings : sequence of Reading
        One a cut.
    findings : sequence of (name, tones)
        ``tones`` holds for each cut the lines of that finding at its lever position. A finding
        explains the marks when one and the same line of it (by name) fits at every cut.
    """
    refused = [r.refusal for r in readings if r.refusal]
    if refused or not readings:
        why = refused[0] if refused else "no marks were given"
        return Explanation(
            answer="cannot tell", by=(), not_by=(), sentence=f"The marks cannot be read: {why}."
        )
    if not findings:
        return Explanation(
            answer="drive clean",
            by=(),
            not_by=(),
            sentence="The recordings show no fault in the drive, so the marks must come from "
            "elsewhere: tool, slides, support of the work, or the carriage.",
        )
    by = tuple(name for name, tones in findings if _explains(readings, tones))
    not_by = tuple(name for name, _ in findings if name not in by)
    return Explanation(
        answer="explained" if by else "not explained",
        by=by,
        not_by=not_by,
        sentence=_sentence(by, not_by),
    )


def _explains(readings: Sequence[Reading], tones: Sequence[Sequence[Candidate]]) -> bool:
    names: set[str] | None = None
    for reading, listed in zip(readings, tones, strict=True):
        fits = {
            tone.name
            for tone in listed
            for possibility in reading.possibilities
            if fit(possibility, tone, reading.cut)
        }
        names = fits if names is None else names & fits
    return bool(names)


def _sentence(by: tuple[str, ...], not_by: tuple[str, ...]) -> str:
    parts = []
    if by:
        fits = "fits" if len(by) == 1 else "fit"
        parts.append(f"{' and '.join(by)} {fits} the marks on the work.")
    if not_by:
        does = "does" if len(not_by) == 1 else "do"
        parts.append(f"{' and '.join(not_by)} {does} not: mending it would not cure these marks.")
    if not by:
        parts.append("Look elsewhere for the marks: tool, slides, support of the work, carriage.")
    return " ".join(parts)
