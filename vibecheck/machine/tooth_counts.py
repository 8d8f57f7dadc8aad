"""Tooth counts from ratios: which whole numbers fit what was measured.

Pairs on the same two shafts have (mostly) one sum of teeth. Ratios measured to a tenth of a per
cent then leave few sets of whole numbers, and often one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log

Pair = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a head may hold (common practice: no measured law).

    ``smallest`` teeth on a gear, ``sums`` of a pair from and to, ``ratios`` driven over driver
    speed from and to.
    """

    smallest: int = 16
    sums: tuple[int, int] = (40, 130)
    ratios: tuple[float, float] = (0.2, 2.2)


LIMITS = Limits()


def sets_of_pairs(
    relative: Sequence[float],
    error: float,
    absolute: Mapping[int, tuple[float, float]] | None = None,
    limits: Limits = LIMITS,
) -> list[tuple[Pair, ...]]:
    """Sets of pairs of one lever, all of one sum, whose ratios stand to each other as measured.

    Parameters
    ----------
    relative : sequence of float
        Spindle speed with each setting, everything else the same, in any unit; at least two.
    error : float
        Relative error allowed in a quotient of two of them.
    absolute : mapping of int to (float, float), optional
        Index -> ratio of that pair itself (driven over driver speed) and its relative error, when
        the shafts on both sides were heard.
    limits : Limits

    Returns
    -------
    list of tuple of (int, int)
        Each with driver and driven teeth in the order of ``relative``.

    >>> sets_of_pairs([1.0, 32 / 44, 25 / 51], 1e-3, {0: (1.0, 2e-3)})[0]
    ((38, 38), (32, 44), (25, 51))
    """
    found = []
    for total in range(limits.sums[0], limits.sums[1] + 1):
        for first in _pairs_of_sum(total, limits):
            ratio = first[0] / first[1]
            if not _fits(ratio, (absolute or {}).get(0)):
                continue
            others = [
                _nearest_pair(ratio * speed / relative[0], total, error, limits)
                for speed in relative[1:]
            ]
            pairs = (first, *others)
            if None not in pairs and _absolute_fits(pairs, absolute or {}):
                found.append(pairs)
    return found  # type: ignore[return-value]


def _pairs_of_sum(total: int, limits: Limits) -> list[Pair]:
    low, high = limits.ratios
    return [
        (driver, total - driver)
        for driver in range(limits.smallest, total - limits.smallest + 1)
        if low <= driver / (total - driver) <= high
    ]


def _nearest_pair(ratio: float, total: int, error: float, limits: Limits) -> Pair | None:
    driver = round(total * ratio / (1.0 + ratio))
    driven = total - driver
    if driver < limits.smallest or driven < limits.smallest:
        return None
    low, high = limits.ratios
    made = driver / driven
    return (driver, driven) if low <= made <= high and abs(made / ratio - 1) <= error else None


def _fits(ratio: float, wanted: tuple[float, float] | None) -> bool:
    return wanted is None or abs(ratio / wanted[0] - 1.0) <= wanted[1]


def _absolute_fits(
    pairs: Sequence[Pair | None], absolute: Mapping[int, tuple[float, float]]
) -> bool:
    return all(
        pair is not None and _fits(pair[0] / pair[1], wanted)
        for pair, wanted in ((pairs[index], wanted) for index, wanted in absolute.items())
    )


def pairs_near(pair: Pair, ratio: float, error: float, most: int = 6, reach: int = 8) -> list[Pair]:
    """Tooth counts near ``pair`` that make ``ratio`` (driver over driven), likeliest first.

    The same sum first, as pairs on two shafts keep one sum; then the fewest teeth changed.

    >>> pairs_near((44, 40), 43 / 41, 1e-3)[0]
    (43, 41)
    """
    found = []
    for driver in range(max(6, pair[0] - reach), pair[0] + reach + 1):
        for driven in range(max(6, pair[1] - reach), pair[1] + reach + 1):
            if (driver, driven) != pair and abs(log(driver / driven) - log(ratio)) <= error:
                changed = abs(driver - pair[0]) + abs(driven - pair[1])
                other_sum = driver + driven != sum(pair)
                off = abs(log(driver / driven) - log(ratio))
                found.append((other_sum, changed, off, (driver, driven)))
    return [entry[-1] for entry in sorted(found)[:most]]


def ratio_after(pair: Pair, log_change: float) -> float:
    """Ratio (driver over driven) of a pair once corrected by a change in the logarithm."""
    return pair[0] / pair[1] * exp(log_change)
