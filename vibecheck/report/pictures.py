"""Every picture for a page: drawn, described, and with its numbers beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure

from vibecheck.diagnosis.findings import Cell, Diagnosis, Finding
from vibecheck.diagnosis.verdicts.grouping import faults_meant
from vibecheck.machine.parts import Known, Machine
from vibecheck.recording import Take
from vibecheck.report.at_work import at_work
from vibecheck.report.drawn import Pairing, finding_map, named_spectrum, paired, suspect_cycle
from vibecheck.report.figures import (
    cycle_figure,
    evidence_figure,
    excluded_parts,
    named_findings,
    order_figure,
    spectrum_figure,
    suspect_parts,
    suspect_rows,
    train_figure,
)
from vibecheck.report.ink import svg
from vibecheck.report.page_tables import Table
from vibecheck.report.picture_cycle import Cycle, loudest
from vibecheck.report.picture_evidence import chosen_rows, row_name
from vibecheck.report.picture_orders import OrderMap
from vibecheck.report.picture_spectrum import NamedSpectrum
from vibecheck.report.words import capital, part_names, who
from vibecheck.report.writers import Names, figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture of a page.

    Attributes
    ----------
    svg : str
        The element itself.
    notes : tuple of str
        Numbered notes that belong to numbers in the picture.
    numbers : Table
        What it shows, as numbers.
    """

    title: str
    svg: str
    caption: str
    numbers: Table
    notes: tuple[str, ...] = ()


def pictures_of(
    diagnosis: Diagnosis, machine: Machine | None = None, takes: Sequence[Take] = ()
) -> tuple[Picture, ...]:
    """Every picture that the values at hand allow, the head first."""
    names = part_names(machine)
    pairs = paired(takes, diagnosis)
    made = [
        _head(diagnosis, machine, names),
        _evidence(diagnosis, names),
        *(_map(pairs, finding, names) for finding in named_findings(diagnosis)[:2]),
        _turn(diagnosis, machine, pairs, names),
        _tones(diagnosis, machine, pairs, names),
    ]
    return tuple(picture for picture in made if picture is not None)


def _drawn(figure: Figure, label: str, name: str) -> str:
    return svg(figure, label=label, name=name)


def known_by(number: Known) -> str:
    """A number and how it is known: "62 (counted)", "40 to 60 (guessed)", "not known"."""
    if number.low is None or number.high is None:
        return "not known"
    said = figures(number.low, 5)
    if number.low != number.high:
        said = f"{said} to {figures(number.high, 5)}"
    return f"{said} ({number.how})"


def _head(diagnosis: Diagnosis, machine: Machine | None, names: Names) -> Picture | None:
    if machine is None or not machine.meshes:
        return None
    excluded, reasons = excluded_parts(diagnosis, names)
    suspects = suspect_parts(diagnosis)
    drawing = train_figure(machine, suspects=suspects, excluded=excluded)
    here = [gear for gear in machine.gears if gear.name in at_work(machine).gears]
    rows = tuple((gear.name, gear.shaft, known_by(gear.teeth)) for gear in here)
    caption = "The head as the table describes it. Gears stand as high as their teeth make them."
    if suspects:
        caption += " The suspect is filled; those ruled out are struck through."
    return Picture(
        title="The head",
        svg=_drawn(drawing, "Gear train of the head from motor to spindle.", "head"),
        caption=caption,
        notes=reasons,
        numbers=Table(
            caption="Gears of the head",
            heads=("gear", "shaft", "teeth (how known)"),
            rows=rows,
            named=frozenset(n for n, gear in enumerate(here) if gear.name in suspects),
        ),
    )


def _evidence(diagnosis: Diagnosis, names: Names) -> Picture | None:
    if diagnosis.table is None or not diagnosis.table.rows:
        return None
    suspects = suspect_rows(diagnosis)
    rows = chosen_rows(diagnosis.table, suspects)
    drawing = evidence_figure(diagnosis.table, suspects=suspects, names=names)
    table = diagnosis.table
    numbers = tuple(
        (row_name(row, names), *(_cell_said(cell) for cell in row.cells)) for row in rows
    )
    return Picture(
        title="The evidence, part by part and position by position",
        svg=_drawn(drawing, "Strength of each fault of each part at each position.", "evidence"),
        caption="A real fault shows wherever its part works and nowhere else.",
        numbers=Table(
            caption="Strength in dB; ° idling, * out of mesh, - still, ? the take cannot tell",
            heads=(
                "part, fault",
                *(p or t for p, t in zip(table.positions, table.takes, strict=True)),
            ),
            rows=numbers,
            named=frozenset(n for n, row in enumerate(rows) if (row.part, row.fault) in suspects),
        ),
    )


_MARK = {"working": "", "idling": "°", "out of mesh": "*"}


def _cell_said(cell: Cell) -> str:
    """The strength with a mark for how the part stood; no number where there was none to take."""
    if cell.state in ("still", "not heard"):
        return "-" if cell.state == "still" else "?"
    return f"{round(cell.strength_db)}{_MARK[cell.state]}"


