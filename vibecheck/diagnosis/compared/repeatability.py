"""How far two measurements of the same thing differ when nothing changed, and what that allows.

Terms as in ISO 5725-1 (repeatability standard deviation s, repeatability limit 2.8 s) and the GUM
(standard uncertainty, degrees of freedom, effective degrees of freedom by Welch-Satterthwaite).

The model of one level, in decibels, of line l in take k::

    level = true level of the line + c_k (the whole take: how the sensor sat) + e_lk (this line)

``c`` is shared by every line of a take, and part of it may be shared by every position of a
sweep; ``e`` is the estimate's own noise plus what re-seating does to this line alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2, f

from vibecheck.diagnosis.compared.repeated_levels import Cell, line_residuals

Array = NDArray[np.float64]
RESEATING_DB = 1.5
"""Standard uncertainty allowed for seating the sensor once, when nobody measured it: two in three
re-seatings of a magnet within 1.5 dB, nearly all within 3 dB. Common practice, from memory; a
hand-held probe is worse."""
LIMIT_FACTOR = 2.8
"""Repeatability limit over repeatability standard deviation, 1.96 sqrt 2 (ISO 5725-6)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """Spread of levels when nothing was changed, in decibels.

    Attributes
    ----------
    take_db, take_dof : float
        Standard deviation shared by a whole take (seating), and its degrees of freedom.
    line_db : float
        Standard deviation of one line beyond the noise of its own estimate.
    line_dof : float
        Degrees of freedom behind the spread of a line on average ("prior" of Smyth 2004).
    measured : bool
        False when there were no repeats and the take's part is the stated allowance.
    """

    take_db: float
    take_dof: float
    line_db: float
    line_dof: float
    measured: bool

    @property
    def standard_deviation_db(self) -> float:
        """Repeatability standard deviation of one line in one take, its own noise left out."""
        return float(np.hypot(self.take_db, self.line_db))

    @property
    def limit_db(self) -> float:
        """Two single takes of an unchanged machine differ by less than this, 95 times in 100."""
        return LIMIT_FACTOR * self.standard_deviation_db


def repeatability_of(
    cells: list[Cell],
    *,
    reseated: bool = True,
    seat_db: float = RESEATING_DB,
    line_db: float = 1.0,
) -> Repeatability:
    """Learn the spread from every position that has repeats.

    Parameters
    ----------
    cells : list of Cell
    reseated : bool
        Whether the sensor was taken off and put back between repeats. If not, the repeats do not
        contain the seating and the stated allowance is added.
    seat_db, line_db : float
        Allowances, standard uncertainty: for seating the sensor once, when the repeats do not
        contain it; and for what re-seating does to one line alone, when nothing was repeated.

    Returns
    -------
    Repeatability
        From the allowance alone when nothing was repeated.
    """
    told = [cell for cell in cells if cell.spare > 0 and np.count_nonzero(cell.fit) >= 1]
    if not told:
        return Repeatability(
            take_db=seat_db, take_dof=inf, line_db=line_db, line_dof=inf, measured=False
        )
    take_variance, take_dof = _shared(told)
    line_variance, line_dof = _own(told)
    if not reseated:
        take_variance, take_dof = _added(take_variance, take_dof, seat_db**2)
    return Repeatability(
        take_db=sqrt(take_variance),
        take_dof=take_dof,
        line_db=sqrt(line_variance),
        line_dof=line_dof,
        measured=reseated,
    )


