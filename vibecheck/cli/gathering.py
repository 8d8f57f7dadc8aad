"""From what was named on the command line to a machine, its takes, and where they came from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vibecheck.errors import JobError, RecordingError, UsageError

if TYPE_CHECKING:
    from vibecheck.files.job import Job
    from vibecheck.machine.parts import Bearing, Machine
    from vibecheck.recording import Take

BEARING_HELP = "Write count,element,pitch,angle such as 9,7.94,39.04,0 (both in one unit)."
MULTIPLIER_NAMES = ("outer", "inner", "roller", "cage")
MULTIPLIER_HELP = (
    "Write outer,inner[,roller[,cage]] such as 3.58,5.42,4.71,0.398; the roller figure is for "
    "twice the spin."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """Everything a diagnosis starts from.

    ``channel`` counts from 0; ``folder`` is where the takes' files lie.
    """

    machine: Machine | None
    takes: tuple[Take, ...]
    folder: Path
    job: Job | None = None
    sweep: str = ""
    table: str = ""
    warnings: tuple[str, ...] = ()


def gather(
    source: str,
    *,
    table: str | None = None,
    rpm: float | None = None,
    bearings: Sequence[Bearing] = (),
    position: str | None = None,
    sweep: str | None = None,
    mains_hz: float | None = None,
    **reading: Any,
) -> Gathered:
    """Read the takes of a file, a folder or a job, and the machine they belong to.

    Parameters
    ----------
    source : str
        A recording, a folder of takes, a take list or a job folder.
    table : str, optional
        Gear table: a file, or the name of a shipped one.
    rpm : float, optional
        Spindle speed; without a table, the speed of the one shaft.
    bearings : sequence of Bearing
        Without a table.
    **reading
        Passed to the reader of recordings.
    """
    path = Path(source)
    job = _job(path)
    machine, table_name = _machine(table, job, rpm, bearings)
    if machine is not None and mains_hz is not None:
        machine = replace(machine, supply=replace(machine.supply, mains_hz=mains_hz))
    labels = [each.label for each in machine.positions] if machine else []
    labels = [label for label in labels if label]
    named = _sweep_name(job, sweep) if job else ""
    found, warnings, folder = _takes(path, job, named, labels, reading)
    return Gathered(
        machine=machine,
        takes=tuple(_told(found, rpm, position, labels, alone=table_name == "")),
        folder=folder,
        job=job,
        sweep=named,
        table=table_name,
        warnings=warnings,
    )


def _takes(
    path: Path, job: Job | None, sweep: str, labels: list[str], reading: dict[str, Any]
) -> tuple[Sequence[Take], tuple[str, ...], Path]:
    if job is not None:
        from vibecheck.files.sweep import job_takes_found

        stored = job_takes_found(job, sweep, labels)
        return stored.takes, stored.warnings, job.sweep_folder(sweep)
    from vibecheck.files.takes import find_takes

    asked = {name: value for name, value in reading.items() if value is not None}
    found = find_takes(path, labels, **asked)
    return found.takes, found.warnings, path if path.is_dir() else path.parent


def _job(path: Path) -> Job | None:
    from vibecheck.files.job import JOB_NAME, load_job

    inside = path.is_dir() and (path / JOB_NAME).is_file()
    return load_job(path) if inside or path.name == JOB_NAME else None


def _machine(
    table: str | None, job: Job | None, rpm: float | None, bearings: Sequence[Bearing]
) -> tuple[Machine | None, str]:
    from vibecheck.files.gear_table import read_machine
    from vibecheck.machine.single import one_shaft

    if table is not None:
        if bearings:
            raise UsageError(
                "bearing numbers and a gear table", "Put the bearing into the table instead."
            )
        return read_machine(table), table
    if job is not None and job.machine_path is not None:
        return read_machine(job.machine_path), str(job.machine_path)
    if rpm is None and not bearings:
        return None, ""
    return one_shaft(rpm, tuple(bearings)), ""


def _sweep_name(job: Job, sweep: str | None) -> str:
    if sweep is not None:
        return sweep
    if len(job.sweeps) == 1:
        return job.sweeps[0]
    if not job.sweeps:
        raise JobError("no sweep yet", "Record one, or bring takes in.", str(job.folder))
    raise UsageError(
        f"the job holds {len(job.sweeps)} sweeps: {', '.join(job.sweeps)}",
        "Name one with --sweep.",
    )


def _told(
    takes: Sequence[Take],
    rpm: float | None,
    position: str | None,
    labels: Sequence[str],
    *,
    alone: bool,
) -> list[Take]:
    """The takes with what the command line says of them."""
    made = list(takes)
    if (position is not None or (rpm is not None and not alone)) and len(made) != 1:
        raise UsageError(
            f"--position or --rpm for {len(made)} takes",
            "Say it take by take in takes.csv.",
        )
    if position is not None:
        made = [replace(take, position=known_position(position, labels)) for take in made]
    if rpm is not None and not alone:
        made = [replace(take, tach_rpm=rpm) for take in made]
    return made


def known_position(position: str, labels: Sequence[str]) -> str:
    """The label as the table writes it; as it was told where there is no table."""
    plain = position.replace("_", " ").split()
    for label in labels:
        if [word.casefold() for word in label.split()] == [word.casefold() for word in plain]:
            return label
    if labels:
        raise UsageError(
            f"no lever position {position!r}", f"The table's positions: {', '.join(labels)}."
        )
    return " ".join(plain)


def bearing_of(numbers: str, *, number: int = 1) -> Bearing:
    """The bearing "count,element,pitch,angle".

    >>> bearing_of("9, 7.94, 39.04, 0").elements.value
    9.0
    """
    from vibecheck.machine.parts import Bearing, Known

    values = _numbers(numbers, BEARING_HELP)
    if len(values) not in (3, 4):
        raise UsageError(f"--bearing {numbers!r} has {len(values)} number(s)", BEARING_HELP)
    count, element, pitch, *angle = values
    if count != round(count) or count < 3 or not 0 < element < pitch:
        raise UsageError(f"--bearing {numbers!r} is no bearing", BEARING_HELP)
    return Bearing(
        name=_bearing_name(number),
        shaft="shaft",
        elements=Known.exactly(count),
        element_mm=Known.exactly(element),
        pitch_mm=Known.exactly(pitch),
        angle_deg=Known.exactly(angle[0] if angle else 0.0),
    )


def bearing_of_multipliers(numbers: str, *, number: int = 1) -> Bearing:
    """The bearing "outer,inner[,roller[,cage]]", strikes a turn of its shaft."""
    from vibecheck.machine.parts import Bearing

    values = _numbers(numbers, MULTIPLIER_HELP)
    if not 2 <= len(values) <= 4 or min(values) <= 0 or values[0] > values[1]:
        raise UsageError(f"--multipliers {numbers!r} make no bearing", MULTIPLIER_HELP)
    return Bearing(
        name=_bearing_name(number),
        shaft="shaft",
        multipliers=dict(zip(MULTIPLIER_NAMES, values, strict=False)),
    )


def _bearing_name(number: int) -> str:
    return "bearing" if number == 1 else f"bearing {number}"


def _numbers(text: str, remedy: str) -> list[float]:
    try:
        values = [float(part) for part in text.replace(";", ",").split(",") if part.strip()]
    except ValueError:
        raise UsageError(f"{text!r} are no numbers", remedy) from None
    if not all(value == value and abs(value) != float("inf") for value in values):
        raise UsageError(f"{text!r} are no numbers", remedy)
    return values


def chosen_channel(takes: Sequence[Take], channel: int | None) -> tuple[Take, ...]:
    """The takes with one channel kept (counted from 1), for those that came with more."""
    if channel is None:
        return tuple(takes)
    if channel < 1:
        raise UsageError(f"--channel {channel}", "Channels count from 1.")
    try:
        return tuple(replace(take, recording=take.recording.only(channel - 1)) for take in takes)
    except RecordingError as error:
        raise UsageError(error.found, error.remedy, error.where) from None
