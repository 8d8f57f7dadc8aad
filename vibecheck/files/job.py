"""The folder of one job: plain TOML and sound files that a person can read and keep for years.

::

    smith-lathe/
      job.toml            schema, customer, complaint in their words, known problems
      machine.toml        the machine's table, as it was when the job was opened
      readings.toml       indicator readings by hand
      work.toml           what was done, and when
      sweeps/before/      sweep.toml (sensor, place, one entry a take) and the takes themselves
      sweeps/after/

Files are written whole or not at all, entries are only added, and nothing is ever overwritten.
"""

from __future__ import annotations

import datetime
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vibecheck.errors import JobError
from vibecheck.files.plain_toml import add_block, read_toml, toml_text, write_new
from vibecheck.finish.readings import KINDS, Reading

SCHEMA = 1
JOB_NAME = "job.toml"
MACHINE_NAME = "machine.toml"
READINGS_NAME = "readings.toml"
WORK_NAME = "work.toml"
SWEEPS_NAME = "sweeps"


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One thing done to the machine."""

    what: str
    date: datetime.date
    by: str = ""
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One job as its folder tells it."""

    folder: Path
    opened: datetime.date
    customer: str = ""
    complaint: str = ""
    machine: str = ""
    known_problems: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    work: tuple[Work, ...] = ()
    sweeps: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The folder's name."""
        return self.folder.name

    @property
    def machine_path(self) -> Path | None:
        """The copy of the machine's table, if one was given."""
        path = self.folder / MACHINE_NAME
        return path if path.is_file() else None

    def sweep_folder(self, name: str) -> Path:
        """Where a sweep's takes lie; it may not exist yet."""
        return self.folder / SWEEPS_NAME / plain_name(name)


def plain_name(name: str) -> str:
    """The name itself when it is fit for a folder on any system.

    >>> plain_name("after work")
    'after work'
    """
    if re.fullmatch(r"[^\W_][\w .-]{0,60}", name) and not name.endswith((".", " ")):
        return name
    raise JobError(
        f"{name!r} is no name for a folder", "Use letters, digits, spaces, - and _ (60 at most)."
    )


def new_job(
    folder: str | os.PathLike[str],
    *,
    customer: str = "",
    complaint: str = "",
    machine: str | os.PathLike[str] | None = None,
    known_problems: Sequence[str] = (),
    opened: datetime.date | None = None,
) -> Job:
    """Open a job: make its folder, keep the complaint in the customer's words and a table copy.

    Raises
    ------
    JobError
        The folder is already there with something in it, or cannot be written.
    """
    path = Path(folder).absolute()
    plain_name(path.name)
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise JobError("something is already there", "Choose another name.", str(path))
    table = None if machine is None else _machine_text(Path(machine))
    try:
        path.mkdir(parents=True, exist_ok=True)
        (path / SWEEPS_NAME).mkdir()
    except OSError as error:
        raise JobError(
            f"cannot be made ({error.strerror})", "Check the place.", str(path)
        ) from None
    if table is not None:
        write_new(path / MACHINE_NAME, table)
    values = {
        "schema": SCHEMA,
        "opened": opened or datetime.date.today(),
        "customer": customer,
        "complaint": complaint,
        "machine": "" if machine is None else Path(machine).stem,
        "known_problems": list(known_problems),
    }
    write_new(path / JOB_NAME, toml_text(values))
    return load_job(path)


def load_job(path: str | os.PathLike[str]) -> Job:
    """Read a job's folder, named itself or by its job.toml.

    Raises
    ------
    JobError
        No job there, a faulty file, or one written by a later version of this program.
    """
    folder = Path(path).absolute()
    if folder.name == JOB_NAME:
        folder = folder.parent
    if not (folder / JOB_NAME).is_file():
        raise JobError(
            f"there is no {JOB_NAME} in it", "Open one with 'vibecheck job new'.", str(folder)
        )
    values = read_toml(folder / JOB_NAME)
    where = str(folder / JOB_NAME)
    check_schema(values, where)
    return Job(
        folder=folder,
        opened=_date(values.get("opened"), "opened", where),
        customer=str(values.get("customer", "")),
        complaint=str(values.get("complaint", "")),
        machine=str(values.get("machine", "")),
        known_problems=tuple(map(str, values.get("known_problems", ()))),
        readings=_readings(folder / READINGS_NAME),
        work=_works(folder / WORK_NAME),
        sweeps=_sweep_names(folder / SWEEPS_NAME),
    )


