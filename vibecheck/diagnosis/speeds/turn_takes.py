"""Takes of a sweep as their shafts' own turns tell them, and when takes agree on a speed.

A speed is sought over all takes at trial scales to the expected one; scales outside every window
are the decoys. One that decoys could have made, or that has a rival nearby, is not used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.speeds.turn_combs import spread_out
from vibecheck.diagnosis.speeds.turn_tracks import TurnSpeed
from vibecheck.machine.train import Turning
from vibecheck.spectra.combs import SlowSignals

Floats = NDArray[np.float64]

STEP = 1e-4
SCALES = np.arange(-0.16, 0.16, STEP)
"""Trial speeds over expected ones, natural logarithm; those outside every window are decoys."""
DECOYS_BEYOND = 0.075
CHANCE = 1e-3
"""Chance that decoys would do as well at which a speed sought over the sweep counts as there."""
TAIL = 0.1
"""Share of the decoys that tells how their chances fall off."""
LEAD = 2.5
"""Lead over any rival in the window (nats)."""
COMPANY, ALONE = 3, 11.0
"""Fewer takes than this do not disprove one another: their combs must surprise this much."""
BLUR = 5e-4
LOOSEST = 2.5e-4
"""Relative uncertainty at which a speed is of no use to anything laid on it."""
MOST_PER_TAKE = 12.0
MOTOR_MULTIPLES = 12
"""Turns of the motor by whose multiples it is sought."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TurnTake:
    """One take as its shafts' own turns tell it; ``speeds`` maps rigid group to its speed."""

    turning: Turning
    slow: SlowSignals
    seconds: float
    speeds: Mapping[str, TurnSpeed] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepTurns:
    """What the takes of one sweep tell by turns alone.

    ``motor_scale`` is the motor's speed over the table's, None when it was not heard.
    """

    takes: tuple[TurnTake | None, ...]
    motor_scale: float | None = None


def motor_group(turning: Turning) -> str:
    """The rigid group that the motor turns in: the first."""
    return next(iter(turning.groups))


def agreement(curves: Iterable[Floats], reach: float) -> Floats:
    """How well combs of all takes agree on each of ``SCALES``, each take within ``reach`` of it."""
    total = np.zeros(SCALES.size)
    for curve in curves:
        total += spread_out(np.minimum(curve, MOST_PER_TAKE), STEP, reach)
    return total


def chance_among(reached: float, decoys: Floats, places: float) -> float:
    """Chance that decoys reach this at one of so many places: an exponential tail.

    A real comb among the decoys, another shaft's, must not set the tail: it covers a twentieth of
    them and more.
    """
    middle, top = (float(q) for q in np.quantile(decoys, (0.5, 1.0 - TAIL)))
    pace = max((top - middle) / float(np.log(0.5 / TAIL)), 1.0)
    return float(min(1.0, TAIL * places * np.exp(-max(0.0, reached - top) / pace)))
