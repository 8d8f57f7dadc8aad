"""A diagnosis as one self-contained page: plain words first, technical pages after.

Nothing is loaded from anywhere; the page can be mailed, printed and kept for years.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from vibecheck import __version__
from vibecheck.diagnosis.findings import Diagnosis, Finding
from vibecheck.machine.parts import Machine
from vibecheck.report.page_machine import machine_section
from vibecheck.report.page_style import style
from vibecheck.report.page_tables import Table, bullets, pairs, paragraph, table
from vibecheck.report.pictures import Picture
from vibecheck.report.scope import examined, not_examined
from vibecheck.report.words import (
    accusation,
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
from vibecheck.report.writers import Names, figures, positions


@dataclass(frozen=True, slots=True, kw_only=True)
class FileLine:
    """One recording as the record lists it."""

    name: str
    position: str
    seconds: float
    rate_hz: float
    sha256: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What a record says beyond the diagnosis: who, when, where, about what, from which files.

    ``about`` and ``conditions`` are shown in their order, as they were written; ``settings`` is
    what another person needs to run it again.
    """

    about: Mapping[str, str] = field(default_factory=dict)
    complaint: str = ""
    conditions: Mapping[str, str] = field(default_factory=dict)
    files: tuple[FileLine, ...] = ()
    settings: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """A sound to play: what it is, and the file itself as base64 WAV."""

    title: str
    wav_base64: str


def to_page(
    diagnosis: Diagnosis,
    machine: Machine | None = None,
    *,
    record: Record | None = None,
    pictures: Sequence[Picture] = (),
    cautions: Sequence[str] = (),
    sounds: Sequence[Listening] = (),
    marks: Sequence[str] = (),
) -> str:
    """The whole page as HTML.

    Parameters
    ----------
    pictures : sequence of Picture
        See :func:`vibecheck.report.pictures.pictures_of`; the first goes on the first page.
    cautions : sequence of str
        Safety text for whoever the next test sends to the machine.
    marks : sequence of str
        What the findings say of marks on the work.
    """
    names = part_names(machine)
    record = record or Record()
    body = [
        paragraph_title(diagnosis),
        _plate(diagnosis, names),
        _minds(diagnosis, names),
        _next(diagnosis, names),
        *(_finding(finding, names) for finding in _worth_saying(diagnosis)),
        _marks(marks),
        _first_picture(pictures),
        _sounds(sounds),
        _scope(diagnosis, machine, names),
        _care(cautions),
        '<div class="paper"></div>',
        _about(record),
        _speeds(diagnosis, names),
        _verdicts(diagnosis, names),
        *(_section(picture) for picture in pictures[1:]),
        machine_section(machine),
        table(pictures[0].numbers) if pictures else "",
        _files(record),
        _settings(record),
    ]
    title = f"{diagnosis.machine}: what was heard"
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style()}</style></head>\n<body>\n<main>\n"
        + "\n".join(part for part in body if part)
        + f"\n</main>\n<footer>Made by vibecheck {escape(__version__)} from the recordings listed "
        "above. It says what these recordings show and how surely; it does not certify the "
        "machine.</footer>\n</body></html>\n"
    )


def _worth_saying(diagnosis: Diagnosis) -> list[Finding]:
    return [finding for finding in diagnosis.findings if finding.verdict != "not shown"]


def paragraph_title(diagnosis: Diagnosis) -> str:
    """The page's title line."""
    return f"<h1>{escape(diagnosis.machine)}</h1>"


def _plate(diagnosis: Diagnosis, names: Names) -> str:
    here = {take.position for take in diagnosis.takes if take.position}
    what = f"{len(diagnosis.takes)} recording{'s' if len(diagnosis.takes) != 1 else ''}"
    where = f" at {len(here)} lever position{'s' if len(here) != 1 else ''}" if here else ""
    return (
        f'<div class="plate"><p class="say">{escape(headline(diagnosis, names))}</p>'
        f'<p class="on">From {what}{where}.</p></div>'
    )


def _minds(diagnosis: Diagnosis, names: Names) -> str:
    texts = sentences(diagnosis.warnings, names)
    return f'<div class="mind">{bullets(texts)}</div>' if texts else ""


def _care(cautions: Sequence[str]) -> str:
    if not cautions:
        return ""
    return f'<section class="care"><h3>At the machine</h3>{bullets(cautions)}</section>'


def _next(diagnosis: Diagnosis, names: Names) -> str:
    if diagnosis.next_test is None:
        return ""
    cost = effort(diagnosis.next_test)
    said = sentence(diagnosis.next_test, names)
    return (
        f'<div class="next"><p><strong>Next:</strong> {escape(said)}'
        f"{f' <em>{escape(capital(cost))}.</em>' if cost else ''}</p></div>"
    )


def _finding(finding: Finding, names: Names) -> str:
    silent = [label for label in finding.expected if label not in finding.heard]
    bar = ""
    if finding.verdict != "cannot tell":
        share = round(100 * min(max(finding.probability, 0.0), 1.0))
        bar = f'<span class="bar" aria-hidden="true"><i style="width:{share}%"></i></span>'
    facts = {
        "Heard at": positions(finding.heard) if any(finding.heard) else "",
        "Silent, though it works there": positions(silent) if any(silent) else "",
    }
    return (
        f'<section class="finding"><h3>{escape(capital(who(finding, names)))}: '
        f"{escape(what(finding, names))}</h3>"
        f'<p class="sure">{escape(capital(how_sure(finding)))} {bar}</p>'
        f"{pairs(facts)}{bullets(sentences(finding.evidence, names))}</section>"
    )


