"""``vibecheck bring-in``: take recordings of any kind into a job or a folder."""

from __future__ import annotations

import tempfile
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from vibecheck.cli.sensor_options import NAMES, sensor_options, sensor_told

if TYPE_CHECKING:
    from vibecheck.capture.check import Judgement, SpeedCheck
    from vibecheck.files.naming import Named
    from vibecheck.files.sensor import Sensor
    from vibecheck.machine.parts import Machine

FILE = click.Path(path_type=Path)


@click.command("bring-in")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option("--job", "job_folder", type=FILE, help="Job to take them into.")
@click.option("--sweep", default="before", show_default=True, help="Sweep of that job.")
@click.option("--out", type=FILE, help="Folder to convert into, instead of a job.")
@click.option("--machine", help="Machine table whose lever positions the names speak of.")
@click.option("--position", help="Lever position of a single file.")
@click.option("--kind", help="Kind of take (background, motor alone ...) of a single file.")
@click.option("--rpm", type=float, help="Spindle speed measured with a tachometer.")
@click.option("--channel", type=click.IntRange(1), help="Take this channel only.")
@click.option("--column", help="Column(s) of a log, by heading or number.")
@click.option("--variable", help="Array of a MATLAB file, or record of a UFF file.")
@click.option("--unit", help="Unit of a log's or array's numbers: g, m/s^2, mm/s, V.")
@click.option("--rate", "rate_hz", type=float, help="Samples a second, where the file says none.")
@click.option("--start", "start_s", type=float, help="Begin at this second.")
@click.option("--length", "length_s", type=float, help="Take so many seconds.")
@sensor_options
@click.option("--partial", is_flag=True, help="Accept a file that was cut off.")
def command(
    files: tuple[Path, ...], job_folder: Path | None, sweep: str, out: Path | None,
    machine: str | None, position: str | None, kind: str | None, rpm: float | None,
    channel: int | None, **reading: Any,
) -> None:  # fmt: skip
    """Convert FILES (sound, video, logs, UFF, MATLAB) to WAV or FLAC, and say what they are."""
    from vibecheck.errors import UsageError

    if (job_folder is None) == (out is None):
        raise UsageError("nowhere to put them", "Give either --job or --out.")
    if out is not None and sensor_told(reading) is not None:
        raise UsageError("a sensor is told for a folder", "Only a job keeps one: give --job.")
    if len(files) > 1 and (position or kind or rpm):
        raise UsageError("several files for one position", "Bring them in one at a time.")
    sensor = sensor_told(reading)
    options = {key: value for key, value in reading.items() if key not in NAMES}
    options["channel"] = None if channel is None else channel - 1
    if sensor is not None and sensor.per_full_scale:
        options["unit"] = None
    table = _machine(machine, job_folder)
    labels = [] if table is None else [one.label for one in table.positions]
    speed = None
    if table is not None:
        from vibecheck.cli.heard_speed import speed_check

        speed = speed_check(table)
    for file in files:
        told = _told(file, labels, position, kind)
        if job_folder is not None:
            path, words = _into_job(job_folder, sweep, sensor, file, told, rpm, speed, options)
        else:
            assert out is not None
            path, words = _into_folder(out, file, told, rpm, options)
        _say(file, path, words, told)


def _machine(machine: str | None, job_folder: Path | None) -> Machine | None:
    from vibecheck.files.gear_table import read_machine
    from vibecheck.files.job import load_job

    table: str | Path | None = machine
    if table is None and job_folder is not None:
        table = load_job(job_folder).machine_path
    return None if table is None else read_machine(table)


def _told(file: Path, labels: list[str], position: str | None, kind: str | None) -> Named:
    from dataclasses import replace

    from vibecheck.errors import UsageError
    from vibecheck.files.naming import named, words_of
    from vibecheck.files.take_list import KINDS

    told = named(file.stem, labels)
    if position is not None:
        same = [
            label for label in labels if "".join(words_of(label)) == "".join(words_of(position))
        ]
        if labels and not same:
            raise UsageError(f"no lever position {position!r}", f"Use {', '.join(labels)}.")
        told = replace(told, position=same[0] if same else position)
    if kind is not None:
        fit = [name for name in KINDS if words_of(name) == words_of(kind)]
        if not fit:
            raise UsageError(f"no kind of take {kind!r}", f"Use {', '.join(KINDS)}.")
        told = replace(told, kind=fit[0])
    return told


def _into_job(
    folder: Path,
    sweep: str,
    sensor: Sensor | None,
    file: Path,
    told: Named,
    rpm: float | None,
    speed: SpeedCheck | None,
    options: Mapping[str, Any],
) -> tuple[Path, tuple[str, ...]]:
    from vibecheck.capture.check import judge
    from vibecheck.files.conversion import bring_in
    from vibecheck.files.job import load_job
    from vibecheck.files.storing import add_take
    from vibecheck.files.sweep import open_sweep

    job = load_job(folder)
    opened = open_sweep(job, sweep, sensor)
    with tempfile.TemporaryDirectory(prefix=".bring-in-", dir=job.folder) as place:
        brought = bring_in(file, Path(place), "take", **options)
        judgement = judge(brought.recording, position=told.position, kind=told.kind, speed=speed)
        entry = {
            "position": told.position,
            "kind": told.kind,
            "tach_rpm": rpm,
            "heard_rpm": judgement.heard.rpm if judgement.heard and told.position else None,
            "judgement": judgement.faults,
            "conditions": {"brought in from": file.name},
            "facts": dict(brought.facts),
        }
        words = (*brought.words, *_heard_words(judgement, told))
        return add_take(opened, brought.path, entry), words


def _heard_words(judgement: Judgement, told: Named) -> tuple[str, ...]:
    """What was found; an unfiled take is told which position it sounds like, and not filed."""
    heard = judgement.heard
    said = tuple(remark.text for remark in judgement.remarks if remark.weight != "good")
    if heard is None:
        return said
    if told.position is None:
        return (*said, f"it sounds like {heard.position}, {heard.rpm:.0f} rpm; if so, bring it in "
                "with --position")  # fmt: skip
    return (*said, f"spindle heard at {heard.rpm:.1f} rpm")


def _into_folder(
    out: Path, file: Path, told: Named, rpm: float | None, options: Mapping[str, Any]
) -> tuple[Path, tuple[str, ...]]:
    from vibecheck.files.conversion import bring_in
    from vibecheck.files.plain_toml import add_block
    from vibecheck.files.storing import free_stem

    out.mkdir(parents=True, exist_ok=True)
    stem = free_stem(out, told.position or (file.stem if told.kind == "idle" else None), told.kind)
    brought = bring_in(file, out, stem, **options)
    entry = {
        "file": brought.path.name,
        "position": told.position,
        "kind": told.kind,
        "rpm": rpm,
        "conditions": {"brought in from": file.name},
        "facts": dict(brought.facts),
    }
    kept = {key: value for key, value in entry.items() if value not in (None, {})}
    add_block(out / "takes.toml", "take", kept)
    return brought.path, brought.words


def _say(file: Path, path: Path, words: tuple[str, ...], told: Named) -> None:
    what = " ".join(filter(None, [told.position, told.kind if told.kind != "idle" else None]))
    click.echo(f"{file.name} -> {path.name}  [{what or 'no lever position told'}]")
    for line in words:
        click.echo(textwrap.fill(line, 78, initial_indent="  ", subsequent_indent="    "))
