"""Which lines pin the speed of a rigid group, and how well a spectrum shows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PinningLines:
    """Lines whose place tells a group's speed, as multiples of that speed.

    Attributes
    ----------
    orders, weights : ndarray, shape (lines,)
        Harmonics of every loaded mesh first; idling pairs weigh half.
    group : str
    """

    group: str
    orders: Floats
    weights: Floats

    def __len__(self) -> int:
        return int(self.orders.size)


def pinning_lines(
    turning: Turning, group: str, top_hz: float, *, harmonics: int = 7
) -> PinningLines:
    """Tooth tones of one rigid group, of gears and of toothed belts, below ``top_hz`` at the
    table's speed.

    Coinciding lines are counted once, so that two meshes at one frequency do not vote twice. A
    toothed belt left out would pass for a pair of gears, some per cent beside it.
    """
    nominal = turning.groups[group].nominal_hz
    found: dict[float, float] = {}
    tones = [
        (mesh.order, 1.0 if mesh.loaded else 0.5)
        for mesh in turning.meshes
        if mesh.group == group and mesh.order is not None
    ]
    for first, heavy in [*tones, *((order, 1.0) for order in _belt_teeth(turning, group))]:
        for harmonic in range(1, harmonics + 1):
            order = harmonic * first
            if nominal is not None and order * nominal > top_hz:
                break
            weight = heavy / harmonic**0.5
            key = next((known for known in found if abs(known / order - 1.0) < 1e-3), order)
            found[key] = max(found.get(key, 0.0), weight)
    orders = np.array(sorted(found))
    return PinningLines(group=group, orders=orders, weights=np.array([found[o] for o in orders]))


def _belt_teeth(turning: Turning, group: str) -> list[float]:
    """Teeth a turn of the group's first rotor that toothed belts of known pulleys pass."""
    return [
        teeth * turning.rotors[work.driver].ratio
        for work in turning.belts
        if work.belt.toothed
        and turning.rotors[work.driver].group == group
        and (teeth := work.belt.driver_teeth.value)
    ]


def anchor_group(turning: Turning) -> str | None:
    """The group with most meshes of known order: the one whose speed is easiest to hear."""
    counts: dict[str, int] = {}
    for mesh in turning.meshes:
        if mesh.order is not None and turning.groups[mesh.group].nominal_hz is not None:
            counts[mesh.group] = counts.get(mesh.group, 0) + (2 if mesh.loaded else 1)
    return max(counts, key=lambda name: counts[name]) if counts else None


def comb_scores(
    significance: NDArray[np.float32], step_hz: float, base_hz: Floats, lines: PinningLines
) -> NDArray[np.float32]:
    """How well each trial speed explains each frame.

    Parameters
    ----------
    significance : ndarray, shape (frames, bins)
        Capped log power over the local floor.
    step_hz : float
        Width of a bin.
    base_hz : ndarray, shape (trials,)
        Trial speeds of the group's first rotor.
    lines : PinningLines

    Returns
    -------
    ndarray, shape (frames, trials)
        Weighted mean significance at the places where lines should be.
    """
    bins = significance.shape[1]
    total = np.zeros((significance.shape[0], base_hz.size), dtype=np.float32)
    for order, weight in zip(lines.orders, lines.weights, strict=True):
        place = base_hz * (order / step_hz)
        left = np.clip(place.astype(int), 0, bins - 2)
        share = np.clip(place - left, 0.0, 1.0).astype(np.float32)
        heard = significance[:, left] * (1 - share) + significance[:, left + 1] * share
        total += np.float32(weight) * heard
    return total / np.float32(max(lines.weights.sum(), 1e-9))
