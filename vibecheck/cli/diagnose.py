"""`vibecheck diagnose`: name the part at fault from takes."""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.cli.gathering import Gathered
    from vibecheck.diagnosis.findings import Diagnosis
    from vibecheck.finish.marks import Reading
    from vibecheck.machine.parts import Bearing
    from vibecheck.recording import Take
    from vibecheck.report.marks_joined import Joined


@click.command()
@click.argument("takes", type=click.Path())
@click.option("-t", "--table", help="Gear table: a file, or the name of a shipped one.")
@click.option("--sweep", help="Which sweep of a job folder.")
@click.option(
    "--rpm", type=click.FloatRange(min=0, min_open=True), help="Running speed, even roughly."
)
@click.option(
    "--bearing",
    "bearings",
    multiple=True,
    metavar="N,D,P,ANGLE",
    help="Without a table: balls or rollers, their diameter, pitch diameter, contact angle.",
)
@click.option(
    "--multipliers",
    multiple=True,
    metavar="OUTER,INNER,..",
    help="Without a table: strikes a turn as a maker lists them: outer,inner[,roller[,cage]].",
)
@click.option("--position", help="Lever position of a single file.")
@click.option("--channel", type=int, help="Which channel, from 1.")
@click.option("--variable", help="Which array of a MATLAB or UFF file.")
@click.option("--column", help="Which column of a CSV log.")
@click.option("--unit", help="Unit of a log's or array's numbers.")
@click.option("--rate", "rate_hz", type=float, help="Samples a second, where the file says none.")
@click.option("--mains", type=click.Choice(["50", "60"]), help="Mains frequency, Hz.")
@click.option(
    "--marks",
    multiple=True,
    metavar="CUT",
    help="Marks on the work, in mm, once a cut: 'position=A1 B2 CH, count=11, spacing=0.33, "
    "hand=left, rpm=637.2, feed=0.10'. Says which finding explains them.",
)
@click.option(
    "--baseline",
    metavar="TAKES",
    help="The same machine when it was sound: a folder, a job, or another sweep of this job. "
    "Says what has risen since.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
@click.option("--page", type=click.Path(), help="Also write one self-contained HTML page.")
@click.option("--picture", type=click.Path(), help="Also write the summary as .png or .svg.")
@click.option("--replace", is_flag=True, help="Write over a page or picture of that name.")
def command(takes: str, **options: Any) -> None:
    """Name the part at fault from TAKES: a folder with one recording a lever position, a job
    folder, or one recording.

    With a gear table the whole sweep decides. One file works with a speed and bearing numbers
    alone, and with nothing at all, and claims less.
    """
    from vibecheck.cli.diagnose_marks import readings_of, told_marks
    from vibecheck.cli.written import must_be_free

    for path in (options["page"], options["picture"]):
        must_be_free(path, replace=options["replace"])
    _check_picture(options["picture"])
    told = [told_marks(text) for text in options["marks"]]
    gathered = _gathered(takes, options)
    readings = readings_of(told, gathered.machine)
    diagnosis = diagnosed(gathered, _baseline(takes, gathered, options))
    marks = _joined(readings, diagnosis, gathered)
    show(diagnosis, gathered, as_json=options["as_json"], marks=marks)
    keep(
        diagnosis,
        gathered,
        page=options["page"],
        picture=options["picture"],
        settings=options,
        marks=marks,
    )


def _check_picture(path: str | None) -> None:
    from vibecheck.cli.written import PICTURE_SUFFIXES

    if path is not None and not path.lower().endswith(PICTURE_SUFFIXES):
        raise UsageError(f"picture {path!r}", "End its name in .png or .svg.")


def _gathered(takes: str, options: dict[str, Any]) -> Gathered:
    from dataclasses import replace

    from vibecheck.cli.channels import channel_warnings
    from vibecheck.cli.gathering import chosen_channel, gather

    found = gather(
        takes,
        table=options["table"],
        rpm=options["rpm"],
        bearings=_bearings(options["bearings"], options["multipliers"]),
        position=options["position"],
        sweep=options["sweep"],
        mains_hz=float(options["mains"]) if options["mains"] else None,
        variable=options["variable"],
        column=options["column"],
        unit=options["unit"],
        rate_hz=options["rate_hz"],
    )
    takes_heard = chosen_channel(found.takes, options["channel"])
    warnings = (*found.warnings, *channel_warnings(found.takes, options["channel"]))
    for warning in warnings:
        click.echo(f"Note: {warning}.", err=True)
    return replace(found, takes=takes_heard, warnings=warnings)


def _baseline(takes: str, gathered: Gathered, options: dict[str, Any]) -> tuple[Take, ...]:
    """Takes of the machine when it was sound: of another sweep of the job, or from elsewhere."""
    from vibecheck.cli.channels import channel_warnings
    from vibecheck.cli.gathering import chosen_channel, gather

    named = options["baseline"]
    if named is None:
        return ()
    if gathered.job is not None and named in gathered.job.sweeps:
        found = gather(takes, sweep=named)
    else:
        found = gather(
            named,
            table=options["table"] or gathered.table or None,
            variable=options["variable"],
            column=options["column"],
            unit=options["unit"],
            rate_hz=options["rate_hz"],
        )
    if found.folder.resolve() == gathered.folder.resolve():
        raise UsageError(
            f"baseline {named!r}: the takes themselves",
            "Name the takes made when the machine was sound.",
        )
    for warning in (*found.warnings, *channel_warnings(found.takes, options["channel"])):
        click.echo(f"Note: baseline: {warning}.", err=True)
    return tuple(chosen_channel(found.takes, options["channel"]))


def _bearings(geometry: tuple[str, ...], multipliers: tuple[str, ...]) -> list[Bearing]:
    from vibecheck.cli.gathering import bearing_of, bearing_of_multipliers

    made = [bearing_of(text, number=n) for n, text in enumerate(geometry, start=1)]
    first = len(made) + 1
    return made + [
        bearing_of_multipliers(text, number=n) for n, text in enumerate(multipliers, start=first)
    ]


def diagnosed(gathered: Gathered, baseline: Sequence[Take] = ()) -> Diagnosis:
    """Run the diagnosis with progress on the error stream."""
    from vibecheck.cli.progress import Progress
    from vibecheck.pipeline import diagnose

    progress = Progress()
    try:
        return diagnose(gathered.machine, gathered.takes, baseline=baseline, progress=progress)
    finally:
        progress.clear()


def _joined(readings: Sequence[Reading], diagnosis: Diagnosis, gathered: Gathered) -> Joined | None:
    from vibecheck.report.marks_joined import joined

    return joined(readings, diagnosis, gathered.machine) if readings else None


def show(
    diagnosis: Diagnosis,
    gathered: Gathered,
    *,
    as_json: bool = False,
    marks: Joined | None = None,
) -> None:
    """Print it."""
    if as_json:
        from vibecheck.report.marks_joined import marks_json
        from vibecheck.report.schema import to_json

        made = to_json(diagnosis, gathered.machine)
        if marks is not None:
            made["marks"] = marks_json(marks)
        click.echo(json.dumps(made, indent=1, ensure_ascii=False, allow_nan=False))
        return
    from vibecheck.report.care import care_for_all
    from vibecheck.report.text import to_text

    care = dict.fromkeys([*care_for_all(diagnosis), *(marks.cautions if marks else ())])
    said = to_text(
        diagnosis,
        gathered.machine,
        cautions=tuple(care),
        marks=marks.sentences if marks else (),
    )
    click.echo(said, nl=False)


def keep(
    diagnosis: Diagnosis,
    gathered: Gathered,
    *,
    page: str | None,
    picture: str | None,
    settings: dict[str, Any],
    marks: Joined | None = None,
) -> None:
    """Write the page and the picture that were asked for, and say so on the error stream."""
    from vibecheck.cli.written import page_of, write_picture, write_whole

    told = {
        name: ", ".join(value) if isinstance(value, tuple) else str(value)
        for name, value in settings.items()
        if value not in (None, (), False) and name not in ("page", "picture", "replace", "as_json")
    }
    told["made"] = time.strftime("%Y-%m-%d %H:%M")
    if page is not None:
        write_whole(page, page_of(diagnosis, gathered, told, marks))
        click.echo(f"Page: {page}", err=True)
    if picture is not None:
        drawn = write_picture(picture, diagnosis, gathered)
        said = f"Picture: {picture}" if drawn else "No picture: nothing to draw without a table."
        click.echo(said, err=True)
