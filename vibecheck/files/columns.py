"""A table of numbers from plain text, whatever parts its records and its fields."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError
from vibecheck.files.measures import MEASURES
from vibecheck.units import SECONDS_PER_MINUTE

FEW_LINES = 8
"""A file with fewer lines than this may keep its records in one long line."""
MARKS = (";", "\t", ",", "|", None)
"""What may part the fields of a record; None is any run of blanks."""
SAMPLE_RECORDS = 400
UNIT_WORDS = frozenset({"s", "ms", "us", "ns", *MEASURES})
BLOCK_CHARACTERS = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Numbers of a log, one row a record.

    Attributes
    ----------
    numbers : ndarray of float64, shape (records, columns)
    headings : tuple of str
        One per column; empty when the log has none.
    preamble : tuple of str
        Lines before the headings and numbers.
    notes : tuple of str
        What was left out, in words.
    """

    numbers: NDArray[np.float64]
    headings: tuple[str, ...] = ()
    preamble: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read_table(path: Path) -> Table:
    """Read a text log: separators, decimal comma, headings and end marks are found, not asked."""
    text = _text(path)
    records, ended = _records(text)
    mark, comma = _mark(records, path.name)
    width = _width(records, mark, comma)
    first = _first_numbers(records, mark, comma, width)
    if width == 0 or first is None:
        raise RecordingError(
            "there is no table of numbers in it", "Give a log with one row a sample.", path.name
        )
    numbers, dropped = _numbers(records[first:], mark, comma, width)
    numbers, markers = _without_markers(numbers)
    notes = []
    if dropped:
        notes.append(
            f"{dropped} of {len(records) - first} rows could not be read and were left out"
        )
    if markers:
        notes.append(f"{markers} start or end marker(s) left out (every field the same)")
    if not ended:
        notes.append("the last row may be cut off")
    headings = _headings(records[:first], mark, width)
    before = tuple(records[: first - 1] if headings else records[:first])
    return Table(numbers=numbers, headings=headings, preamble=before, notes=tuple(notes))


def _text(path: Path) -> str:
    raw = path.read_bytes()
    if not raw.strip():
        raise RecordingError("the file is empty", "Record or copy it again.", path.name)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16")
    if b"\0" in raw[:BLOCK_CHARACTERS]:
        raise RecordingError("this is no text file", "Give a log of plain text.", path.name)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _records(text: str) -> tuple[list[str], bool]:
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) >= FEW_LINES:
        return lines, True
    for mark in (";", "|", "\t", " "):
        parts = [part for part in text.replace("\n", mark).split(mark) if part.strip()]
        counts = Counter(part.count(",") for part in parts)
        common, often = counts.most_common(1)[0] if counts else (0, 0)
        if len(parts) >= FEW_LINES and common >= 1 and often >= 0.9 * len(parts):
            return parts, text.rstrip().endswith(mark)
    return lines, True


def fields(record: str, mark: str | None, comma: bool) -> list[str]:
    """The fields of a record, with a decimal point whatever was written."""
    parts = record.strip().split(mark) if mark is None else record.split(mark)
    parts = [part.strip().strip("\"'") for part in parts]
    while parts and not parts[-1]:
        parts.pop()
    return [part.replace(",", ".") for part in parts] if comma else parts


def number(field: str) -> float | None:
    """A number, or the seconds of a clock time or date; None for anything else.

    >>> number("12:00:01.5")
    43201.5
    """
    try:
        return float(field)
    except ValueError:
        pass
    clock = re.fullmatch(r"(\d{1,2}):(\d\d):(\d\d(?:[.,:]\d+)?)", field)
    if clock:
        seconds = float(re.sub(r"[,:]", ".", clock[3]))
        minutes = int(clock[1]) * SECONDS_PER_MINUTE + int(clock[2])
        return minutes * SECONDS_PER_MINUTE + seconds
    if not re.match(r"\d{4}-\d\d-\d\d", field):
        return None
    try:
        return datetime.fromisoformat(field.replace(",", ".")).timestamp()
    except ValueError:
        return None


def _all_numbers(record: str, mark: str | None, comma: bool) -> int:
    parts = fields(record, mark, comma)
    return len(parts) if parts and all(number(part) is not None for part in parts) else 0


def _sample(records: Sequence[str]) -> Sequence[str]:
    step = max(len(records) // SAMPLE_RECORDS, 1)
    return records[::step]


def _mark(records: Sequence[str], name: str) -> tuple[str | None, bool]:
    """The mark that leaves most records all numbers; more fields decide between equals."""
    best: tuple[float, int, int, str | None, bool] = (0.0, 0, 0, None, False)
    for rank, mark in enumerate(MARKS):
        for comma in (False, True):
            if comma and mark == ",":
                continue
            widths = [_all_numbers(record, mark, comma) for record in _sample(records)]
            good = [width for width in widths if width]
            usual = Counter(good).most_common(1)[0][0] if good else 0
            score = (round(len(good) / len(widths), 2), usual, -rank, mark, comma)
            if score[:3] > best[:3]:
                best = score
    if best[0] < 0.2:
        raise RecordingError(
            "there is no table of numbers in it", "Give a log with one row a sample.", name
        )
    return best[3], best[4]


def _width(records: Sequence[str], mark: str | None, comma: bool) -> int:
    widths = Counter(_all_numbers(record, mark, comma) for record in _sample(records))
    del widths[0]
    return widths.most_common(1)[0][0] if widths else 0


def _first_numbers(records: Sequence[str], mark: str | None, comma: bool, width: int) -> int | None:
    for index, record in enumerate(records):
        if _all_numbers(record, mark, comma) >= width:
            return index
    return None


def _numbers(
    records: Sequence[str], mark: str | None, comma: bool, width: int
) -> tuple[NDArray[np.float64], int]:
    try:
        body = [record.replace(",", ".") for record in records] if comma else records
        table = np.loadtxt(body, delimiter=mark, usecols=range(width), ndmin=2, comments=None)
        return table, 0
    except ValueError:
        pass
    rows = []
    for record in records:
        row = [number(part) for part in fields(record, mark, comma)[:width]]
        if len(row) == width and None not in row:
            rows.append(row)
    return np.array(rows, dtype=np.float64).reshape(-1, width), len(records) - len(rows)


def _without_markers(numbers: NDArray[np.float64]) -> tuple[NDArray[np.float64], int]:
    """Leave out first and last rows that hold one value in all of three or more fields."""
    first, last = 0, len(numbers)
    if numbers.shape[1] >= 3:
        while first < last and np.ptp(numbers[first]) == 0 and numbers[first, 0] != 0:
            first += 1
        while last > first and np.ptp(numbers[last - 1]) == 0 and numbers[last - 1, 0] != 0:
            last -= 1
    return numbers[first:last], first + len(numbers) - last


def _headings(before: Sequence[str], mark: str | None, width: int) -> tuple[str, ...]:
    if not before:
        return ()
    parts = fields(before[-1].lstrip("#"), mark, False)
    if len(parts) < width or all(number(part) is not None for part in parts):
        return ()
    if all(part.strip("[]()").lower() in UNIT_WORDS for part in parts) and len(before) > 1:
        names = fields(before[-2].lstrip("#"), mark, False)
        if len(names) >= width:
            units = [part.strip("[]()") for part in parts]
            parts = [f"{name} ({unit})" for name, unit in zip(names, units, strict=False)]
    return tuple(parts[:width])