def _marks(said: Sequence[str]) -> str:
    return f"<h3>Marks on the work</h3>{bullets(said)}" if said else ""


def _first_picture(pictures: Sequence[Picture]) -> str:
    """The first picture without its numbers, which stand among the technical pages."""
    return f'<div class="first">{_picture(pictures[0])}</div>' if pictures else ""


def _picture(picture: Picture) -> str:
    notes = bullets(picture.notes, numbered=True)
    return (
        f"<figure>{picture.svg}<figcaption>{escape(picture.caption)}{notes}</figcaption></figure>"
    )


def _section(picture: Picture) -> str:
    return f"<h2>{escape(picture.title)}</h2>{_picture(picture)}{table(picture.numbers)}"


def _sounds(sounds: Sequence[Listening]) -> str:
    players = "".join(
        f"<p>{escape(sound.title)}</p>"
        f'<audio controls preload="none" src="data:audio/wav;base64,{sound.wav_base64}"></audio>'
        for sound in sounds
    )
    return f'<section class="heard"><h3>Listen</h3>{players}</section>' if players else ""


def _scope(diagnosis: Diagnosis, machine: Machine | None, names: Names) -> str:
    return (
        f"<h3>What was examined</h3>{bullets(examined(diagnosis, machine))}"
        f"<h3>What was not</h3>{bullets(not_examined(diagnosis, machine, names))}"
    )


def _about(record: Record) -> str:
    body = pairs(record.about)
    if record.complaint:
        body += f"<h3>The complaint, in the customer's words</h3>{paragraph(record.complaint)}"
    if record.conditions:
        body += f"<h3>Conditions</h3>{pairs(record.conditions)}"
    return f"<h2>Who, when, where</h2>{body}" if body else ""


def _speeds(diagnosis: Diagnosis, names: Names) -> str:
    if not diagnosis.takes:
        return ""
    rows = tuple(
        (
            take.position or take.name,
            take.kind,
            f"{take.seconds:.1f}",
            "-" if take.chart_rpm is None else f"{take.chart_rpm:.0f}",
            "not found" if take.spindle_rpm is None else f"{take.spindle_rpm:.2f}",
            _error(take.speed_error),
            f"{100 * take.drift:.2f}",
            " ".join(sentences(take.remarks, names)) or "-",
        )
        for take in diagnosis.takes
    )
    heads = ("position", "kind", "s", "chart rpm", "heard rpm", "± %", "drift %", "remarks")
    return "<h2>Speeds and takes</h2>" + table(
        Table(caption="What each take was worth", heads=heads, rows=rows, said=frozenset({7}))
    )


def _error(errors: Mapping[str, float]) -> str:
    return f"{100 * max(errors.values()):.4f}" if errors else "-"


def _verdicts(diagnosis: Diagnosis, names: Names) -> str:
    if not diagnosis.findings:
        return ""
    parts = ["<h2>Verdicts and what was ruled out</h2>"]
    for finding in _worth_saying(diagnosis):
        parts.append(f"<h3>{escape(accusation(finding, names))}</h3>")
        parts.append(bullets(sentences(finding.ruled_out, names)))
        parts.append(_rates(finding))
    parts.append(table(_all_findings(diagnosis, names)))
    return "".join(parts)


def _rates(finding: Finding) -> str:
    if not finding.rates_hz:
        return ""
    rows = tuple(
        (
            position or "this take",
            figures(rate, 4),
            figures(finding.per_spindle_turn[position], 4)
            if position in finding.per_spindle_turn
            else "-",
        )
        for position, rate in finding.rates_hz.items()
    )
    return table(
        Table(caption="How often", heads=("position", "a second", "a spindle turn"), rows=rows)
    )


def _all_findings(diagnosis: Diagnosis, names: Names) -> Table:
    return Table(
        caption="All findings",
        heads=("part", "fault", "verdict", "probability"),
        rows=tuple(
            (capital(who(f, names)), f.fault, f.verdict, f"{f.probability:.3f}")
            for f in diagnosis.findings
        ),
        said=frozenset({0, 1}),
    )


def _files(record: Record) -> str:
    if not record.files:
        return ""
    rows = tuple(
        (
            file.name,
            file.position or "-",
            f"{file.seconds:.1f}",
            f"{file.rate_hz:g}",
            " ".join(file.remarks) or "-",
            file.sha256 or "-",
        )
        for file in record.files
    )
    heads = ("file", "position", "s", "samples/s", "remarks", "SHA-256")
    return "<h2>Recordings</h2>" + table(
        Table(caption="Every file used", heads=heads, rows=rows, said=frozenset({4, 5}))
    )


def _settings(record: Record) -> str:
    return (
        f"<h2>Program and settings</h2>{pairs({'vibecheck': __version__, **record.settings})}"
        "<p>The recordings named above, this version and these settings give this page again.</p>"
    )
