"""A sweep of a job: its sensor, its conditions and its takes, on disk."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, get_args

from vibecheck.errors import JobError
from vibecheck.files.audio import read_recording
from vibecheck.files.job import SCHEMA, Job, check_schema
from vibecheck.files.left_out import Reader, readable
from vibecheck.files.plain_toml import read_toml, toml_text, write_new
from vibecheck.files.sensor import Sensor, sensor_from
from vibecheck.files.takes import TakesFound, read_takes, take_files
from vibecheck.files.told_facts import with_facts
from vibecheck.recording import Take, TakeKind

SWEEP_NAME = "sweep.toml"
ASIDE_NAME = "set aside"
PART = ".part"
KINDS: tuple[TakeKind, ...] = get_args(TakeKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTake:
    """One take as its entry in sweep.toml tells it.

    Attributes
    ----------
    file, sha256 : str
        The file in the sweep's folder, and the hash of its bytes when it was stored.
    judgement : tuple of str
        What was found when it was recorded ("clipped", "chart 495, heard 481"); empty when good.
    reading : mapping
        How to read it (column, unit, rate_hz, variable), for files that need telling.
    facts : mapping
        What a converted file was before (true rate, unit, losses).
    """

    file: str
    sha256: str
    position: str | None = None
    kind: TakeKind = "idle"
    recorded: datetime.datetime | None = None
    tach_rpm: float | None = None
    heard_rpm: float | None = None
    judgement: tuple[str, ...] = ()
    conditions: Mapping[str, str] = field(default_factory=dict)
    reading: Mapping[str, Any] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """A sweep as it lies on disk."""

    name: str
    folder: Path
    sensor: Sensor
    began: datetime.datetime | None = None
    conditions: Mapping[str, str] = field(default_factory=dict)
    takes: tuple[StoredTake, ...] = ()

    def taken(self, position: str | None, kind: TakeKind = "idle") -> tuple[StoredTake, ...]:
        """Takes of one position and kind."""
        return tuple(take for take in self.takes if (take.position, take.kind) == (position, kind))


def open_sweep(
    job: Job,
    name: str,
    sensor: Sensor | None = None,
    conditions: Mapping[str, str] | None = None,
) -> Sweep:
    """The sweep of that name, made now if it is not there yet.

    Raises
    ------
    JobError
        It is there with another sensor, mount or place: takes of one sweep must be alike.
    """
    folder = job.sweep_folder(name)
    if (folder / SWEEP_NAME).is_file():
        sweep = load_sweep(job, name)
        if sensor is not None and sensor != sweep.sensor:
            raise JobError(
                f"the sweep {name!r} was begun with another sensor, mount or place",
                "Put the sensor back as it was, or begin a sweep of another name.",
                str(folder),
            )
        return sweep
    folder.mkdir(parents=True, exist_ok=True)
    values = {
        "schema": SCHEMA,
        "began": now(),
        "sensor": (sensor or Sensor()).table(),
        "conditions": dict(conditions or {}),
    }
    write_new(folder / SWEEP_NAME, toml_text(values))
    return load_sweep(job, name)


def load_sweep(job: Job, name: str) -> Sweep:
    """Read what a sweep's folder tells; the samples stay on disk."""
    folder = job.sweep_folder(name)
    if not folder.is_dir():
        there = ", ".join(job.sweeps) or "none yet"
        raise JobError(f"no sweep {name!r}", f"Its sweeps: {there}.", str(job.folder))
    path = folder / SWEEP_NAME
    if not path.is_file():
        return Sweep(name=name, folder=folder, sensor=Sensor())
    values = read_toml(path)
    check_schema(values, str(path))
    began = values.get("began")
    return Sweep(
        name=name,
        folder=folder,
        sensor=sensor_from(values.get("sensor", {}), str(path)),
        began=began if isinstance(began, datetime.datetime) else None,
        conditions={key: str(value) for key, value in values.get("conditions", {}).items()},
        takes=tuple(_stored(raw, str(path)) for raw in values.get("take", ())),
    )


