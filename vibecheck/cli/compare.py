"""`vibecheck compare`: what a repair changed, position by position."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.diagnosis.compared.change import Comparison
    from vibecheck.diagnosis.compared.criterion import Criterion, Judgement
    from vibecheck.diagnosis.compared.finding_change import FindingChange
    from vibecheck.diagnosis.compared.severity import Limits
    from vibecheck.machine.parts import Machine
    from vibecheck.recording import Take


@click.command()
@click.argument("before", type=click.Path(exists=True))
@click.argument("after", type=click.Path(exists=True), required=False)
@click.option("-t", "--table", help="Gear table: a file, or the name of a shipped one.")
@click.option("--sweep", "sweeps", nargs=2, help="Two sweeps of the job BEFORE, instead of AFTER.")
@click.option("--criterion", type=click.Path(exists=True), help="Criterion agreed beforehand.")
@click.option("--channel", type=int, help="Which channel, from 1.")
@click.option("--tone", "tones", type=float, multiple=True, help="Follow a fixed tone too, Hz.")
@click.option("--limits", help="Limits someone named, mm/s: 'contract: 1.4, 2.8'.")
@click.option("--rpm", type=click.FloatRange(min=0, min_open=True), help="Speed, with no table.")
@click.option("--findings", is_flag=True, help="Diagnose BEFORE too: what became of each finding.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
@click.option("--picture", type=click.Path(), help="Also write the changes as .png or .svg.")
@click.option("--replace", is_flag=True, help="Write over a picture of that name.")
def command(
    before: str,
    after: str | None,
    table: str | None,
    sweeps: tuple[str, str] | None,
    criterion: str | None,
    channel: int | None,
    tones: tuple[float, ...],
    limits: str | None,
    rpm: float | None,
    findings: bool,
    as_json: bool,
    picture: str | None,
    replace: bool,
) -> None:
    """Say what changed from BEFORE to AFTER at every lever position: better, same within
    repeatability, worse, or not comparable. Both are folders with one recording a lever position
    (repeats numbered _1, _2, _3), or two sweeps of one job.
    """
    from vibecheck.cli.written import PICTURE_SUFFIXES, must_be_free

    must_be_free(picture, replace=replace)
    if picture is not None and not picture.lower().endswith(PICTURE_SUFFIXES):
        raise UsageError(f"picture {picture!r}", "End its name in .png or .svg.")
    machine, sides = _sides(before, after, table, sweeps, channel, rpm)
    asked, named = _criterion(criterion), _limits(limits)
    comparison = compared(machine, sides[0], sides[1], tones)
    judgements = asked.judged(comparison) if asked is not None else ()
    became = _became(machine, sides[0], comparison) if findings else ()
    show(machine, comparison, judgements, became=became, limits=named, as_json=as_json)
    if picture is not None:
        _draw(comparison, picture)


def _sides(
    before: str,
    after: str | None,
    table: str | None,
    sweeps: tuple[str, str] | None,
    channel: int | None,
    rpm: float | None,
) -> tuple[Machine, list[tuple[Take, ...]]]:
    from vibecheck.cli.channels import channel_warnings
    from vibecheck.cli.gathering import chosen_channel, gather

    if (after is None) == (not sweeps):
        raise UsageError(
            "one side only" if after is None else "an AFTER and --sweep",
            "Name two folders, or one job and --sweep BEFORE AFTER.",
        )
    first, second = sweeps or (None, None)
    one = gather(before, table=table, sweep=first, rpm=rpm)
    if one.machine is None:
        raise UsageError(
            "no gear table", "Name one with --table, or the speed of a lone shaft with --rpm."
        )
    other = gather(after or before, table=table or one.table or None, sweep=second, rpm=rpm)
    for side in (one, other):
        for warning in (*side.warnings, *channel_warnings(side.takes, channel)):
            click.echo(f"Note: {warning}.", err=True)
    return one.machine, [chosen_channel(side.takes, channel) for side in (one, other)]


def compared(
    machine: Machine, before: tuple[Take, ...], after: tuple[Take, ...], tones: tuple[float, ...]
) -> Comparison:
    """Find the speeds of both sides and compare them, with progress on the error stream."""
    from vibecheck.cli.progress import Progress
    from vibecheck.diagnosis.compared.comparison import compare
    from vibecheck.diagnosis.compared.running import running

    progress = Progress()
    try:
        progress(0, 3, "speeds before")
        one = running(machine, before)
        progress(1, 3, "speeds after")
        other = running(machine, after)
        progress(2, 3, "comparing")
        return compare(machine, one, other, extra_hz=tones)
    finally:
        progress.clear()


def _criterion(path: str | None) -> Criterion | None:
    if path is None:
        return None
    from vibecheck.files.criterion_file import read_criterion

    return read_criterion(path)


def _limits(text: str | None) -> Limits | None:
    from vibecheck.diagnosis.compared.severity import Limits

    if text is None:
        return None
    source, _, numbers = text.rpartition(":")
    try:
        values = tuple(float(part) for part in numbers.split(","))
    except ValueError:
        values = ()
    if not source.strip() or not values or list(values) != sorted(values) or values[0] <= 0:
        raise UsageError(
            f"--limits {text!r}", "Name the standard or contract: 'contract of 3 May: 1.4, 2.8'."
        )
    return Limits(source=source.strip(), limits_mm_s=values)


def _became(
    machine: Machine, before: tuple[Take, ...], comparison: Comparison
) -> tuple[FindingChange, ...]:
    from vibecheck.diagnosis.compared.finding_change import finding_changes
    from vibecheck.pipeline import diagnose

    found = diagnose(machine, before)
    return finding_changes(machine, found.faults_named, comparison)


def show(
    machine: Machine,
    comparison: Comparison,
    judgements: tuple[Judgement, ...] = (),
    *,
    became: tuple[FindingChange, ...] = (),
    limits: Limits | None = None,
    as_json: bool = False,
) -> None:
    """Print it."""
    if as_json:
        from vibecheck.report.comparison_schema import comparison_json
        from vibecheck.report.criterion_words import criterion_json

        told = criterion_json(judgements) if judgements else None
        made = comparison_json(comparison, told, became)
        click.echo(json.dumps(made, indent=1, ensure_ascii=False, allow_nan=False))
        return
    from vibecheck.report.cautions import cautions
    from vibecheck.report.comparison_text import comparison_text
    from vibecheck.report.comparison_words import findings_said
    from vibecheck.report.criterion_words import criterion_said
    from vibecheck.report.words import part_names

    judged = (*findings_said(became, part_names(machine)), *criterion_said(judgements))
    again = any(position.obstacles for position in comparison.positions)
    care = cautions("before any recording", "fixing a sensor") if again else ()
    said = comparison_text(comparison, judged=judged, cautions=care, limits=limits)
    click.echo(said, nl=False)


def _draw(comparison: Comparison, path: str) -> None:
    from vibecheck.cli.written import write_whole
    from vibecheck.report.comparison_figure import comparison_figure
    from vibecheck.report.ink import png, svg

    figure = comparison_figure(comparison)
    label = "Change of every line at every lever position, with its interval."
    drawn = svg(figure, label=label, live=False) if path.lower().endswith(".svg") else png(figure)
    write_whole(path, drawn)
    click.echo(f"Picture: {path}", err=True)
