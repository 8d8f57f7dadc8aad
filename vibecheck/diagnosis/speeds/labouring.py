"""A motor labours: it turns the slower, the faster it must drive the spindle.

What bearings, seals and oil brake at the spindle reaches the motor through the ratio between them,
so that its slip grows with the speed of the spindle: evenly, by one or two per cent from the
slowest position to the fastest. Takes are held against that, not against one scale for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from vibecheck.diagnosis.speeds.agreement import same_steps
from vibecheck.diagnosis.speeds.found import TakeSpeed
from vibecheck.machine.train import Turning

FEWEST, APART = 4, 0.1
"""Takes from which a slope is told, and how far apart in speed two must be, of the fastest's."""
MOST = 0.045
"""A motor at its full load slips so much, relative; idling it slips no more."""


def expected_scales(
    fitted: Sequence[TakeSpeed], filed: Sequence[Turning | None]
) -> list[float] | None:
    """The scale to be expected of each take by what all of them tell; None where too few do.

    Parameters
    ----------
    fitted : sequence of TakeSpeed
    filed : sequence of Turning or None
        The position each take was filed under.

    Returns
    -------
    list of float
        True speed over the table's. The slope over the spindle's speed is the median of what every
        two takes on the same step of the belts say [1]_, and never upwards.

    References
    ----------
    .. [1] P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
       Assoc. 63 (1968): the median of all pairs' slopes.
    """
    told = [n for n, speed in enumerate(fitted) if speed.found and not speed.misfiled]
    if len(told) < FEWEST - 1:
        return None
    place = _places(filed)
    scales = np.log([speed.scale for speed in fitted])
    slopes = [
        (scales[b] - scales[a]) / (place[b] - place[a])
        for a, b in combinations(told, 2)
        if abs(place[b] - place[a]) >= APART and _on_same_steps(filed[a], filed[b])
    ]
    slope = 0.0
    if len(told) >= FEWEST and slopes:
        slope = float(np.clip(np.median(slopes), -MOST, 0.0))
    level = float(np.median([scales[n] - slope * place[n] for n in told]))
    return [float(np.exp(level + slope * at)) for at in place]


def _places(filed: Sequence[Turning | None]) -> list[float]:
    """The table's spindle speed at each take, of the fastest; their middle where it has none."""
    speeds = [turning and turning.nominal_hz(turning.machine.spindle) for turning in filed]
    known = [speed for speed in speeds if speed]
    if not known:
        return [0.0] * len(filed)
    return [(speed or float(np.median(known))) / max(known) for speed in speeds]


def _on_same_steps(one: Turning | None, other: Turning | None) -> bool:
    return one is not None and other is not None and same_steps(one, other)
