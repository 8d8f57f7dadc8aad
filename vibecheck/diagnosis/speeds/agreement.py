"""Whether the speeds of the takes agree as those of one machine must.

One motor and at most one slipping belt hold all of them near one scale, and idle takes on one belt
step nearer still. A speed that stands away from the others is used only where it is the surer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.followed import SURE
from vibecheck.diagnosis.speeds.found import TakeSpeed, not_used
from vibecheck.diagnosis.speeds.scale import BETWEEN_TAKES
from vibecheck.machine.train import Turning

PLAIN_LEAD = 1.2
"""Lead of the common scale that no other machine's table reaches, however the takes scatter (under
a cut the motor slips as it likes)."""
PLAIN_FIT = 11.0
"""Median sureness that no other machine's table reaches."""
MOST_ASTRAY = 4.0
"""A speed astray must be surer by this many deviations at most."""
SAME_STEP = 0.012
"""Idle takes on one step of the belts turn within this of each other."""
AS_ONE, AS_ONE_TAKES, ASTRAY_SHARE = 6.0, 6, 0.2
"""Natural log odds of so close an agreement, of at least so many takes, that no table of another
machine has reached; and the share of one machine's takes that may stand anywhere all the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alikeness:
    """How nearly takes of one machine turn at one scale to the table.

    ``between`` is how far one take may stand from it; ``near`` what most keep to; a take ``astray``
    from the middle must be one deviation surer. ``scatter`` is the standard deviation of most.
    """

    between: float
    near: float
    astray: float
    scatter: float


LIKE_EACH_OTHER = Alikeness(between=BETWEEN_TAKES, near=0.005, astray=0.006, scatter=0.0015)
UNDER_CUT = Alikeness(between=0.025, near=0.012, astray=0.012, scatter=0.004)
"""In air little loads the motor; a cut loads it, at every position otherwise."""


def middle_scale(fitted: Sequence[TakeSpeed]) -> float | None:
    """Median scale of the takes found where they were filed; None with fewer than three."""
    scales = [speed.scale for speed in fitted if speed.found and not speed.misfiled]
    return float(np.median(scales)) if len(scales) >= 3 else None


def one_machine(
    fitted: Sequence[TakeSpeed], expected: Sequence[float], lead: float, alike: Alikeness
) -> bool:
    """Whether the takes are of the machine in the table at all.

    A belt holds all true speeds within half a per cent of one scale. Lines of another machine find
    some fit in every take, but weakly, and scattered over the whole window.
    """
    toothed = [
        (speed, scale)
        for speed, scale in zip(fitted, expected, strict=True)
        if speed.found and speed.support > 0
    ]
    if len(toothed) < 4 or slipping_belts([t[0] for t in toothed]) > 1 or lead >= PLAIN_LEAD:
        return True
    near = [speed for speed, scale in toothed if abs(speed.scale / scale - 1.0) < alike.near]
    if len(near) < 0.4 * len(toothed):
        return False
    if float(np.median([speed.sureness for speed in near])) >= PLAIN_FIT:
        return True
    apart = np.array([speed.scale / scale - 1.0 for speed, scale in toothed])
    if apart.size >= AS_ONE_TAKES and _agreement(apart, alike) >= AS_ONE:
        return True
    return len(near) >= 0.8 * len(toothed) and lead >= 0.25


def _agreement(apart: NDArray[np.float64], alike: Alikeness) -> float:
    """Natural log odds that takes stand so near the expected scales because one machine made them,
    against lines of another, which fit anywhere in the window."""
    anywhere = 0.5 / alike.between
    close = np.exp(-0.5 * (apart / alike.scatter) ** 2) / (alike.scatter * np.sqrt(2 * np.pi))
    likelihood = (1.0 - ASTRAY_SHARE) * close + ASTRAY_SHARE * anywhere
    return float(np.sum(np.log(likelihood / anywhere)))


def slipping_belts(fitted: Sequence[TakeSpeed]) -> int:
    """Belts that slip in the machine; with several steps every step has a scale of its own."""
    turnings = [speed.turning for speed in fitted if speed.turning is not None]
    return sum(not belt.toothed for belt in turnings[0].machine.belts) if turnings else 0


def same_steps(one: Turning, other: Turning) -> bool:
    """Whether two takes have all slipping belts on the same steps."""
    return _slipping_steps(one) == _slipping_steps(other)


def _slipping_steps(turning: Turning) -> frozenset[object]:
    return frozenset(work.belt.step for work in turning.belts if not work.belt.toothed)


def sure_enough(speed: TakeSpeed, expected: float, alike: Alikeness) -> TakeSpeed:
    """A speed away from what the others let expect must be the surer for it."""
    if not speed.found or speed.misfiled:
        return speed
    astray = abs(float(np.log(speed.scale / expected))) / alike.astray
    return speed if speed.sureness >= SURE + min(MOST_ASTRAY, astray**2) else not_used(speed)


def agreed_on_steps(
    fitted: Sequence[TakeSpeed], takes: Sequence[Ready], expected: Sequence[float] | None = None
) -> list[TakeSpeed]:
    """Without the speeds of takes that disagree though one step of the belts drives them.

    They are compared as they stand to the scales ``expected`` of each, where these are given.

    Under a cut the motor slips as it likes, so that only idle takes are held against each other.
    """
    steps: dict[tuple[object, ...], list[int]] = {}
    for number, speed in enumerate(fitted):
        if speed.found and speed.turning is not None and takes[number].take.kind != "cutting":
            steps.setdefault((next(iter(speed.tracks)), _slipping_steps(speed.turning)), []).append(
                number
            )
    kept = list(fitted)
    stands = [
        speed.scale / (expected[number] if expected else 1.0) for number, speed in enumerate(fitted)
    ]
    for numbers in steps.values():
        middle = float(np.median([stands[n] for n in numbers]))
        for number in numbers:
            if abs(stands[number] / middle - 1.0) > SAME_STEP:
                kept[number] = not_used(fitted[number])
    return kept
