"""``vibecheck job``: open, list, show and check job folders; add readings and work."""

from __future__ import annotations

import datetime
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.files.sweep import Sweep
    from vibecheck.finish.readings import Reading

FOLDER = click.Path(path_type=Path)
WIDTH = 78


@click.group()
def command() -> None:
    """Keep one job in one plain folder: complaint, table, readings, sweeps, work done."""


@command.command("new")
@click.argument("folder", type=FOLDER)
@click.option("--customer", default="", help="Whose machine it is.")
@click.option("--complaint", default="", help="The complaint, in the customer's words.")
@click.option("--machine", help="Machine table (a file, or the name of a shipped one); copied.")
@click.option("--problem", "problems", multiple=True, help="Known problem; may be repeated.")
def new(
    folder: Path, customer: str, complaint: str, machine: str | None, problems: tuple[str, ...]
) -> None:
    """Open a job in FOLDER, which must be new or empty."""
    from vibecheck.files.job import new_job

    table = _table(machine) if machine else None
    job = new_job(
        folder, customer=customer, complaint=complaint, machine=table, known_problems=problems
    )
    click.echo(f"Opened {job.name}. Record with: vibecheck record {folder} --sweep before")


@command.command("list")
@click.argument("folder", type=FOLDER, default=".")
def list_jobs(folder: Path) -> None:
    """List the jobs in FOLDER (here, without it)."""
    from vibecheck.errors import VibecheckError
    from vibecheck.files.job import find_jobs, load_job

    paths = find_jobs(folder)
    for path in paths:
        try:
            job = load_job(path)
        except VibecheckError as error:
            click.echo(f"{path.name}: {error.text}")
            continue
        sweeps = ", ".join(job.sweeps) or "no sweeps yet"
        click.echo(f"{job.name}  {job.opened}  {job.customer or '-'}  ({sweeps})")
    if not paths:
        click.echo("No jobs here. Open one with: vibecheck job new FOLDER")


@command.command("show")
@click.argument("folder", type=FOLDER)
def show(folder: Path) -> None:
    """Show what the job in FOLDER holds."""
    from vibecheck.files.job import load_job

    job = load_job(folder)
    _say(f"Job {job.name}, opened {job.opened}")
    _line("Customer", job.customer)
    _line("Complaint", job.complaint)
    _line("Machine", job.machine)
    for problem in job.known_problems:
        _line("Known problem", problem)
    for reading in job.readings:
        _line("Reading", _reading_words(reading))
    for work in job.work:
        parts = f" (parts: {', '.join(work.parts)})" if work.parts else ""
        _line("Work", f"{work.date} {work.what}{parts}{f', {work.by}' if work.by else ''}")
    for name in job.sweeps:
        _show_sweep(job, name)


@command.command("check")
@click.argument("folder", type=FOLDER)
@click.option("--read", is_flag=True, help="Also read every take through.")
@click.pass_context
def check(context: click.Context, folder: Path, read: bool) -> None:
    """Check hashes and files of the job in FOLDER; exit code 3 if something is amiss."""
    from vibecheck.files.job import load_job
    from vibecheck.files.job_check import check_job

    job = load_job(folder)
    found = check_job(job, read=read)
    for what in found:
        click.echo(f"- {what}")
    click.echo(f"{len(found)} thing(s) to look at." if found else "All takes are as recorded.")
    if any(word in what for what in found for word in (": changed", ": missing", "not valid")):
        context.exit(3)


@command.command("reading")
@click.argument("folder", type=FOLDER)
@click.argument("kind")
@click.argument("value")
@click.option("--place", required=True, help="Where the indicator stood.")
@click.option("--over", default="", help="Length it was found over (taper, error).")
@click.option("--for", "wanted", default="", help="Length to carry it to, in proportion.")
@click.option("--pull", default="", help="Force on the bar (lift test), such as 50lb.")
@click.option("--end", default="", help="Lift at the slide's unworn end.")
@click.option("--by", default="", help="Who took it.")
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="When; today without it.")
@click.option("--note", default="")
def reading(
    folder: Path, kind: str, value: str, place: str, over: str, wanted: str, pull: str,
    end: str, by: str, date: datetime.datetime | None, note: str,
) -> None:  # fmt: skip
    """Add an indicator reading taken by hand.

    KIND is 'spindle lift', 'end play', 'runout', 'slide lift', 'taper' or 'other';
    VALUE is written with its unit: 0.0005in, 0.5thou, 0.01mm.
    """
    from vibecheck.errors import UsageError
    from vibecheck.files.job import add_reading, load_job
    from vibecheck.files.lengths import force_n, inches_and_mm, length_mm
    from vibecheck.finish.readings import KINDS, Reading, proportional, times_good_taper

    named = [name for name in KINDS if name == kind.replace("-", " ").lower()]
    if not named:
        raise UsageError(f"no kind of reading {kind!r}", f"Use {', '.join(KINDS)}.")
    job = load_job(folder)
    taken = Reading(
        kind=named[0],
        value_mm=length_mm(value),
        place=place,
        date=date.date() if date else datetime.date.today(),
        by=by,
        over_mm=length_mm(over) if over else 0.0,
        pull_n=force_n(pull) if pull else 0.0,
        end_mm=length_mm(end) if end else None,
        note=note,
    )
    add_reading(job, taken)
    _say(_reading_words(taken))
    if taken.over_mm > 0 and taken.kind == "taper":
        times = times_good_taper(taken.value_mm, taken.over_mm)
        _say(f"That is {taken.value_mm / taken.over_mm:.2g} per unit of length, about "
             f"{times:.2g} times what a good machine shows.")  # fmt: skip
    if taken.over_mm > 0 and wanted:
        carried = proportional(taken.value_mm, taken.over_mm, length_mm(wanted))
        _say(f"In proportion, {inches_and_mm(carried)} over {wanted}.")


