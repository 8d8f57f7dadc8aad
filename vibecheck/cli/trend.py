"""`vibecheck trend`: follow one machine over many sweeps."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
    from vibecheck.machine.parts import Machine


@click.command()
@click.argument("sources", nargs=-1, required=True, type=click.Path(exists=True))
@click.option("-t", "--table", help="Gear table: a file, or the name of a shipped one.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
def command(sources: tuple[str, ...], table: str | None, as_json: bool) -> None:
    """Follow every line of a machine over SOURCES: folders of takes in order of time, or one job
    folder with several sweeps. Each is compared with the first; change points are named.
    """
    from vibecheck.diagnosis.compared.trend import trend
    from vibecheck.report.trend_text import trend_json, trend_text

    machine, sweeps = _sweeps(sources, table)
    found = trend(machine, sweeps)
    if as_json:
        click.echo(json.dumps(trend_json(found), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        click.echo(trend_text(found), nl=False)


def _sweeps(
    sources: tuple[str, ...], table: str | None
) -> tuple[Machine, dict[str, list[TakeAtSpeed]]]:
    from vibecheck.cli.gathering import gather
    from vibecheck.cli.progress import Progress
    from vibecheck.diagnosis.compared.running import running

    named = _named(sources)
    if len(named) < 2:
        raise UsageError("one sweep only", "Name at least two, in order of time.")
    machine, sweeps, progress = None, {}, Progress()
    for number, (name, source, sweep) in enumerate(named):
        progress(number, len(named), name)
        found = gather(source, table=table, sweep=sweep)
        for warning in found.warnings:
            progress.clear()
            click.echo(f"Note: {name}: {warning}.", err=True)
        machine = machine or found.machine
        if machine is None:
            raise UsageError("no gear table", "Name one with --table.")
        sweeps[name] = running(machine, found.takes)
    progress.clear()
    assert machine is not None
    return machine, sweeps


def _named(sources: tuple[str, ...]) -> list[tuple[str, str, str | None]]:
    from vibecheck.files.job import JOB_NAME, load_job

    if len(sources) == 1 and (Path(sources[0]) / JOB_NAME).is_file():
        return [(name, sources[0], name) for name in load_job(Path(sources[0])).sweeps]
    names = [Path(source).name for source in sources]
    if len(set(names)) < len(names):
        names = [str(Path(source)) for source in sources]
    return [(name, source, None) for name, source in zip(names, sources, strict=True)]