def _shared(cells: list[Cell]) -> tuple[float, float]:
    """Variance shared by all lines of a take, and its effective degrees of freedom.

    Seating may be new at every position or only at every sweep; the part that goes with the sweep
    is found from the repeats' order (first, second, third ... take at every position).
    """
    common = [cell.residuals()[cell.fit].mean(axis=0) for cell in cells]
    own = [
        float(np.mean(np.sum(line_residuals(cell)[cell.fit] ** 2, axis=1)) / cell.spare)
        / max(1, int(np.count_nonzero(cell.fit)))
        for cell in cells
    ]
    spare = sum(cell.spare for cell in cells)
    total = sum(float(np.sum(part**2)) for part in common) / spare
    leftover = float(np.average(own, weights=[cell.spare for cell in cells]))
    variance = max(total - leftover, 0.0)
    if variance == 0.0:
        return 0.0, float(spare)
    return variance, _shared_dof(cells, common, variance, spare)


def _shared_dof(cells: list[Cell], common: list[Array], variance: float, spare: int) -> float:
    """Between one sweep's degrees of freedom and those of all positions, as the takes show.

    The sweep's part is taken at its upper end (chance agreement of positions counts as agreement),
    which errs towards wider intervals when positions are few.
    """
    sizes = {(cell.before_db.shape[1], cell.after_db.shape[1]) for cell in cells}
    if len(cells) < 2:
        return float(cells[0].spare)
    if len(sizes) > 1:
        return float(max(cell.spare for cell in cells))
    along = np.mean(common, axis=0)
    sweep = min(float(np.sum(along**2)) / cells[0].spare, variance)
    rest = variance - sweep
    return variance**2 / (
        sweep**2 / cells[0].spare + rest**2 / max(spare - cells[0].spare, 1) + 1e-30
    )


def _own(cells: list[Cell]) -> tuple[float, float]:
    """Variance of an ordinary line beyond its own noise, and how alike lines are (prior freedom).

    From the middle half of the lines only: a few wild ones (two tones beating on one place) must
    not widen the rest; `spread_of` lets those stand on their own spread.
    """
    told = [cell for cell in cells if np.count_nonzero(cell.fit) >= 2]
    if not told:
        return 0.0, float(sum(cell.spare for cell in cells))
    squares = [np.sum(line_residuals(cell)[cell.fit] ** 2, axis=1) / cell.spare for cell in told]
    seen = np.maximum(np.concatenate(squares), 1e-9)
    noise = np.concatenate([cell.noise_variance[cell.fit] for cell in told])
    dof = np.concatenate(
        [np.full(part.size, float(cell.spare)) for part, cell in zip(squares, told, strict=True)]
    )
    usual = float(np.median(dof))
    beyond = _beyond(seen, noise, float(chi2.median(usual) / usual))
    freedom = _likeness(seen / (beyond + noise), usual, float(np.sum(dof)))
    return _beyond(seen, noise, float(f.median(usual, freedom))), freedom


def _beyond(seen: Array, noise: Array, middle: float) -> float:
    """Variance to add to the lines' noise so that the median ratio comes out as it should."""

    def excess(variance: float) -> float:
        return float(np.median(seen / (variance + noise + 1e-12))) - middle

    if excess(0.0) <= 0:
        return 0.0
    return float(brentq(excess, 0.0, float(seen.max()) / middle + 1.0))


def _likeness(ratios: Array, dof: float, ceiling: float) -> float:
    """Prior degrees of freedom at which log variance ratios scatter as seen (quantiles of F).

    Median to upper quantile: lines more restless than others are what makes false calls.
    """
    if ratios.size < 4:
        return max(ceiling - dof, 1.0)
    low, high = np.quantile(np.log(ratios), [0.5, 0.85])

    def excess(inverse: float) -> float:
        quartiles = np.asarray(f.ppf([0.5, 0.85], dof, 1.0 / inverse))
        return float(np.log(quartiles[1] / quartiles[0]) - (high - low))

    if excess(1.0 / ceiling) >= 0:
        return ceiling
    if excess(2.0) <= 0:
        return 0.5
    return 1.0 / float(brentq(excess, 1.0 / ceiling, 2.0))


def _added(variance: float, dof: float, allowance: float) -> tuple[float, float]:
    total = variance + allowance
    return total, total**2 / (variance**2 / dof) if variance > 0 else inf