def job_takes(job: Job, sweep: str, position_labels: Sequence[str] = ()) -> list[Take]:
    """The takes of one sweep, in the sensor's unit and with what sensor and mount support.

    Files a person put into the folder by hand count too, by their names.
    """
    return [reader() for _, reader in _readers(job, sweep, position_labels)]


def job_takes_found(job: Job, sweep: str, position_labels: Sequence[str] = ()) -> TakesFound:
    """The same as `job_takes`, but files that can't be read are left out with a warning."""
    takes, warnings = readable(_readers(job, sweep, position_labels))
    return TakesFound(takes=tuple(takes), warnings=tuple(warnings))


def _readers(job: Job, sweep: str, labels: Sequence[str]) -> list[Reader]:
    stored = load_sweep(job, sweep)
    readers: list[Reader] = [(e.file, partial(_take, stored, e)) for e in stored.takes]
    readers += [(path.name, partial(_loose, stored, path, labels)) for path in loose_files(stored)]
    if not readers:
        raise JobError("no takes yet", "Record some with 'vibecheck record'.", str(stored.folder))
    return readers


def loose_files(sweep: Sweep) -> list[Path]:
    """Recordings in the folder that have no entry."""
    listed = {take.file for take in sweep.takes}
    return [path for path in take_files(sweep.folder) if path.name not in listed]


def partial_files(sweep: Sweep) -> list[Path]:
    """Takes that were begun and never finished."""
    return sorted(sweep.folder.glob(f"*{PART}"))


def file_sha256(path: Path) -> str:
    """Hash of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _take(sweep: Sweep, entry: StoredTake) -> Take:
    recording = read_recording(sweep.folder / entry.file, **entry.reading)
    recording = with_facts(recording, entry.facts, str(sweep.folder / SWEEP_NAME))
    return Take(
        recording=sweep.sensor.applied(recording),
        position=entry.position,
        kind=entry.kind,
        tach_rpm=entry.tach_rpm,
        conditions={**_conditions(sweep), "file": entry.file, **entry.conditions},
    )


def _loose(sweep: Sweep, path: Path, labels: Sequence[str]) -> Take:
    """The take of a file that was put in by hand."""
    [take] = read_takes(path, labels)
    return replace(
        take,
        recording=sweep.sensor.applied(take.recording),
        conditions={**_conditions(sweep), **take.conditions},
    )


def _conditions(sweep: Sweep) -> dict[str, str]:
    sensor = sweep.sensor
    told = {
        "sensor": sensor.name or (sensor.kind if sensor.kind != "other" else ""),
        "mount": sensor.mount if sensor.mount != "unknown" else "",
        "axis": sensor.axis,
        "place": sensor.place,
        "processing": sensor.processing if sensor.processing != "unknown" else "",
    }
    return {key: value for key, value in told.items() if value} | dict(sweep.conditions)


def _stored(raw: Mapping[str, Any], where: str) -> StoredTake:
    known = set(StoredTake.__dataclass_fields__)
    unknown = sorted(set(raw) - known)
    if unknown or "file" not in raw:
        what = f"unknown key(s) {', '.join(unknown)}" if unknown else "a take without a file"
        raise JobError(what, f"Use {', '.join(sorted(known))}.", where)
    kind = raw.get("kind", "idle")
    if kind not in KINDS:
        raise JobError(f"no kind of take {kind!r}", f"Use {', '.join(KINDS)}.", where)
    values = {"sha256": "", **raw, "judgement": tuple(raw.get("judgement", ()))}
    values["conditions"] = {key: str(item) for key, item in raw.get("conditions", {}).items()}
    return StoredTake(**values)


def now() -> datetime.datetime:
    """This moment, to the second, with the time zone."""
    return datetime.datetime.now().astimezone().replace(microsecond=0)
