"""Marks on the work joined to a diagnosis: which finding explains them, in the same words
for terminal, page and JSON.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod
from typing import Any

from vibecheck.diagnosis.findings import Diagnosis, Finding
from vibecheck.diagnosis.verdicts.finding_lines import heard_at, lines_of, where
from vibecheck.diagnosis.verdicts.work_marks import candidates
from vibecheck.finish.cuts import common
from vibecheck.finish.explaining import Answer, Explanation, explain
from vibecheck.finish.marks import Reading
from vibecheck.finish.naming import Candidate, name
from vibecheck.machine.parts import Machine
from vibecheck.report.care import RECORDING
from vibecheck.report.cautions import cautions
from vibecheck.report.words import capital, part_names, who
from vibecheck.report.writers import Names

CHANCE_TOLD = 0.05
"""A chance fit likelier than this is said (judgement: one in twenty, as the limits of error)."""

MOST_FITS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Joined:
    """What the diagnosis says of the marks.

    Attributes
    ----------
    answer : str
        As in :class:`vibecheck.finish.explaining.Explanation`; "drive clean" only when takes
        were heard where the cuts were made and no finding was left open.
    by, not_by : tuple of str
        Findings that explain the marks, and that do not.
    left_open : mapping of str to str
        Findings that could not be set against the marks, and why.
    by_chance : float or None
        How often the findings that explain them would fit by chance alone; None without any.
    hz : tuple of tuple of float
        For each cut the frequencies its marks may mean.
    sentences, cautions : tuple of str
        For a reader; safety text for whoever is sent to the machine.
    """

    answer: Answer
    by: tuple[str, ...] = ()
    not_by: tuple[str, ...] = ()
    left_open: dict[str, str]
    by_chance: float | None = None
    hz: tuple[tuple[float, ...], ...]
    sentences: tuple[str, ...]
    cautions: tuple[str, ...] = ()


Judged = list[tuple[str, tuple[tuple[Candidate, ...], ...]]]


def joined(
    readings: Sequence[Reading], diagnosis: Diagnosis, machine: Machine | None = None
) -> Joined:
    """Set every finding that a reader sees against the marks of one or more cuts."""
    judged, left_open = _sorted(readings, diagnosis, machine)
    unheard = [where(r.cut) for r in readings if not _heard(r, diagnosis)]
    found = explain(readings, judged)
    answer = found.answer
    if answer == "drive clean" and (left_open or unheard):
        answer = "cannot tell"
    chance = _by_chance(readings, judged, found.by) if found.by else None
    said = [*_readings(readings)]
    if answer == found.answer:
        said.append(capital(found.sentence))
    else:
        said.append("Whether the drive makes these marks cannot be told from these takes.")
    if answer == "drive clean":
        said += _healthy(readings, machine)
    said += [f"Not set against the marks: {each}; {why}." for each, why in left_open.items()]
    if unheard and answer == "cannot tell" and not left_open:
        said.append(f"No take with a known speed was made {' or '.join(dict.fromkeys(unheard))}.")
    said += _next(answer, found, readings, unheard, chance)
    sent = not any(r.refusal for r in readings)
    return Joined(
        answer=answer,
        by=found.by,
        not_by=found.not_by,
        left_open=left_open,
        by_chance=chance,
        hz=tuple(tuple(p.hz for p in r.possibilities) for r in readings),
        sentences=tuple(said),
        cautions=tuple(cautions("cutting", *RECORDING)) if sent else (),
    )


def marks_json(found: Joined) -> dict[str, Any]:
    """The same as plain values."""
    return {
        "answer": found.answer,
        "explained_by": list(found.by),
        "not_explained_by": list(found.not_by),
        "left_open": dict(found.left_open),
        "by_chance": None if found.by_chance is None else round(found.by_chance, 4),
        "hz": [[round(hz, 3) for hz in cut] for cut in found.hz],
        "sentences": list(found.sentences),
    }


def _sorted(
    readings: Sequence[Reading], diagnosis: Diagnosis, machine: Machine | None
) -> tuple[Judged, dict[str, str]]:
    """Findings with their tones cut by cut, and those without, with the reason."""
    names = part_names(machine)
    judged: Judged = []
    left_open: dict[str, str] = {}
    for finding in diagnosis.findings:
        if finding.verdict == "not shown":
            continue
        lines = [lines_of(finding, diagnosis, r.cut, machine) for r in readings]
        unknown = next((each.unknown for each in lines if each.unknown), "")
        if unknown:
            left_open[_called(finding, names)] = unknown
        else:
            judged.append((_called(finding, names), tuple(each.tones for each in lines)))
    return judged, left_open


def _called(finding: Finding, names: Names) -> str:
    return f"{who(finding, names)} ({finding.fault}, {finding.verdict})"


def _heard(reading: Reading, diagnosis: Diagnosis) -> bool:
    return any(take.spindle_rpm for take in heard_at(diagnosis, reading.cut))


def _by_chance(readings: Sequence[Reading], judged: Judged, by: Sequence[str]) -> float:
    """How often at least one of the explaining findings would fit marks of random frequency."""
    missed = 1.0
    for called, tones in judged:
        if called in by:
            fits = (
                min(name(r, each).by_chance, 1.0) for r, each in zip(readings, tones, strict=True)
            )
            missed *= 1.0 - prod(fits)
    return 1.0 - missed


def _readings(readings: Sequence[Reading]) -> list[str]:
    said = []
    for reading in readings:
        tones = [f"{p.hz:.4g} Hz, give or take {p.hz_uncertainty:.2g} Hz"
                 for p in reading.possibilities]  # fmt: skip
        if tones and not reading.refusal:
            cut = reading.cut
            at = f"{where(cut)}, {cut.rpm:g} rpm" if cut.position else where(cut)
            said.append(f"The marks cut {at} mean {'; or '.join(tones)}.")
            if reading.lean == "unknown" and reading.marks.pattern == "slanted":
                said.append("Both, because which way the marks lean was not told: add hand=.")
    return said


def _next(
    answer: Answer, found: Explanation, readings: Sequence[Reading], unheard: Sequence[str],
    chance: float | None,
) -> list[str]:  # fmt: skip
    refused = next((r for r in readings if r.refusal), None)
    if refused is not None:
        return [f"Next: {refused.remedy}"] if refused.remedy else []
    if answer == "explained":
        return _surer(len(readings), chance or 0.0)
    if answer == "cannot tell":
        at = " and ".join(dict.fromkeys(unheard))
        if not at:
            return ["What was left open comes first: see its next test."]
        return [f"Next: record a take in air {at} and diagnose the sweep again."]
    return [
        "Next: 'vibecheck finish' with feed and nose radius says whether feed marks alone explain "
        "the finish; with takes made idle and while cutting, at the speed of these marks, it "
        "tells chatter from something that turns."
    ]


def _healthy(readings: Sequence[Reading], machine: Machine | None) -> list[str]:
    """What fits every cut on a drive without a fault: sound parts can mark the work too."""
    if machine is None or not all(r.cut.position for r in readings):
        return []
    tables = [candidates(machine, r.cut.position or "", r.cut.rpm) for r in readings]
    fits = [each.name for each in common(readings, tables)]
    if not fits:
        return []
    more = f" and {len(fits) - MOST_FITS} more" if len(fits) > MOST_FITS else ""
    return [
        f"Sound parts can mark the work as well; of this machine's tones these would fit: "
        f"{'; '.join(fits[:MOST_FITS])}{more}."
    ]


def _surer(cuts: int, chance: float) -> list[str]:
    if chance > CHANCE_TOLD:
        return [
            f"Such a fit comes by chance about {100 * chance:.0f} times in 100. Next: a cut at "
            "another speed, its marks given with a second --marks."
        ]
    if cuts == 1:
        return ["One cut agrees; a second at another speed would make it surer."]
    return []
