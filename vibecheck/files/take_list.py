"""takes.csv and takes.toml: a list that says which file is which take."""

from __future__ import annotations

import csv
import difflib
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args

from vibecheck.errors import JobError
from vibecheck.files.naming import words_of
from vibecheck.recording import TakeKind

LIST_NAMES = frozenset({"takes.csv", "takes.toml"})
KINDS: tuple[TakeKind, ...] = get_args(TakeKind)
READING_KEYS = ("channel", "variable", "column", "unit", "rate_hz", "start_s", "length_s")
Say = Callable[[str], object]
OWN_KEYS = ("file", "position", "kind", "rpm", "conditions", "facts", *READING_KEYS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One row of a take list."""

    path: Path
    position: str | None
    kind: TakeKind
    rpm: float | None
    conditions: Mapping[str, str] = field(default_factory=dict)
    reading: Mapping[str, Any] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)


def listed_takes(listing: Path, labels: Sequence[str]) -> list[Listed]:
    """Rows of a take list; all its faults are raised at once.

    Columns (or keys of each ``[[take]]``): ``file``; ``position``; ``kind``; ``rpm``, the spindle
    speed measured with a tachometer; ``conditions`` as "mount=magnet; axis=radial"; ``channel``
    (from 1), ``variable``, ``column``, ``unit``, ``rate_hz``, ``start_s``, ``length_s`` as in
    `read_recording`; ``facts``, a table of what a converted file was. Any other column is kept as
    a condition under its heading.
    """
    faults: list[str] = []
    rows = []
    for number, raw in enumerate(_rows(listing), start=1):
        found: list[str] = []
        row = _row(listing, raw, labels, found.append)
        faults += [f"take {number}: {fault}" for fault in found]
        if row is not None:
            rows.append(row)
    if faults:
        raise JobError("\n  ".join(["the list is faulty", *faults]), "", str(listing))
    if not rows:
        raise JobError("the list names no takes", "Add one row per take.", str(listing))
    return rows


def _rows(listing: Path) -> list[dict[str, Any]]:
    try:
        text = listing.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise JobError("not plain UTF-8 text", "Save it as UTF-8.", str(listing)) from None
    if listing.suffix.lower() == ".csv":
        first = text.split("\n", 1)[0]
        mark = max(",;\t", key=first.count)
        return [
            {(key or "").strip().lower(): value for key, value in row.items() if value}
            for row in csv.DictReader(text.splitlines(), delimiter=mark)
        ]
    try:
        takes = tomllib.loads(text).get("take", [])
    except tomllib.TOMLDecodeError as error:
        raise JobError(f"not valid TOML ({error})", "Put that line right.", str(listing)) from None
    if not isinstance(takes, list) or not all(isinstance(take, dict) for take in takes):
        raise JobError("'take' is no list", "Start each take with [[take]].", str(listing))
    return takes


def _row(listing: Path, raw: Mapping[str, Any], labels: Sequence[str], fault: Say) -> Listed | None:
    name = str(raw.get("file", "")).strip()
    if not name:
        fault("no file named")
        return None
    path = listing.parent / name
    if not path.is_file():
        fault(f"there is no file {name}")
    return Listed(
        path=path,
        position=_position(raw.get("position"), labels, fault),
        kind=_kind(raw.get("kind"), fault),
        rpm=_number(raw.get("rpm"), "rpm", fault),
        conditions=_conditions(raw),
        reading=_reading(raw, fault),
        facts=raw["facts"] if isinstance(raw.get("facts"), Mapping) else {},
    )


def _position(given: Any, labels: Sequence[str], fault: Say) -> str | None:
    wanted = str(given or "").strip()
    if not wanted or not labels:
        return wanted or None
    for label in labels:
        if "".join(words_of(label)) == "".join(words_of(wanted)):
            return label
    near = difflib.get_close_matches(wanted.upper(), labels, n=1, cutoff=0.0)
    fault(f"no lever position {wanted!r}; did you mean {near[0]!r}?")
    return None


def _kind(given: Any, fault: Say) -> TakeKind:
    wanted = " ".join(words_of(str(given or "idle")))
    for kind in KINDS:
        if " ".join(words_of(kind)) == wanted:
            return kind
    near = difflib.get_close_matches(wanted, KINDS, n=1, cutoff=0.0)
    fault(f"no kind of take {given!r}; did you mean {near[0]!r}?")
    return "idle"


def _number(given: Any, key: str, fault: Say) -> float | None:
    if given is None or str(given).strip() == "":
        return None
    try:
        value = float(str(given).replace(",", "."))
    except ValueError:
        fault(f"{key} is {given!r}, no number")
        return None
    if not value >= 0:
        fault(f"{key} is {given!r}, below 0")
        return None
    return value


def _conditions(raw: Mapping[str, Any]) -> dict[str, str]:
    found = {
        key: str(value).strip()
        for key, value in raw.items()
        if key and key not in OWN_KEYS and isinstance(value, str | int | float)
    }
    given = raw.get("conditions", "")
    if isinstance(given, Mapping):
        return found | {str(key): str(value) for key, value in given.items()}
    for part in str(given).split(";"):
        key, mark, value = part.partition("=")
        if mark:
            found[key.strip()] = value.strip()
        elif key.strip():
            found["note"] = key.strip()
    return found


def _reading(raw: Mapping[str, Any], fault: Say) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key in ("rate_hz", "start_s", "length_s"):
        found[key] = _number(raw.get(key), key, fault)
    channel = _number(raw.get("channel"), "channel", fault)
    if channel is not None and channel < 1:
        fault("channel counts from 1")
    found["channel"] = None if channel is None else int(channel) - 1
    for key in ("variable", "column", "unit"):
        value = raw.get(key)
        found[key] = None if value in (None, "") else str(value).strip()
    return found
