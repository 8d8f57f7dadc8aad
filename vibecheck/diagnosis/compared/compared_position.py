"""Everything read at one lever position of two sweeps, ready for statistics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.compared.comparability import (
    Obstacle,
    alike_obstacle,
    moved_alike,
    pair_obstacles,
    take_obstacle,
)
from vibecheck.diagnosis.compared.compared_levels import ComparedSide, cell_of
from vibecheck.diagnosis.compared.compared_lines import Line, lines_of
from vibecheck.diagnosis.compared.line_levels import Levels, levels_of
from vibecheck.diagnosis.compared.line_listening import Listening, listening
from vibecheck.diagnosis.compared.repeated_levels import Cell
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.diagnosis.compared.take_spectra import (
    block_seconds,
    common_gain,
    octaves,
    spectra_of,
)
from vibecheck.machine.train import Turning
from vibecheck.spectra.spectrum import Spectrum


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ComparedPosition:
    """Everything read at one position, ready for the statistics of the whole pair."""

    label: str
    how: Listening
    before: ComparedSide
    after: ComparedSide
    obstacles: tuple[Obstacle, ...]
    left_out: tuple[str, ...]
    cell: Cell
    bounds: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Lines that enter the comparison."""
        return np.array([reason == "" for reason in self.reasons], dtype=bool)


def compared_at(
    at: Turning,
    before: Sequence[TakeAtSpeed],
    after: Sequence[TakeAtSpeed],
    grounds: Sequence[Sequence[TakeAtSpeed]],
    extra_hz: Sequence[float],
) -> ComparedPosition:
    """Read both sides at one position: what stands in the way, and every line's level and noise."""
    lines = lines_of(at, extra_hz)
    kept, refusals, barred = [], [], False
    for side in (before, after):
        found = [(heard, take_obstacle(heard)) for heard in side]
        fit = [heard for heard, obstacle in found if obstacle is None]
        refusals += [obstacle for _, obstacle in found if obstacle is not None]
        barred = barred or not fit
        kept.append(fit or list(side))
    obstacles = [*(refusals if barred else ()), *pair_obstacles(*kept)]
    sides, how = _read(lines, kept, grounds)
    moved = moved_alike(sides[0].levels, sides[1].levels)
    if moved and not obstacles:
        obstacles = [alike_obstacle(moved)]
    cell, bounds, reasons = cell_of(how, sides)
    return ComparedPosition(
        label=at.label,
        how=how,
        before=sides[0],
        after=sides[1],
        obstacles=tuple(obstacles),
        left_out=() if barred else tuple(obstacle.what for obstacle in refusals),
        cell=cell,
        bounds=bounds,
        reasons=reasons,
    )


def _read(
    lines: Sequence[Line],
    kept: Sequence[Sequence[TakeAtSpeed]],
    grounds: Sequence[Sequence[TakeAtSpeed]],
) -> tuple[list[ComparedSide], Listening]:
    every = [heard for side in kept for heard in side]
    block_s = block_seconds(every, lines)
    gain = common_gain(every)
    rate = min(heard.rate_hz for heard in every)
    top = min(heard.take.recording.top_hz for heard in every)
    needed = any(line.domain == "envelope" for line in lines)
    bands = octaves(rate, top) if needed and top > 700 else ()
    spectra = [[spectra_of(heard, lines, block_s, gain, bands) for heard in side] for side in kept]
    how = listening(lines, [one for side in spectra for one in side], block_s, bands)
    sides = []
    for side, takes, ground in zip(spectra, kept, grounds, strict=True):
        sides.append(
            ComparedSide(
                heard=tuple(takes),
                levels=tuple(levels_of(one, how) for one in side),
                background=_background(how, takes[0], ground, gain),
            )
        )
    return sides, how


def _background(
    how: Listening, like: TakeAtSpeed, ground: Sequence[TakeAtSpeed], gain: Spectrum
) -> Levels | None:
    """Background levels at the places where this position's lines are."""
    fitting = [g for g in ground if g.take.position in (None, like.take.position)]
    if not fitting:
        return None
    take = fitting[0].take
    if take.recording.seconds < how.block_s:
        return None
    quiet = TakeAtSpeed(take=take, speeds_hz=like.speeds_hz, channel=fitting[0].channel)
    plain = spectra_of(quiet, how.lines, how.block_s, gain, ())
    return levels_of(plain, how)
