"""Levels of every compared line at one lever position, in dB, and which lines may be compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.block_spectra import Power
from vibecheck.diagnosis.compared.compared_lines import Line
from vibecheck.diagnosis.compared.line_levels import HEARD, Levels
from vibecheck.diagnosis.compared.line_listening import Listening
from vibecheck.diagnosis.compared.repeated_levels import Cell
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed

Array = NDArray[np.float64]
CLEAR_OF_FLOOR = 3.0
"""On its louder side a line must hold this many times the noise in its bins: nearer to the noise,
what happens to be in the same bins decides."""
BACKGROUND_SHARE = 0.5
"""A line with more than this share in the background take is not compared."""
DB = 10.0 / np.log(10.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComparedSide:
    """Takes of one side at one position that may be used, and the background's levels."""

    heard: tuple[TakeAtSpeed, ...]
    levels: tuple[Levels, ...]
    background: Levels | None


def cell_of(
    how: Listening, sides: Sequence[ComparedSide]
) -> tuple[Cell, tuple[str, ...], tuple[str, ...]]:
    """Levels in dB with their noise, and for each line whether it is a bound or left out."""
    count = len(how.lines)
    tables = [np.zeros((count, len(side.levels))) for side in sides]
    noises = [np.zeros((count, len(side.levels))) for side in sides]
    bounds, reasons = [], []
    for index, line in enumerate(how.lines):
        scale = 0.5 if line.domain == "envelope" else 1.0
        rows = [_row(side, index, line) for side in sides]
        audible = [row is not None and row.audible for row in rows]
        reason = _reason(rows, audible)
        bounds.append(_bound(audible))
        reasons.append(reason)
        for table, noise, row in zip(tables, noises, rows, strict=True):
            if row is not None:
                table[index] = scale * row.level_db
                noise[index] = scale * row.noise_db
    fit = np.array(
        [not bound and not reason for bound, reason in zip(bounds, reasons, strict=True)],
        dtype=bool,
    )
    cell = Cell(
        before_db=tables[0],
        after_db=tables[1],
        before_noise_db=noises[0],
        after_noise_db=noises[1],
        fit=fit,
    )
    return cell, tuple(bounds), tuple(reasons)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Row:
    """One line on one side: level and noise of each take, and whether it was heard at all."""

    level_db: Array
    noise_db: Array
    audible: bool
    background: bool
    over_floor: float


def _row(side: ComparedSide, index: int, line: Line) -> _Row | None:
    powers = [level.powers[index] for level in side.levels]
    told = [power for power in powers if power is not None]
    if len(told) < len(powers):
        return None
    ground = side.background.powers[index] if side.background is not None else None
    if line.domain != "spectrum":
        ground = None
    off, covered = _off(told, ground)
    value = np.array([power.value for power in told]) - off
    error = np.array([power.error for power in told])
    mean, mean_error = float(value.mean()), float(np.sqrt(np.sum(error**2)) / len(told))
    audible = mean > HEARD * mean_error and mean > 0
    least = HEARD * (error if audible else np.full(len(told), mean_error))
    level = np.maximum(value if audible else np.full(len(told), mean), np.maximum(least, 1e-30))
    noise = np.minimum(DB * error / level, DB)
    return _Row(
        level_db=DB * np.log(level),
        noise_db=noise,
        audible=bool(audible),
        background=covered,
        over_floor=mean / max(float(np.mean([power.floor for power in told])), 1e-30),
    )


def _off(told: Sequence[Power], ground: Power | None) -> tuple[float, bool]:
    """Mean square to subtract for the background, and whether it covers the line."""
    if ground is None or ground.value <= HEARD * ground.error:
        return 0.0, False
    mean = float(np.mean([power.value for power in told]))
    return ground.value, ground.value > BACKGROUND_SHARE * mean


def _bound(audible: Sequence[bool]) -> str:
    if all(audible) or not any(audible):
        return ""
    return "gone" if audible[0] else "new"


def _reason(rows: Sequence[_Row | None], audible: Sequence[bool]) -> str:
    if any(row is None for row in rows):
        return "outside what the recording carries, or its speed is not known"
    if not any(audible):
        return "not heard on either side"
    if max(row.over_floor for row in rows if row is not None) < CLEAR_OF_FLOOR:
        return "too near the noise on both sides"
    if any(row is not None and row.background for row in rows):
        return "the background makes this tone as well"
    return ""