def find_jobs(folder: str | os.PathLike[str]) -> list[Path]:
    """Job folders directly inside a folder, and the folder itself if it is one."""
    path = Path(folder)
    inside = sorted(path.iterdir()) if path.is_dir() else []
    return [place for place in (path, *inside) if (place / JOB_NAME).is_file()]


def add_reading(job: Job, reading: Reading) -> Job:
    """Add a reading by hand; those before it stay as they are."""
    told = {name: getattr(reading, name) for name in Reading.__dataclass_fields__}
    told = {key: value for key, value in told.items() if value not in ("", None)}
    add_block(job.folder / READINGS_NAME, "reading", told)
    return load_job(job.folder)


def add_work(job: Job, work: Work) -> Job:
    """Add something done to the machine."""
    told = {"what": work.what, "date": work.date, "by": work.by, "parts": list(work.parts)}
    add_block(job.folder / WORK_NAME, "work", {key: value for key, value in told.items() if value})
    return load_job(job.folder)


def check_schema(values: Mapping[str, Any], where: str) -> None:
    """Refuse a file of a later schema: reading it half would be worse."""
    schema = values.get("schema")
    if not isinstance(schema, int) or schema < 1:
        raise JobError("it does not say its schema", f"Write 'schema = {SCHEMA}'.", where)
    if schema > SCHEMA:
        raise JobError(
            f"written by a later version (schema {schema}; this one knows {SCHEMA})",
            "Bring vibecheck up to date.",
            where,
        )


def _machine_text(path: Path) -> str:
    if not path.is_file():
        raise JobError("there is no such machine table", "Check the name.", str(path))
    read_toml(path)
    return path.read_text(encoding="utf-8")


def _sweep_names(folder: Path) -> tuple[str, ...]:
    if not folder.is_dir():
        return ()
    return tuple(sorted(path.name for path in folder.iterdir() if path.is_dir()))


def _date(value: Any, key: str, where: str) -> datetime.date:
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    raise JobError(f"{key} is {value!r}", "Write a date as 2031-04-05, without quotes.", where)


def _readings(path: Path) -> tuple[Reading, ...]:
    return tuple(_reading(raw, str(path)) for raw in _entries(path, "reading"))


def _reading(raw: Mapping[str, Any], where: str) -> Reading:
    if raw.get("kind") not in KINDS:
        raise JobError(f"no kind of reading {raw.get('kind')!r}", f"Use {', '.join(KINDS)}.", where)
    known = set(Reading.__dataclass_fields__)
    if set(raw) - known:
        raise JobError(
            f"unknown key(s) {', '.join(sorted(set(raw) - known))}", "Take them out.", where
        )
    if not isinstance(raw.get("value_mm"), int | float):
        raise JobError("a reading without value_mm", "Write the number in millimetres.", where)
    values = {"place": "", **raw, "date": _date(raw.get("date"), "date", where)}
    return Reading(**values)


def _works(path: Path) -> tuple[Work, ...]:
    return tuple(
        Work(
            what=str(raw.get("what", "")),
            date=_date(raw.get("date"), "date", str(path)),
            by=str(raw.get("by", "")),
            parts=tuple(map(str, raw.get("parts", ()))),
        )
        for raw in _entries(path, "work")
    )


def _entries(path: Path, name: str) -> list[dict[str, Any]]:
    found = read_toml(path).get(name, []) if path.is_file() else []
    if not isinstance(found, list):
        raise JobError(f"{name!r} is no list", f"Start each entry with [[{name}]].", str(path))
    return found