@command.command("work")
@click.argument("folder", type=FOLDER)
@click.argument("what")
@click.option("--part", "parts", multiple=True, help="Part replaced; may be repeated.")
@click.option("--by", default="", help="Who did it.")
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="When; today without it.")
def work(
    folder: Path, what: str, parts: tuple[str, ...], by: str, date: datetime.datetime | None
) -> None:
    """Add a line of WHAT was done to the machine."""
    from vibecheck.files.job import Work, add_work, load_job

    day = date.date() if date else datetime.date.today()
    add_work(load_job(folder), Work(what=what, date=day, by=by, parts=parts))
    click.echo(f"Noted for {day}: {what}")


def _table(machine: str) -> Path:
    from vibecheck.files.gear_table import find_table, read_machine

    path = find_table(machine)
    read_machine(path)
    return path


def _show_sweep(job: Job, name: str) -> None:
    from vibecheck.errors import VibecheckError
    from vibecheck.files.sweep import load_sweep, loose_files, partial_files

    try:
        sweep = load_sweep(job, name)
    except VibecheckError as error:
        _line(f"Sweep {name}", error.text)
        return
    sensor = sweep.sensor
    told = [sensor.name or sensor.kind, sensor.mount, sensor.axis, sensor.place]
    sensor_words = ", ".join(part for part in told if part and part != "unknown")
    loose = len(loose_files(sweep))
    more = f" and {loose} put in by hand" if loose else ""
    _line(f"Sweep {name}", f"{len(sweep.takes)} take(s){more}; {sensor_words}")
    for why in _cannot(sweep):
        _say(f"    cannot: {why}")
    for take in sweep.takes:
        what = " ".join(
            filter(None, [take.position or "", take.kind if take.kind != "idle" else ""])
        )
        heard = f", heard {take.heard_rpm:.0f} rpm" if take.heard_rpm else ""
        judged = "; ".join(take.judgement) or "good"
        _say(f"    {what or 'no position'}: {take.file}{heard}, {judged}")
    for path in partial_files(sweep):
        _say(f"    {path.name}: cut off, not used")


def _cannot(sweep: Sweep) -> list[str]:
    """What this sweep's sensor cannot support, from its first take."""
    from vibecheck.errors import VibecheckError
    from vibecheck.files.audio import read_recording
    from vibecheck.files.refused import why_no_levels, why_no_tone, why_no_unit
    from vibecheck.files.told_facts import with_facts

    if not sweep.takes:
        return []
    first = sweep.takes[0]
    try:
        recording = read_recording(sweep.folder / first.file, **first.reading)
    except VibecheckError as error:
        return [error.text]
    heard = sweep.sensor.applied(with_facts(recording, first.facts))
    low, half = heard.support.low_hz, heard.rate_hz / 2
    asked = [why_no_unit(heard), why_no_levels(heard)]
    if low > 0:
        asked.append(why_no_tone(heard, 0.99 * low))
    if heard.top_hz < half:
        asked.append(f"nothing can be said above {heard.top_hz:.4g} Hz")
    return [why for why in asked if why]


def _reading_words(reading: Reading) -> str:
    from vibecheck.files.lengths import inches_and_mm

    words = f"{reading.date} {reading.kind} {inches_and_mm(reading.value_mm)} at {reading.place}"
    words += f" over {inches_and_mm(reading.over_mm)}" if reading.over_mm else ""
    words += f" under {reading.pull_n:.0f} N" if reading.pull_n else ""
    words += f", {inches_and_mm(reading.end_mm)} at its end" if reading.end_mm is not None else ""
    verdict = reading.suspicion
    return words + ("" if verdict == "open" else f": {verdict}")


def _line(head: str, text: str) -> None:
    if text:
        _say(f"  {head}: {text}")


def _say(text: str) -> None:
    indent = " " * (len(text) - len(text.lstrip()) + 2)
    for number, line in enumerate(text.splitlines()):
        first = "" if number == 0 else indent
        click.echo(textwrap.fill(line, WIDTH, initial_indent=first, subsequent_indent=indent))
