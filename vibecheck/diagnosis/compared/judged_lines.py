"""Every line of one lever position with its change, its interval, and what may be called of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.change import LineChange, Outcome
from vibecheck.diagnosis.compared.compared_lines import Domain
from vibecheck.diagnosis.compared.compared_position import ComparedPosition
from vibecheck.diagnosis.compared.repeatability import Repeatability
from vibecheck.diagnosis.compared.repeated_levels import Cell
from vibecheck.diagnosis.compared.resolved_changes import (
    Spread,
    change_chances,
    interval_factor,
    spread_of,
)

LEAST_WORTH_SAYING_DB = 1.0
"""A change below this is never called one, however well it is resolved (judgement)."""
MIXING_DB = 5.6
"""Standard deviation of the level of two equal tones of one frequency in random phase, dB:
10/ln 10 times pi/sqrt 6, as for the power of noise (definition)."""


def domain_cell(m: ComparedPosition, domain: Domain) -> Cell:
    """The lines of one domain, which spread alike."""
    chosen = np.array([line.domain == domain for line in m.how.lines], dtype=bool)
    return _rows_of(m.cell, chosen)


def _rows_of(cell: Cell, chosen: NDArray[np.bool_]) -> Cell:
    return Cell(
        before_db=cell.before_db[chosen],
        after_db=cell.after_db[chosen],
        before_noise_db=cell.before_noise_db[chosen],
        after_noise_db=cell.after_noise_db[chosen],
        fit=cell.fit[chosen],
    )


def line_changes(m: ComparedPosition, known: Mapping[Domain, Repeatability]) -> list[LineChange]:
    """Change, interval and chance of every line of one position; outcomes are not yet called."""
    found: list[LineChange | None] = [None] * len(m.how.lines)
    for domain, spread_known in known.items():
        rows = [i for i, line in enumerate(m.how.lines) if line.domain == domain]
        if not rows:
            continue
        cell = domain_cell(m, domain)
        mixed = np.array([m.how.lines[row].mixed for row in rows])
        spread = _with_mixing(spread_of(cell, spread_known), mixed)
        change = cell.change_db
        half = interval_factor(spread.dof) * spread.standard_db
        chance = change_chances(change, spread, cell.fit & ~mixed)
        for k, row in enumerate(rows):
            found[row] = _line_change(
                m, row, cell, k, change[k], half[k], spread.standard_db[k], spread.dof[k], chance[k]
            )
    return [line for line in found if line is not None]


def _with_mixing(spread: Spread, mixed: NDArray[np.bool_]) -> Spread:
    """Room for the unknown phase between sources of one frequency, once for each side."""
    extra = np.where(mixed, 2.0 * MIXING_DB**2, 0.0)
    return Spread(
        standard_db=np.sqrt(spread.standard_db**2 + extra),
        dof=spread.dof,
        own_db=np.sqrt(spread.own_db**2 + extra),
        own_dof=spread.own_dof,
    )


def _line_change(
    m: ComparedPosition,
    row: int,
    cell: Cell,
    k: int,
    change: float,
    half: float,
    standard: float,
    dof: float,
    chance: float,
) -> LineChange:
    line, bound, reason = m.how.lines[row], m.bounds[row], m.reasons[row]
    if (bound == "gone" and change > 0) or (bound == "new" and change < 0):
        chance = 1.0
    quiet = reason.startswith(("not heard", "too near"))
    outcome: Outcome = "not heard" if quiet else "not comparable"
    return LineChange(
        name=line.name,
        sort=line.sort,
        parts=line.parts,
        same_as=line.same_as,
        before_db=float(cell.before_db[k].mean()),
        after_db=float(cell.after_db[k].mean()),
        change_db=float(change),
        low_db=float(change - half),
        high_db=float(change + half),
        standard_db=float(standard),
        dof=float(dof),
        chance=float(chance),
        bound=bound,  # type: ignore[arg-type]
        outcome=outcome,
        reason=reason,
        band_hz=m.how.bands[row],
    )


def outcome_of(line: LineChange, yes: bool) -> LineChange:
    """The line with its outcome, once all lines together tell whether its change is resolved."""
    if not yes:
        return replace(line, outcome="same")
    if abs(line.change_db) < LEAST_WORTH_SAYING_DB:
        return replace(
            line,
            outcome="same",
            reason=f"resolved, but below {LEAST_WORTH_SAYING_DB:g} dB: too little to matter",
        )
    return replace(line, outcome="worse" if line.change_db > 0 else "better")