def _map(pairs: Sequence[Pairing], finding: Finding, names: Names) -> Picture | None:
    name = capital(who(finding, names))
    heard = finding_map(pairs, finding, name) if pairs else None
    if heard is None:
        return None
    label = f"What is heard at each position, with the rate expected of {name}."
    return Picture(
        title="What is heard at every position",
        svg=_drawn(order_figure(heard), label, f"map-{_plain(finding.part)}"),
        caption=(
            "One strip a lever position. The marks under the strips are where the suspect should "
            "show; where there is no mark it does not work."
        ),
        numbers=_map_numbers(heard),
    )


def _plain(text: str) -> str:
    return "".join(letter if letter.isalnum() else "-" for letter in text)


def _map_numbers(heard: OrderMap) -> Table:
    rows = []
    for position, place, strip in zip(
        heard.positions, heard.lines[0].places, heard.strengths_db, strict=True
    ):
        step = heard.places[1] - heard.places[0]
        near = np.abs(heard.places - place) <= 3 * step if place is not None else None
        level = "-" if near is None else f"{float(strip[near].max()):.0f}"
        rows.append((position, "-" if place is None else figures(place, 4), level))
    return Table(
        caption=f"Expected rate ({heard.axis}) and strength found there",
        heads=("position", "expected", "dB over background"),
        rows=tuple(rows),
    )


def _turn(
    diagnosis: Diagnosis, machine: Machine | None, pairs: Sequence[Pairing], names: Names
) -> Picture | None:
    for finding in named_findings(diagnosis):
        if machine is None or finding.part_kind not in ("gear", "shaft"):
            continue
        best = _strongest(diagnosis, finding, pairs)
        cycle = suspect_cycle(best, machine, finding.part, who(finding, names)) if best else None
        if cycle is not None and best is not None:
            return _turn_picture(cycle, best.label)
    return None


def _strongest(diagnosis: Diagnosis, finding: Finding, pairs: Sequence[Pairing]) -> Pairing | None:
    heard = [pair for pair in pairs if pair.among(finding.heard) is not None]
    strengths: dict[str, float] = {}
    for row in diagnosis.table.rows if diagnosis.table else ():
        meant = row.part == finding.part and row.fault in faults_meant(finding.fault)
        if meant and diagnosis.table:
            for position, cell in zip(diagnosis.table.positions, row.cells, strict=True):
                strengths[position] = cell.strength_db
    return max(heard, key=lambda pair: strengths.get(pair.label, 0.0), default=None)


def _turn_picture(cycle: Cycle, position: str) -> Picture:
    at, value = loudest(cycle)
    unit = "tooth" if cycle.teeth else "degree"
    end = cycle.teeth or 36
    each = np.array([part.max() for part in np.array_split(cycle.levels, end)])
    rows = tuple(
        (f"{number}" if cycle.teeth else f"{10 * number}", f"{level:.2f}")
        for number, level in enumerate(each)
    )
    loud = sorted(range(end), key=lambda n: -each[n])[:12]
    return Picture(
        title="One turn of the suspect",
        svg=_drawn(cycle_figure(cycle), f"Loudness round one turn of {cycle.name}.", "turn"),
        caption=(
            f"{capital(cycle.name)} at {position}, {cycle.turns} turns laid over each other: "
            f"loudest at {unit} {at:.0f}, {value:.1f} times the median. Counted from where the "
            "recording began, not from a mark on the part."
        ),
        numbers=Table(
            caption=f"The twelve loudest places of the turn (median = 1), by {unit}",
            heads=(unit, "loudness"),
            rows=tuple(rows[n] for n in sorted(loud)),
        ),
    )


def _tones(
    diagnosis: Diagnosis, machine: Machine | None, pairs: Sequence[Pairing], names: Names
) -> Picture | None:
    if not pairs:
        return None
    marked = named_findings(diagnosis)
    best = _strongest(diagnosis, marked[0], pairs) if marked else None
    pair = best or pairs[len(pairs) // 2]
    heard = named_spectrum(pair, machine, names, suspect_parts(diagnosis))
    return Picture(
        title="The tones of one take",
        svg=_drawn(spectrum_figure(heard), f"Tones of {pair.label} with their names.", "tones"),
        caption=(
            f"{pair.label}. Names stand where the table predicts a tone at the speed found. A tone "
            "that has a name is no fault by that."
        ),
        numbers=_tone_numbers(heard),
    )


def _tone_numbers(heard: NamedSpectrum) -> Table:
    rows = []
    for line in heard.lines:
        near = np.abs(heard.places_hz - line.hz) <= max(1.0, 0.002 * line.hz)
        level = f"{float(heard.strengths_db[near].max()):.0f}" if near.any() else "-"
        rows.append((line.name, figures(line.hz, 5), level))
    return Table(
        caption="Predicted tones and their strength",
        heads=("tone", "Hz", "dB over surroundings"),
        rows=tuple(rows),
    )
