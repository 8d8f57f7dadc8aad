"""Several cuts together: what stays the same from cut to cut says what kind of cause it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import hypot, sqrt
from typing import Literal

from vibecheck.finish.marks import Possibility, Reading
from vibecheck.finish.naming import Candidate, fit

CHANGED = 0.2
"""Feeds or speeds that differ by less than this fraction are no second cut."""

Kind = Literal["fixed hertz", "fixed multiple", "fixed millimetres"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """Something that stayed the same over all cuts, within the limits of error.

    Attributes
    ----------
    kind : str
        "fixed hertz": mains, motor, belt, structure, or a shaft the levers did not change.
        "fixed multiple": turns with the spindle. "fixed millimetres": the carriage.
    value, uncertainty : float
        In hertz, waves a turn, or millimetres.
    worst : float
        Largest miss of any cut over its limit of error; 0 is perfect, 1 just allowed.
    chosen : tuple of Possibility
        The possibility taken at each cut; empty for fixed millimetres.
    """

    kind: Kind
    value: float
    uncertainty: float
    worst: float
    chosen: tuple[Possibility, ...] = ()


def steady(readings: Sequence[Reading]) -> tuple[Steady, ...]:
    """Everything that could have stayed the same over two or more cuts, best first.

    Empty for fewer than two cuts, or when nothing fits all of them. Cuts at the same speed say
    nothing about hertz against multiples; cuts at the same feed say nothing about millimetres.
    Refused readings take part only in the millimetres.
    """
    found: list[Steady] = []
    if len(readings) < 2:
        return ()
    if _changed([r.cut.feed_mm for r in readings]):
        found += _fixed_millimetres(readings)
    usable = [r for r in readings if not r.refusal]
    if len(usable) == len(readings) and not found:
        ways = list(product(*(r.possibilities for r in usable)))
        differ = _changed([r.cut.rpm for r in usable])
        found += [s for way in ways if (s := _fixed("fixed hertz", way))]
        if differ:
            found += [s for way in ways if (s := _fixed("fixed multiple", way))]
    return tuple(sorted(found, key=lambda item: item.worst))


def _changed(values: Sequence[float]) -> bool:
    return max(values) / min(values) - 1 >= CHANGED


def _fixed(kind: Kind, way: Sequence[Possibility]) -> Steady | None:
    if kind == "fixed hertz":
        pairs = [(p.hz, p.hz_uncertainty) for p in way]
    else:
        pairs = [(p.waves, p.waves_uncertainty) for p in way]
    value, uncertainty, worst = _mean(pairs)
    if worst > 1:
        return None
    return Steady(kind=kind, value=value, uncertainty=uncertainty, worst=worst, chosen=tuple(way))


def _fixed_millimetres(readings: Sequence[Reading]) -> list[Steady]:
    """Spacing that stayed although the feed changed; marks with a count round do not qualify."""
    pairs = [
        (r.marks.spacing_mm, r.marks.spacing_limit_mm)
        for r in readings
        if r.marks.spacing_mm is not None and not r.marks.count
    ]
    if len(pairs) < len(readings):
        return []
    value, uncertainty, worst = _mean(pairs)
    if worst > 1:
        return []
    return [Steady(kind="fixed millimetres", value=value, uncertainty=uncertainty, worst=worst)]


def _mean(pairs: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """Weighted mean, its limit, and the largest miss over its own limit."""
    floor = 1e-9
    weights = [1 / max(limit, floor) ** 2 for _, limit in pairs]
    mean = sum(w * v for w, (v, _) in zip(weights, pairs, strict=True)) / sum(weights)
    worst = max(abs(v - mean) / max(limit, floor) for v, limit in pairs)
    return mean, 1 / sqrt(sum(weights)), worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Common:
    """A named source that fits every cut; ``worst`` as in Steady."""

    name: str
    hz: tuple[float, ...]
    worst: float


def common(
    readings: Sequence[Reading], candidates: Sequence[Sequence[Candidate]]
) -> tuple[Common, ...]:
    """Sources whose tone fits the marks at **every** cut, best first.

    Parameters
    ----------
    readings : sequence of Reading
        One a cut, none refused (a refused one leaves nothing).
    candidates : sequence of sequences of Candidate
        For each cut the tones at its own lever position; joined by name.
    """
    tables = [{c.name: c for c in listed} for listed in candidates]
    if not tables or any(r.refusal for r in readings):
        return ()
    found = []
    for name in tables[0]:
        misses, tones = [], []
        for reading, table in zip(readings, tables, strict=True):
            best = _best(reading, table.get(name))
            if best is None:
                break
            misses.append(best)
            tones.append(table[name].hz)
        else:
            found.append(Common(name=name, hz=tuple(tones), worst=max(misses)))
    return tuple(sorted(found, key=lambda item: item.worst))


def _best(reading: Reading, candidate: Candidate | None) -> float | None:
    if candidate is None:
        return None
    fits = [f for p in reading.possibilities if (f := fit(p, candidate, reading.cut))]
    return min((abs(f.miss_hz) / f.limit_hz for f in fits), default=None)


def apart(
    first: Mapping[str, tuple[float, float]], limit: float = 1.0
) -> tuple[tuple[str, ...], ...]:
    """Group names whose (value, limit of error) overlap: within a group nothing tells them apart.

    >>> apart({"a": (5.5, 0.1), "b": (5.55, 0.1), "c": (7.0, 0.1)})
    (('a', 'b'), ('c',))
    """
    groups: list[tuple[str, ...]] = []
    for name in sorted(first, key=lambda key: first[key][0]):
        value, error = first[name]
        if groups:
            last_value, last_error = first[groups[-1][-1]]
            if value - last_value <= limit * hypot(error, last_error):
                groups[-1] = (*groups[-1], name)
                continue
        groups.append((name,))
    return tuple(groups)
