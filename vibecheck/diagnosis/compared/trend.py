"""The history of every line of one machine over many sweeps, with the points where it changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.change import Comparison
from vibecheck.diagnosis.compared.comparison import compare
from vibecheck.diagnosis.compared.resolved_changes import resolved
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.machine.parts import Machine

FALSE_STEPS = 0.01
"""Largest share of false change points, all lines of all positions together."""
LEAST_STEP_DB = 1.0

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """One line at one lever position over the sweeps.

    Attributes
    ----------
    position, line : str
    sweeps : tuple of str
        Those in which it could be compared with the first, in order; the first leads.
    change_db, low_db, high_db : tuple of float
        Change against the first sweep and its 95 % interval; 0 for the first itself.
    standard_db : tuple of float
        Standard uncertainty of each change.
    changed_at : tuple of str
        Sweeps from which the level is another one.
    step_db : tuple of float
        By how much at each.
    """

    position: str
    line: str
    sweeps: tuple[str, ...]
    change_db: tuple[float, ...]
    low_db: tuple[float, ...]
    high_db: tuple[float, ...]
    standard_db: tuple[float, ...]
    changed_at: tuple[str, ...] = ()
    step_db: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Histories of all lines, those that changed first, and what could not be compared."""

    machine: str
    sweeps: tuple[str, ...]
    histories: tuple[History, ...]
    left_out: tuple[str, ...] = ()
    comparisons: Mapping[str, Comparison] | None = None


def trend(machine: Machine, sweeps: Mapping[str, Sequence[TakeAtSpeed]]) -> Trend:
    """Follow a machine over its sweeps.

    Parameters
    ----------
    machine : Machine
    sweeps : mapping of str to sequence of TakeAtSpeed
        In order of time; each is compared with the first.
    """
    names = tuple(sweeps)
    made = {name: compare(machine, sweeps[names[0]], sweeps[name]) for name in names[1:]}
    gathered: dict[tuple[str, str], list[tuple[str, float, float, float, float]]] = {}
    left_out = []
    for name, comparison in made.items():
        for position in comparison.positions:
            if position.obstacles:
                left_out.append(f"{name}, {position.position}: {position.obstacles[0].what}")
                continue
            for line in position.lines:
                if line.outcome in ("better", "worse", "same"):
                    gathered.setdefault((position.position, line.name), []).append(
                        (name, line.change_db, line.low_db, line.high_db, line.standard_db)
                    )
    histories = _with_steps([_history(names[0], *key, rows) for key, rows in gathered.items()])
    ranked = sorted(histories, key=lambda h: -max((abs(step) for step in h.step_db), default=0.0))
    return Trend(
        machine=machine.name,
        sweeps=names,
        histories=tuple(ranked),
        left_out=tuple(left_out),
        comparisons=made,
    )


def _history(
    first: str, position: str, line: str, rows: Sequence[tuple[str, float, float, float, float]]
) -> History:
    names, change, low, high, standard = zip(*rows, strict=True)
    return History(
        position=position,
        line=line,
        sweeps=(first, *names),
        change_db=(0.0, *change),
        low_db=(0.0, *low),
        high_db=(0.0, *high),
        standard_db=(float(np.median(standard)), *standard),
    )


def _with_steps(histories: Sequence[History]) -> list[History]:
    """Change points of all lines, found one after another and controlled together."""
    from dataclasses import replace

    best = [_best_step(np.array(h.change_db), _own(h)) for h in histories]
    called = resolved(np.array([chance for _, _, chance in best]), FALSE_STEPS)
    made = []
    for history, yes in zip(histories, called, strict=True):
        steps = change_points(np.array(history.change_db), _own(history)) if yes else []
        steps = [step for step in steps if abs(step[1]) >= LEAST_STEP_DB]
        made.append(
            replace(
                history,
                changed_at=tuple(history.sweeps[at] for at, _ in steps),
                step_db=tuple(size for _, size in steps),
            )
        )
    return made


def _own(history: History) -> Array:
    """Uncertainty of each sweep's own level: a change holds two of them."""
    return np.asarray(np.array(history.standard_db) / np.sqrt(2.0))


def change_points(levels_db: Array, errors_db: Array) -> list[tuple[int, float]]:
    """Where a history steps, and by how much: split in two where that helps most, then again.

    Parameters
    ----------
    levels_db, errors_db : ndarray, shape (sweeps,)

    Returns
    -------
    list of (int, float)
        Index of the first sweep at the new level, and the step in dB.

    Examples
    --------
    >>> [(at, round(step, 1)) for at, step in
    ...  change_points(np.array([0.0, 0.3, -0.2, 6.1, 5.8, 6.2]), np.full(6, 0.5))]
    [(3, 6.0)]
    """
    at, step, chance = _best_step(levels_db, errors_db)
    if at == 0 or chance > FALSE_STEPS:
        return []
    early = change_points(levels_db[:at], errors_db[:at])
    late = change_points(levels_db[at:], errors_db[at:])
    return [*early, (at, step), *((at + where, size) for where, size in late)]


def _best_step(levels: Array, errors: Array) -> tuple[int, float, float]:
    """The likeliest single step: index, size, and its chance for a history without one.

    The chance of the largest of n - 1 correlated differences is bounded by their number
    (Bonferroni).
    """
    from scipy.stats import norm

    best = (0, 0.0, 1.0)
    weights = 1.0 / errors**2
    for at in range(1, levels.size):
        one, other = slice(None, at), slice(at, None)
        step = float(
            np.average(levels[other], weights=weights[other])
            - np.average(levels[one], weights=weights[one])
        )
        error = float(np.sqrt(1 / weights[one].sum() + 1 / weights[other].sum()))
        chance = min(1.0, (levels.size - 1) * 2.0 * float(norm.sf(abs(step) / error)))
        if chance < best[2]:
            best = (at, step, chance)
    return best
