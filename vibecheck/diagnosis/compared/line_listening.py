"""How all takes of one position are listened to: which lines, where, and in which band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.block_spectra import REACH_BINS
from vibecheck.diagnosis.compared.compared_lines import Line
from vibecheck.diagnosis.compared.take_spectra import SPEED_SLACK, Spectra, places_of, source_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """How all takes of one position are listened to: alike, before and after.

    Attributes
    ----------
    lines : tuple of Line
        As they can be told apart at this block length.
    block_s : float
    shifts : tuple of float
        Relative shift found for each line that may slip, 0 for the others.
    bands : tuple of (low, high) or None
        Envelope band each line is heard in, None for lines of the plain spectrum.
    """

    lines: tuple[Line, ...]
    block_s: float
    shifts: tuple[float, ...]
    bands: tuple[tuple[float, float] | None, ...]


def listening(
    lines: Sequence[Line],
    spectra: Sequence[Spectra],
    block_s: float,
    bands: Sequence[tuple[float, float]],
) -> Listening:
    """Settle shifts and bands from all takes together, and leave out what cannot be told apart."""
    told = _apart(lines, spectra)
    shifts, chosen = [], []
    for line in told:
        best_band = None
        if line.domain == "envelope":
            best_band = max(bands, key=lambda band: _salience(line, spectra, band), default=None)
        shifts.append(_shift(line, spectra, best_band))
        chosen.append(best_band)
    return Listening(lines=told, block_s=block_s, shifts=tuple(shifts), bands=tuple(chosen))


def _apart(lines: Sequence[Line], spectra: Sequence[Spectra]) -> tuple[Line, ...]:
    """Lines whose every component stands clear of the more important lines before them."""
    kept: list[Line] = []
    taken: dict[str, list[tuple[float, int]]] = {"spectrum": [], "envelope": []}
    for line in lines:
        if line.domain == "shape":
            kept.append(line)
            continue
        clash = _clash(line, spectra, taken[line.domain])
        if clash is not None:
            other = kept[clash]
            names = dict.fromkeys((*other.same_as, line.name))
            kept[clash] = replace(other, same_as=tuple(names))
            continue
        taken[line.domain] += [
            (place, len(kept)) for place in places_of(line, spectra[0].heard)[: _claims(line)]
        ]
        kept.append(line)
    return tuple(kept)


def _claims(line: Line) -> int:
    """How many components claim their place: of blows only the first, for shafts in whole ratio
    share the multiples."""
    return {"blows": 1, "bearing": 3}.get(line.sort, len(line.places))


def _clash(
    line: Line, spectra: Sequence[Spectra], taken: Sequence[tuple[float, int]]
) -> int | None:
    step = max(one.plain.step_hz for one in spectra)
    for place in places_of(line, spectra[0].heard)[: _claims(line)]:
        for other, index in taken:
            apart = 2 * REACH_BINS * step + SPEED_SLACK * place
            if abs(place - other) < apart:
                return index
    return None


def _salience(line: Line, spectra: Sequence[Spectra], band: tuple[float, float]) -> float:
    """How far a line stands out in a band, over all takes of both sides together."""
    shift = _shift(line, spectra, band)
    return float(_stands_out(line, spectra, band, np.array([shift]))[0])


def _shift(line: Line, spectra: Sequence[Spectra], band: tuple[float, float] | None) -> float:
    low, high = line.slip
    if low == high or line.domain == "shape":
        return 0.0
    sources = [source_of(one, band) for one in spectra]
    places = [max(places_of(line, one.heard), default=0.0) for one in spectra]
    if None in sources or min(places) <= 0:
        return 0.0
    step = min(s.step_hz for s in sources if s) / max(places)
    grid = np.arange(low, high + step / 2, step / 2)
    return float(grid[int(np.argmax(_stands_out(line, spectra, band, grid)))])


def _stands_out(
    line: Line, spectra: Sequence[Spectra], band: tuple[float, float] | None, grid: Array
) -> Array:
    total = np.zeros(grid.size)
    for one in spectra:
        source = source_of(one, band)
        if source is None:
            continue
        mean = source.mean()
        for place in places_of(line, one.heard):
            bins = np.rint(place * (1.0 + grid) / source.step_hz).astype(np.intp)
            near = np.clip(bins, 1, mean.size - 2)
            around = mean[max(1, near.min() - 30) : near.max() + 31]
            level = float(np.median(around)) if around.size else 1.0
            value = (mean[near - 1] + mean[near] + mean[near + 1]) / max(3.0 * level, 1e-30)
            total += np.log(np.maximum(value, 1.0))
    return total
