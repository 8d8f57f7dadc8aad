"""Which changes stand clear of what repeats show, with all lines controlled together."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f, norm, t

from vibecheck.diagnosis.compared.repeatability import Repeatability
from vibecheck.diagnosis.compared.repeated_levels import Cell, line_residuals

Array = NDArray[np.float64]
FALSE_CHANGES = 0.01
"""Chance of even one false "better" or "worse" in a whole comparison."""
WILD = 0.02
"""A line whose spread is less likely than this beside the others' stands on its own spread."""
BY_ITSELF = 0.01
"""Chance a change must have by itself, uncontrolled, before it is held against the others."""
FEWEST_BESIDE = 8
"""Lines a take must hold before one is held against the others."""
SEATING_AT_MOST = 2.5
"""Standard uncertainties a common change may have and still be laid to seating."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """Standard uncertainty of each line's change and its degrees of freedom, shape (lines,).

    ``own_db`` and ``own_dof`` are the part that is the line's own, the take's left out.
    """

    standard_db: Array
    dof: Array
    own_db: Array
    own_dof: Array


def spread_of(cell: Cell, known: Repeatability) -> Spread:
    """Standard uncertainty of every line's change at one position.

    A line's own spread, from few repeats, is drawn towards that of all lines as far as their
    likeness warrants (moderated variance: Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3:3; wild lines
    set apart: Phipson et al. 2016, Ann. Appl. Stat. 10:946), then joined with the part all lines
    of a take share.
    """
    expected = known.line_db**2 + cell.noise_variance
    line, line_dof = expected, np.full(cell.lines, known.line_dof)
    if cell.spare > 0 and np.isfinite(known.line_dof):
        own = float(cell.spare)
        measured = np.sum(line_residuals(cell) ** 2, axis=1) / own
        total = known.line_dof + own
        pulled = (known.line_dof * expected + own * measured) / total
        wild = f.sf(measured / np.maximum(expected, 1e-12), own, known.line_dof) < WILD
        line = np.where(cell.fit, np.where(wild, measured, pulled), expected)
        line_dof = np.where(cell.fit, np.where(wild, own, total), known.line_dof)
    take = np.full(cell.lines, known.take_db**2)
    variance = line + take
    with np.errstate(divide="ignore", invalid="ignore"):
        dof = variance**2 / (line**2 / line_dof + take**2 / known.take_dof)
    dof = np.where(np.isfinite(dof), dof, 1e6)
    return Spread(
        standard_db=np.sqrt(variance * cell.weight),
        dof=np.maximum(dof, 1.0),
        own_db=np.sqrt(line * cell.weight),
        own_dof=np.clip(line_dof, 1.0, 1e6),
    )


def interval_factor(dof: Array, confidence: float = 0.95) -> Array:
    """Half-width of a two-sided interval over the standard uncertainty (GUM annex G).

    >>> [round(float(k), 2) for k in interval_factor(np.array([4.0, 30.0]))]
    [2.78, 2.04]
    """
    return np.asarray(t.ppf(0.5 + confidence / 2, dof))


def two_sided(change_db: Array, spread: Spread) -> Array:
    """Chance of a change at least this large, either way, when nothing changed."""
    return np.asarray(2.0 * t.sf(np.abs(change_db) / spread.standard_db, spread.dof))


def change_chances(change_db: Array, spread: Spread, fit: NDArray[np.bool_]) -> Array:
    """Chance of each change when nothing changed, shape (lines,).

    What most lines of a take did together is how the sensor sat, as long as it is no more than
    seating does; a change is one line's own only if it stands out from that. It must also be a
    change by itself, seating and all: a line that stayed while all others fell has not risen.
    """
    plain = two_sided(change_db, spread)
    return np.where(plain < BY_ITSELF, _beside_others(change_db, spread, fit), 1.0)


def _beside_others(change_db: Array, spread: Spread, fit: NDArray[np.bool_]) -> Array:
    count = int(np.count_nonzero(fit))
    if count < FEWEST_BESIDE:
        return two_sided(change_db, spread)
    common = float(np.median(change_db[fit]))
    error = 1.2533 * float(np.median(spread.own_db[fit])) / sqrt(count)
    take = float(np.sqrt(np.median(spread.standard_db[fit] ** 2 - spread.own_db[fit] ** 2)))
    if abs(common) > SEATING_AT_MOST * max(take, 1e-9):
        return two_sided(change_db, spread)
    own = np.hypot(spread.own_db, error)
    return np.asarray(2.0 * t.sf(np.abs(change_db - common) / own, spread.own_dof))


def resolved(chances: Array, rate: float = FALSE_CHANGES) -> NDArray[np.bool_]:
    """Which of many comparisons to call changed, all controlled together.

    Holm 1979, Scand. J. Statist. 6:65: whatever truly changed, the chance that even one line is
    called falsely is at most ``rate``.

    >>> resolved(np.array([0.001, 0.2, 0.004, 0.9])).tolist()
    [True, False, False, False]
    """
    chances = np.asarray(chances, dtype=float)
    called = np.zeros(chances.size, dtype=bool)
    order = np.argsort(chances)
    limits = rate / np.arange(chances.size, 0, -1)
    failed = np.flatnonzero(chances[order] > limits)
    called[order[: int(failed[0]) if failed.size else chances.size]] = True
    return called


def smallest_change_db(
    known: Repeatability,
    noise_db: float,
    *,
    before: int,
    after: int,
    lines: int,
    power: float = 0.8,
) -> float:
    """Change of a single line that such a pair of sweeps would have called, four times in five.

    Parameters
    ----------
    known : Repeatability
    noise_db : float
        The takes' own noise for a typical line.
    before, after : int
        Takes of each side at a position.
    lines : int
        Comparisons made together; one lone change must pass the strictest threshold.

    Examples
    --------
    >>> calm = Repeatability(take_db=1.0, take_dof=30, line_db=0.5, line_dof=30, measured=True)
    >>> round(smallest_change_db(calm, 0.0, before=3, after=3, lines=300), 1)
    3.2
    """
    own = known.line_db**2 + noise_db**2
    variance = known.take_db**2 + own
    share = known.take_db**2 / variance if variance > 0 else 1.0
    line_dof = max(known.line_dof + before + after - 2, 1.0)
    dof = 1.0 / (share**2 / max(known.take_dof, 1.0) + (1 - share) ** 2 / line_dof + 1e-9)
    strict, some = 1.0 - FALSE_CHANGES / max(lines, 1) / 2, float(norm.ppf(power))
    weight = 1 / before + 1 / after
    by_itself = (float(t.ppf(1.0 - BY_ITSELF / 2, dof)) + some) * sqrt(variance * weight)
    beside = (float(t.ppf(strict, line_dof)) + some) * sqrt(own * weight)
    alone = (float(t.ppf(strict, dof)) + some) * sqrt(variance * weight)
    return max(by_itself, beside) if lines >= FEWEST_BESIDE else alone
