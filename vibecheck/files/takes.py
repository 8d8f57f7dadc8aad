"""The takes of a sweep from a folder or a file, each with the lever position it belongs to."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from vibecheck.errors import JobError
from vibecheck.files.audio import (
    EXCHANGE_SUFFIXES,
    LOG_SUFFIXES,
    SOUND_SUFFIXES,
    VIDEO_SUFFIXES,
    read_recording,
)
from vibecheck.files.left_out import Reader, readable
from vibecheck.files.naming import Named, named
from vibecheck.files.take_list import LIST_NAMES, Listed, listed_takes
from vibecheck.files.told_facts import with_facts
from vibecheck.recording import Take

EVERY_SUFFIX = SOUND_SUFFIXES | LOG_SUFFIXES | EXCHANGE_SUFFIXES | VIDEO_SUFFIXES
MARKED = LOG_SUFFIXES | EXCHANGE_SUFFIXES
"""Files of these kinds may be anything; in a folder they count only when their name fits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakesFound:
    """Takes, and what was noticed while looking for them."""

    takes: tuple[Take, ...]
    warnings: tuple[str, ...] = ()


def read_takes(
    source: str | os.PathLike[str], position_labels: Sequence[str] = (), **options: Any
) -> list[Take]:
    """Read the takes of a folder, or the one take of a file.

    Parameters
    ----------
    source : path
        Folder of takes, a take list (takes.csv, takes.toml) or one recording.
    position_labels : sequence of str
        Lever positions as the machine's table writes them ("A3 B2 CL").
    **options
        Passed to `read_recording` (channel, unit, rate_hz ...).

    Returns
    -------
    list of Take
        In the order of ``position_labels``, special takes last; ``position`` is None where no
        name or list told it.

    Raises
    ------
    JobError
        No takes, several for one position that are not numbered as repeats, a faulty list.
    RecordingError
        A file that can't be read.
    """
    return list(find_takes(source, position_labels, leave_out=False, **options).takes)


def find_takes(
    source: str | os.PathLike[str],
    position_labels: Sequence[str] = (),
    *,
    leave_out: bool = True,
    **options: Any,
) -> TakesFound:
    """The same as `read_takes`, with the warnings a person should see.

    With ``leave_out`` a file of a folder or list that can't be read, or holds nothing but
    silence, is left out with a warning; it is an error only when no other is left.
    """
    path = Path(source)
    if not path.exists():
        raise JobError("there is no such file or folder", "Check the name.", str(path))
    if path.is_file() and path.name.lower() not in LIST_NAMES:
        told = named(path.stem, position_labels)
        return TakesFound(takes=(_take(path, told, **options),))
    listing = path if path.is_file() else _listing(path)
    if listing is not None:
        found, warnings = _from_list(listing, position_labels, options)
    else:
        found, warnings = _from_names(path, position_labels, options)
    if leave_out:
        takes, silent = readable(found)
        warnings += silent
    else:
        takes = [reader() for _, reader in found]
    return TakesFound(takes=tuple(_ordered(takes, position_labels)), warnings=tuple(warnings))


def take_files(folder: Path) -> list[Path]:
    """Every file of a folder that could hold a recording, by name."""
    return sorted(
        path
        for path in folder.iterdir()
        if path.is_file()
        and path.suffix.lower() in EVERY_SUFFIX - {".part"}
        and not path.name.startswith(".")
        and path.name.lower() not in LIST_NAMES
    )


def _listing(folder: Path) -> Path | None:
    found = [path for path in sorted(folder.iterdir()) if path.name.lower() in LIST_NAMES]
    if len(found) > 1:
        raise JobError(
            "both takes.csv and takes.toml are here", "Keep one of the two.", str(folder)
        )
    return found[0] if found else None


def _from_list(
    listing: Path, labels: Sequence[str], options: dict[str, Any]
) -> tuple[list[Reader], list[str]]:
    rows = listed_takes(listing, labels)
    unused = sorted(
        {path.name for path in take_files(listing.parent)} - {row.path.name for row in rows}
    )
    warnings = [f"{name} is not in {listing.name} and was not used" for name in unused]
    return [(row.path.name, partial(_listed_take, row, **options)) for row in rows], warnings


def _listed_take(row: Listed, **options: Any) -> Take:
    asked = options | {name: value for name, value in row.reading.items() if value is not None}
    return Take(
        recording=with_facts(read_recording(row.path, **asked), row.facts, row.path.name),
        position=row.position,
        kind=row.kind,
        tach_rpm=row.rpm,
        conditions={"file": row.path.name, **row.conditions},
    )


def _from_names(
    folder: Path, labels: Sequence[str], options: dict[str, Any]
) -> tuple[list[Reader], list[str]]:
    told = [(path, named(path.stem, labels)) for path in take_files(folder)]
    fitting = [(path, name) for path, name in told if _counts(path, name)]
    if not fitting:
        kinds = "WAV, FLAC and the like"
        raise JobError(
            f"no takes here ({len(told)} other file(s))" if told else "no takes here",
            f"Put one recording per lever position here ({kinds}), named by the position"
            + (f", for instance {_example(labels)}." if labels else "."),
            str(folder),
        )
    _no_doubles(fitting, folder)
    warnings = [
        f"{path.name} names no lever position of this machine and was not used"
        for path, name in told
        if (path, name) not in fitting
    ]
    if labels:
        warnings += [
            f"{path.name} names no lever position of this machine"
            for path, name in fitting
            if name.position is None and name.kind == "idle"
        ]
    return [(path.name, partial(_take, path, name, **options)) for path, name in fitting], warnings


def _counts(path: Path, name: Named) -> bool:
    told = name.position is not None or name.kind != "idle"
    return told or path.suffix.lower() not in MARKED


def _example(labels: Sequence[str]) -> str:
    return "_".join(labels[0].split()) + ".wav"


def _no_doubles(fitting: list[tuple[Path, Named]], folder: Path) -> None:
    groups = defaultdict(list)
    for path, name in fitting:
        if name.position is not None or name.kind != "idle":
            groups[name.position, name.kind].append((path, name.repeat or 1))
    for (position, kind), group in groups.items():
        if len({repeat for _, repeat in group}) == len(group):
            continue
        what = " ".join(filter(None, [position, kind if kind != "idle" else ""]))
        files = ", ".join(path.name for path, _ in group)
        raise JobError(
            f"{len(group)} takes for {what}: {files}",
            "Number repeats at the end of the name (_1, _2), move the spare ones away, or say "
            "which is which in takes.csv.",
            str(folder),
        )


def _take(path: Path, name: Named, **options: Any) -> Take:
    conditions = {"file": path.name}
    if name.repeat is not None:
        conditions["repeat"] = str(name.repeat)
    if name.rpm is not None:
        conditions["named rpm"] = f"{name.rpm:g}"
    return Take(
        recording=read_recording(path, **options),
        position=name.position,
        kind=name.kind,
        conditions=conditions,
    )


def _ordered(takes: list[Take], labels: Sequence[str]) -> list[Take]:
    place = {label: index for index, label in enumerate(labels)}

    def order(take: Take) -> tuple[bool, int]:
        return take.kind != "idle", place.get(take.position or "", len(place))

    return sorted(takes, key=order)
