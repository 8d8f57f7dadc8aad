"""Logs of acceleration as text: phones, hobby boards, data loggers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vibecheck.errors import RecordingError, UsageError
from vibecheck.files.columns import Table, read_table
from vibecheck.files.measures import Measure, known_measure, measure
from vibecheck.files.stamps import TIME_UNITS, Even, even_without_stamps, evenly, time_unit
from vibecheck.recording import Recording, Support
from vibecheck.units import SECONDS_PER_MINUTE, STANDARD_GRAVITY

TIME_WORDS = re.compile(r"^(t|time|zeit|temps|timestamp|elapsed|seconds?|millis|micros)\b", re.I)
RATE_WORDS = re.compile(
    r"(?:sampl\w*[ _-]*(?:rate|freq\w*)|\bfs\b|\brate\b|\bodr\b)\D*?(\d+(?:[.]\d+)?)\s*(k)?", re.I
)
STILL_WITHIN = 0.1
"""How near a steady pull must be to one g before an untold unit is guessed from it."""


def read_log(
    path: Path,
    *,
    column: str | None = None,
    unit: str | None = None,
    rate_hz: float | None = None,
    time_column: str | None = None,
) -> Recording:
    """Read a text log of one or more columns, evenly or unevenly sampled.

    Parameters
    ----------
    path : Path
        Rows parted by line ends (or one long line of records), fields by any mark.
    column : str, optional
        Heading or number (from 1, time column included) of the column wanted; commas part several.
    unit : str, optional
        Unit of the numbers; otherwise from the headings, otherwise guessed from standing gravity,
        otherwise left open.
    rate_hz : float, optional
        For a log without time stamps.
    time_column : str, optional
        Heading or number of the time column, when the guess would be wrong.

    Returns
    -------
    Recording
        One channel per column; true rate, jitter, gaps and guesses in ``support.reasons``.
    """
    table = read_table(path)
    clock, used = _clock(table, time_column, path.name)
    wanted = _wanted(table, column, used, path.name)
    values = table.numbers[:, wanted]
    broken = int(np.count_nonzero(~np.isfinite(values)))
    if broken:
        raise RecordingError(
            f"{broken} entries are not numbers", "Export the log again.", path.name
        )
    even = _even(table, clock, table.numbers, rate_hz, path.name)
    free = [index for index in range(table.numbers.shape[1]) if index not in used]
    found = _measure(table, wanted, unit, even.samples[:, free])
    notes = [*table.notes, *even.notes, *found.notes, _columns_words(table, wanted)]
    return Recording(
        samples=np.ascontiguousarray((even.samples[:, wanted] * found.factor).T, dtype=np.float32),
        rate_hz=even.rate_hz,
        name=path.stem,
        quantity=found.quantity,
        unit=found.unit,
        support=Support(
            high_hz=even.high_hz if even.high_hz < even.rate_hz / 2 else 0.0,
            aliased=even.aliased,
            reasons=tuple(note for note in notes if note),
        ),
    )


def _even(
    table: Table,
    clock: NDArray[np.float64] | None,
    values: NDArray[np.float64],
    rate_hz: float | None,
    name: str,
) -> Even:
    if rate_hz is not None:
        return even_without_stamps(values, rate_hz)
    if clock is not None:
        return evenly(clock, values, name)
    told = _rate_told(table)
    if told is None:
        raise RecordingError(
            "the log has no time column and does not say how fast it was sampled",
            "Give the samples a second (--rate).",
            name,
        )
    return even_without_stamps(values, told)


def _rate_told(table: Table) -> float | None:
    for line in table.preamble:
        match = RATE_WORDS.search(line)
        if match and float(match[1]) > 0:
            return float(match[1]) * (1000.0 if match[2] else 1.0)
    return None


def _clock(
    table: Table, asked: str | None, name: str
) -> tuple[NDArray[np.float64] | None, tuple[int, ...]]:
    """Seconds of every row, and the columns they came from."""
    if asked is not None:
        index = _index(table, asked, name)
        return _seconds(table, index), (index,)
    columns = range(table.numbers.shape[1])
    running = [index for index in columns if _runs(table.numbers[:, index])]
    counters = tuple(i for i in running if np.all(np.diff(table.numbers[:, i]) == 1))
    headed = [i for i, heading in enumerate(table.headings) if TIME_WORDS.match(heading.strip())]
    for index in headed:
        if index in running:
            return _seconds(table, index), (index, *headed, *counters)
    if _is_clock(table.numbers):
        hours, minutes, seconds, micro = table.numbers[:, :4].T
        minutes = hours * SECONDS_PER_MINUTE + minutes
        return minutes * SECONDS_PER_MINUTE + seconds + micro * 1e-6, (0, 1, 2, 3)
    for index in (0, table.numbers.shape[1] - 1, *running):
        if index in running and index not in counters and table.numbers.shape[1] > 1:
            return _seconds(table, index), (index, *counters)
    return None, counters


def _runs(column: NDArray[np.float64]) -> bool:
    steps = np.diff(column)
    return bool(column[-1] > column[0] and np.mean(steps >= 0) > 0.98 and np.mean(steps > 0) > 0.1)


def _is_clock(numbers: NDArray[np.float64]) -> bool:
    """Hour, minute, second, microsecond as the first four columns."""
    if numbers.shape[1] < 5:
        return False
    first = numbers[:, :4]
    tops = np.array([23, 59, 59, 999_999])
    whole = np.all(first == np.round(first)) and np.all((first >= 0) & (first <= tops))
    return bool(whole and np.ptp(first[:, 0]) <= 1 and np.mean(np.diff(first[:, 3]) != 0) > 0.5)


def _seconds(table: Table, index: int) -> NDArray[np.float64]:
    stamps: NDArray[np.float64] = table.numbers[:, index]
    heading = table.headings[index].lower() if table.headings else ""
    told = re.search(r"[\[(_ ](s|sec\w*|ms|msec|us|µs|μs|ns)[\])]?\s*$", heading)
    if told:
        word = told[1].replace("µ", "u").replace("μ", "u")
        word = "ms" if word.startswith("ms") else "s" if word.startswith("s") else word
    elif named := re.search("milli|micro|nano", heading):
        word = {"milli": "ms", "micro": "us", "nano": "ns"}[named[0]]
    else:
        word = time_unit(stamps[np.isfinite(stamps)])
    since: NDArray[np.float64] = (stamps - stamps[0]) * TIME_UNITS[word]
    return since


def _index(table: Table, asked: str, name: str) -> int:
    folded = [heading.casefold() for heading in table.headings]
    if asked.casefold() in folded:
        return folded.index(asked.casefold())
    width = table.numbers.shape[1]
    if asked.isdigit() and 1 <= int(asked) <= width:
        return int(asked) - 1
    there = ", ".join(table.headings) if table.headings else f"1 to {width}"
    raise UsageError(f"no column {asked!r}", f"The columns are: {there}.", name)


def _wanted(table: Table, column: str | None, used: Sequence[int], name: str) -> list[int]:
    if column is not None:
        return [_index(table, part.strip(), name) for part in column.split(",")]
    free = [index for index in range(table.numbers.shape[1]) if index not in used]
    moving = [index for index in free if np.ptp(table.numbers[:, index]) > 0]
    if not free:
        raise RecordingError("there is no column besides the time", "Log the sensor too.", name)
    return moving or free


def _measure(
    table: Table, wanted: Sequence[int], unit: str | None, samples: NDArray[np.float64]
) -> Measure:
    if unit is not None:
        return measure(unit)
    if table.headings:
        for index in wanted:
            told = re.search(r"[\[(]([^\])]+)[\])]", table.headings[index])
            found = known_measure(told[1]) if told else None
            if found is not None:
                return found
    return _guessed(samples)


def _guessed(samples: NDArray[np.float64]) -> Measure:
    """Three axes that together feel one steady g are acceleration in the unit that makes it so."""
    means = samples.mean(axis=0)
    for first in range(len(means) - 2):
        pull = float(np.linalg.norm(means[first : first + 3]))
        for unit, one_g in (("m/s^2", STANDARD_GRAVITY), ("g", 1.0)):
            if abs(pull / one_g - 1) < STILL_WITHIN:
                note = f"unit not told; standing gravity reads {pull:.3g}, so taken as {unit}"
                return Measure(quantity="acceleration", unit=unit, notes=(note,))
    return Measure(
        quantity="unknown", unit="?", notes=("unit not told: levels are only comparable to itself",)
    )


def _columns_words(table: Table, wanted: Sequence[int]) -> str:
    if len(wanted) < 2:
        return ""
    names = [table.headings[i] if table.headings else f"column {i + 1}" for i in wanted]
    return "channels in order: " + ", ".join(names)
