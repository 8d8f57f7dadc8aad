"""How well takes fit tables with other tooth counts, at a known scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.followed import fit_against
from vibecheck.diagnosis.speeds.track import Frames, short_spectra
from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import turning

MOST_TAKES = 4
"""Takes each table is held against."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialFits:
    """Takes to be held against tables; their short spectra are made once.

    ``scale`` is the machine's speed over the table's.
    """

    takes: Sequence[Ready]
    scale: float
    frames: dict[int, Frames] = field(default_factory=dict)

    def fit(self, machine: Machine, number: int) -> tuple[float, float]:
        """Sureness and support of one take, filed where it was, with the table of ``machine``."""
        take = self.takes[number]
        if number not in self.frames:
            mains = machine.supply.mains_hz
            self.frames[number] = short_spectra(take.slow, take.slow_hz, mains)
        here = turning(machine, machine.position(str(take.take.position)))
        return fit_against(take, self.frames[number], here, self.scale)


def some_of(numbers: Sequence[int]) -> list[int]:
    """At most ``MOST_TAKES`` of them, evenly.

    >>> some_of([3, 4, 7, 8, 9, 11, 12])
    [3, 7, 9, 12]
    """
    places = np.linspace(0, len(numbers) - 1, MOST_TAKES).round().astype(int)
    return [numbers[k] for k in sorted(set(places.tolist()))]
