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
from scipy.stats import chi2, f, norm, t

Array = NDArray[np.float64]

RESEATING_DB = 1.5
"""Standard uncertainty allowed for seating the sensor once, when nobody measured it: two in three
re-seatings of a magnet within 1.5 dB, nearly all within 3 dB. Common practice, from memory; a
hand-held probe is worse."""
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell:
    """Levels of every line at one lever position, both sides.

    Attributes
    ----------
    before_db, after_db : ndarray, shape (lines, takes of that side)
    before_noise_db, after_noise_db : ndarray, same shapes
        Standard uncertainty of each level from the take's own noise.
    fit : ndarray of bool, shape (lines,)
        Lines heard on both sides, from which a spread may be learned.
    """

    before_db: Array
    after_db: Array
    before_noise_db: Array
    after_noise_db: Array
    fit: NDArray[np.bool_]

    @property
    def lines(self) -> int:
        """How many lines."""
        return int(self.before_db.shape[0])

    @property
    def spare(self) -> int:
        """Repeats beyond the first on each side: the degrees of freedom of each line's spread."""
        return int(self.before_db.shape[1] + self.after_db.shape[1] - 2)

    @property
    def change_db(self) -> Array:
        """Mean after less mean before."""
        return np.asarray(self.after_db.mean(axis=1) - self.before_db.mean(axis=1))

    @property
    def weight(self) -> float:
        """Variance of a mean difference over that of one take: 1/m + 1/n."""
        return float(1.0 / self.before_db.shape[1] + 1.0 / self.after_db.shape[1])

    @property
    def noise_variance(self) -> Array:
        """Mean square of the takes' own noise, each line."""
        both = np.concatenate([self.before_noise_db, self.after_noise_db], axis=1)
        return np.asarray(np.mean(both**2, axis=1))

    def residuals(self) -> Array:
        """Levels less the mean of their side, shape (lines, takes of both sides)."""
        sides = (self.before_db, self.after_db)
        parts = [part - part.mean(axis=1, keepdims=True) for part in sides]
        return np.asarray(np.concatenate(parts, axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """Standard uncertainty of each line's change and its degrees of freedom, shape (lines,).

    ``own_db`` and ``own_dof`` are the part that is the line's own, the take's left out.
    """

    standard_db: Array
    dof: Array
    own_db: Array
    own_dof: Array


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
        measured = np.sum(_line_residuals(cell) ** 2, axis=1) / own
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


def _line_residuals(cell: Cell) -> Array:
    """Residuals with the part shared by all fit lines of a take removed, rescaled for it."""
    residuals = cell.residuals()
    count = int(np.count_nonzero(cell.fit))
    if count < 2:
        return np.zeros_like(residuals)
    common = residuals[cell.fit].mean(axis=0)
    return np.asarray((residuals - common) * sqrt(count / (count - 1.0)))


def _shared(cells: list[Cell]) -> tuple[float, float]:
    """Variance shared by all lines of a take, and its effective degrees of freedom.

    Seating may be new at every position or only at every sweep; the part that goes with the sweep
    is found from the repeats' order (first, second, third ... take at every position).
    """
    common = [cell.residuals()[cell.fit].mean(axis=0) for cell in cells]
    own = [
        float(np.mean(np.sum(_line_residuals(cell)[cell.fit] ** 2, axis=1)) / cell.spare)
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
    squares = [np.sum(_line_residuals(cell)[cell.fit] ** 2, axis=1) / cell.spare for cell in told]
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
