"""A diagnosis as plain text, 80 columns wide, that reads the same in a terminal and in a pipe."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from vibecheck.diagnosis.findings import Diagnosis, Fact, Finding, TakeReport
from vibecheck.machine.parts import Machine
from vibecheck.report.scope import examined, not_examined
from vibecheck.report.words import (
    capital,
    effort,
    headline,
    how_sure,
    part_names,
    sentence,
    sentences,
    what,
    who,
)
from vibecheck.report.writers import Names, figures, per_turn, positions

WIDTH = 80
LABEL = 13
"""Columns kept for the label before each block of a finding."""


def to_text(
    diagnosis: Diagnosis,
    machine: Machine | None = None,
    *,
    width: int = WIDTH,
    cautions: Sequence[str] = (),
    marks: Sequence[str] = (),
) -> str:
    """Everything a diagnosis says, verdict first.

    Parameters
    ----------
    diagnosis : Diagnosis
    machine : Machine, optional
        Gives the parts names a machinist knows them by, and says what was left out.
    width : int
        Columns.
    cautions : sequence of str
        Safety text for whoever the next test sends to the machine.
    marks : sequence of str
        What the findings say of marks on the work.

    Returns
    -------
    str
        Lines of at most ``width`` characters, ending in a line feed.
    """
    names = part_names(machine)
    told = diagnosis.next_test
    blocks = [
        _wrapped(headline(diagnosis, names), width),
        *(_warning(text, width) for text in sentences(diagnosis.warnings, names)),
        *(
            _finding(number, finding, names, width, with_test=finding.next_test != told)
            for number, finding in enumerate(_worth_saying(diagnosis), start=1)
        ),
        _next(diagnosis, names, width),
        _scope("Marks on the work", marks, width),
        _scope("Examined", examined(diagnosis, machine), width),
        _scope("Not examined", not_examined(diagnosis, machine, names), width),
        _takes(diagnosis.takes, names, width),
        _scope("At the machine", cautions, width),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _worth_saying(diagnosis: Diagnosis) -> list[Finding]:
    """Findings a reader should see; the rest is in the JSON and on the page."""
    return [f for f in diagnosis.findings if f.verdict != "not shown"]


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> str:
    return textwrap.fill(
        text,
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=True,
        break_on_hyphens=False,
    )


def _warning(text: str, width: int) -> str:
    return _wrapped(text, width, "Mind: ", "      ")


def _finding(number: int, finding: Finding, names: Names, width: int, *, with_test: bool) -> str:
    head = capital(f"{who(finding, names)}: {what(finding, names)}")
    mark = f"{number}. "
    lines = [
        _wrapped(head, width, mark, " " * len(mark)),
        _block("how sure", [how_sure(finding)], width),
        _block("heard at", _where(finding.heard), width),
        _block("silent at", _where([p for p in finding.expected if p not in finding.heard]), width),
        _block("rate", _rates(finding), width),
        _block("why", _points(sentences(finding.evidence, names)), width),
        _block("ruled out", _points(sentences(finding.ruled_out, names)), width),
        _block("next", _test(finding, names) if with_test else [], width),
    ]
    return "\n".join(line for line in lines if line)


def _where(labels: Sequence[str]) -> list[str]:
    return [positions(labels)] if any(labels) else []


def _rates(finding: Finding) -> list[str]:
    said = []
    if finding.rates_hz:
        values = list(finding.rates_hz.values())
        low, high = figures(min(values)), figures(max(values))
        said.append(f"{low} a second" if low == high else f"{low} to {high} a second")
    if finding.per_spindle_turn:
        said.append(f"per spindle turn: {per_turn(finding.per_spindle_turn)}")
    return ["; ".join(said)] if said else []


def _points(texts: Sequence[str]) -> list[str]:
    return [f"- {text}" for text in texts]


def _test(finding: Finding, names: Names) -> list[str]:
    return [] if finding.next_test is None else [_costed(finding.next_test, names)]


def _costed(fact: Fact, names: Names) -> str:
    cost = effort(fact)
    return f"{sentence(fact, names)} ({capital(cost)}.)" if cost else sentence(fact, names)


def _block(label: str, texts: Iterable[str], width: int) -> str:
    lines = []
    for number, text in enumerate(texts):
        first = f"   {label if number == 0 else '':<{LABEL - 3}}"
        rest = " " * (LABEL + (2 if text.startswith("- ") else 0))
        lines.append(_wrapped(text, width, first, rest))
    return "\n".join(lines)


def _next(diagnosis: Diagnosis, names: Names, width: int) -> str:
    if diagnosis.next_test is None:
        return ""
    return _wrapped(f"Next: {_costed(diagnosis.next_test, names)}", width, "", "      ")


def _scope(label: str, texts: Sequence[str], width: int) -> str:
    if not texts:
        return ""
    return "\n".join([label, *(_wrapped(t, width, " - ", "   ") for t in texts)])


def _takes(takes: Sequence[TakeReport], names: Names, width: int) -> str:
    if not takes:
        return ""
    where = max(len("position"), *(len(_place(take)) for take in takes))
    where = min(where, width - 36)
    head = f"{'position':<{where}}  {'length':>7}  {'chart rpm':>9}  {'heard rpm':>9}"
    lines = ["Takes", head, "-" * len(head)]
    for take in takes:
        lines.append(_take_line(take, where))
        lines += [_wrapped(t, width, "   ! ", "     ") for t in sentences(take.remarks, names)]
    return "\n".join(lines)


def _place(take: TakeReport) -> str:
    place = take.position or take.name
    return place if take.kind == "idle" else f"{place} ({take.kind})"


def _take_line(take: TakeReport, where: int) -> str:
    return (
        f"{textwrap.shorten(_place(take), where, placeholder='..'):<{where}}  "
        f"{take.seconds:>5.1f} s  {_rpm(take.chart_rpm):>9}  {_heard(take):>9}"
    )


def _rpm(value: float | None) -> str:
    return "-" if value is None else f"{value:.0f}"


def _heard(take: TakeReport) -> str:
    return "not found" if take.spindle_rpm is None else f"{take.spindle_rpm:.1f}"
