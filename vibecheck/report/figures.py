"""Every picture of a diagnosis, each a matplotlib Figure made from plain values."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from matplotlib.figure import Figure

from vibecheck.diagnosis.findings import Diagnosis, Finding
from vibecheck.diagnosis.verdicts.grouping import faults_meant
from vibecheck.machine.parts import Machine
from vibecheck.report.ink import LIGHT, SMALL_PT, TYPE_PT, Scheme
from vibecheck.report.picture_cycle import cycle_figure
from vibecheck.report.picture_evidence import chosen_rows, draw_evidence, evidence_figure
from vibecheck.report.picture_orders import order_figure
from vibecheck.report.picture_spectrum import spectrum_figure
from vibecheck.report.picture_train import draw_train, train_figure
from vibecheck.report.train_layout import laid_out
from vibecheck.report.words import headline, part_names, sentence

__all__ = [
    "cycle_figure",
    "evidence_figure",
    "excluded_parts",
    "named_findings",
    "order_figure",
    "spectrum_figure",
    "summary_figure",
    "train_figure",
]
SUMMARY_ROWS = 12


def named_findings(diagnosis: Diagnosis) -> tuple[Finding, ...]:
    """The findings worth marking in a picture: those acted on, else the possible ones."""
    if diagnosis.faults_named:
        return diagnosis.faults_named
    return tuple(f for f in diagnosis.findings if f.verdict == "possible")


def suspect_parts(diagnosis: Diagnosis) -> list[str]:
    """Every part that a marked finding points at."""
    return [part for f in named_findings(diagnosis) for part in (f.parts or (f.part,))]


def suspect_rows(diagnosis: Diagnosis) -> list[tuple[str, str]]:
    """(part, fault) of every marked finding."""
    return [
        (part, fault)
        for finding in named_findings(diagnosis)
        for fault in faults_meant(finding.fault)
        for part in (finding.parts or (finding.part,))
    ]


def excluded_parts(
    diagnosis: Diagnosis, names: Mapping[str, str] | None = None
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Parts ruled out: name -> number of its reason, and the reasons in that order."""
    numbers: dict[str, int] = {}
    reasons: list[str] = []
    for finding in named_findings(diagnosis):
        for fact in finding.ruled_out:
            part = fact.values.get("part")
            if isinstance(part, str) and part not in numbers:
                reasons.append(sentence(fact, names))
                numbers[part] = len(reasons)
    return numbers, tuple(reasons)


def summary_figure(
    diagnosis: Diagnosis, machine: Machine | None = None, *, scheme: Scheme = LIGHT
) -> Figure | None:
    """One sheet to hand on: the verdict, the head and the evidence side by side.

    None when there is neither a head nor a table of evidence to draw.
    """
    names = part_names(machine)
    layout = laid_out(machine) if machine and machine.meshes else None
    rows = []
    if diagnosis.table is not None:
        rows = chosen_rows(diagnosis.table, suspect_rows(diagnosis), SUMMARY_ROWS)
    if layout is None and not rows:
        return None
    figure = _sheet(layout is not None, len(rows), scheme)
    excluded, reasons = excluded_parts(diagnosis, names)
    grid = figure.add_gridspec(1, (layout is not None) + bool(rows))
    if layout is not None and machine is not None:
        axes = figure.add_subplot(grid[0])
        draw_train(axes, machine, layout, suspect_parts(diagnosis), excluded, scheme)
    if rows and diagnosis.table is not None:
        axes = figure.add_subplot(grid[-1])
        draw_evidence(axes, diagnosis.table, rows, suspect_rows(diagnosis), names, scheme)
    wide = layout is not None and bool(rows)
    said = textwrap.fill(
        headline(diagnosis, names).replace("over 99 %", "over\u00a099\u00a0%"), 92 if wide else 48
    )
    figure.suptitle(said, x=0.02, ha="left", fontsize=TYPE_PT + 3, fontweight="bold",
                    color=scheme.ink)  # fmt: skip
    if layout is not None and reasons:
        _tell_reasons(figure, reasons, 150 if wide else 78, scheme)
    return figure


def _tell_reasons(figure: Figure, reasons: tuple[str, ...], width: int, scheme: Scheme) -> None:
    lines = [
        line
        for number, reason in enumerate(reasons, start=1)
        for line in textwrap.wrap(f"({number}) {reason}", width, subsequent_indent="      ")
    ]
    figure.supxlabel("\n".join(lines), x=0.02, ha="left", fontsize=SMALL_PT, color=scheme.quiet)


def _sheet(with_head: bool, rows: int, scheme: Scheme) -> Figure:
    high = max(4.6 if with_head else 0.0, 2.2 + 0.26 * rows)
    figure = Figure(figsize=(10.0 if with_head and rows else 5.2, high), layout="constrained")
    figure.set_facecolor(scheme.paper)
    return figure
