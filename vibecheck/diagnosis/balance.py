"""Balancing in one plane by what a known trial weight does (influence coefficient).

A vibration once a turn is an arrow: its size, and the angle at which it peaks after a mark on the
rotor. With ``V0`` as found and ``V1`` with a trial weight ``T`` on, the rotor answers
``a = (V1 - V0) / T``; the weight that cancels ``V0`` is ``-V0 / a``. Holds for a stiff rotor at one
speed, with everything else left alone.
"""

from __future__ import annotations

import cmath
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, hypot, pi, radians

import numpy as np

from vibecheck.errors import RecordingError, UsageError
from vibecheck.recording import Samples
from vibecheck.units import STANDARD_GRAVITY, hz

LEAST_TURN_DEG = 20.0
LEAST_CHANGE = 0.2
"""A trial weight should change size by a fifth or angle by 20 degrees; common practice asks for
30 % or 30 degrees (memory)."""
GRADES_MM_S = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0)
"""Balance quality grades of ISO 21940-11, G in mm/s (series from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """A size and the angle at which it stands, degrees, counted the way the rotor is marked.

    >>> Arrow.of(3 + 4j).size, round(Arrow.of(3 + 4j).angle_deg, 2)
    (5.0, 53.13)
    """

    size: float
    angle_deg: float

    @classmethod
    def of(cls, value: complex) -> Arrow:
        """The arrow of a complex number."""
        return cls(size=abs(value), angle_deg=degrees(cmath.phase(value)) % 360.0)

    @property
    def complex(self) -> complex:
        """As a complex number."""
        return cmath.rect(self.size, radians(self.angle_deg))


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What to put on after the trial weight has come off.

    Attributes
    ----------
    weight : Arrow
        Mass (in the trial weight's unit, at its radius) and angle.
    error : Arrow or None
        Standard uncertainty of mass (``size``) and angle (``angle_deg``) from the readings'
        scatter; None when none was given.
    change : float
        How far the trial weight moved the arrow, over its first size.
    cautions : tuple of str
        Why the result may be poor.
    """

    weight: Arrow
    error: Arrow | None
    change: float
    cautions: tuple[str, ...] = ()


def correction(
    before: Arrow, with_trial: Arrow, trial: Arrow, *, reading_error: float = 0.0
) -> Correction:
    """The weight that cancels the once-a-turn vibration, the trial weight taken off.

    Parameters
    ----------
    before, with_trial : Arrow
        Vibration once a turn, any one unit, angles from one mark the same way round.
    trial : Arrow
        Trial mass and where it was fixed.
    reading_error : float
        Standard uncertainty of each reading, in the vibration's unit, any direction.

    Raises
    ------
    UsageError
        When the trial weight changed nothing.

    Examples
    --------
    >>> found = correction(Arrow(size=4.0, angle_deg=30.0), Arrow(size=4.0, angle_deg=90.0),
    ...                    Arrow(size=10.0, angle_deg=0.0))
    >>> round(found.weight.size, 2), round(found.weight.angle_deg, 1)
    (10.0, 60.0)
    """
    moved = with_trial.complex - before.complex
    if abs(moved) <= max(2.0 * reading_error, 1e-12):
        raise UsageError(
            "the trial weight changed nothing that can be told from the scatter",
            "Use a heavier one, or fix it at a larger radius.",
        )
    weight = -before.complex * trial.complex / moved
    change = abs(moved) / before.size if before.size else float("inf")
    return Correction(
        weight=Arrow.of(weight),
        error=_error(before, with_trial, weight, moved, reading_error),
        change=change,
        cautions=_cautions(before, with_trial, change),
    )


def _error(
    before: Arrow, with_trial: Arrow, weight: complex, moved: complex, reading: float
) -> Arrow | None:
    """First-order propagation: dw/w = -V1 dV0 / (V0 moved) ... (GUM 5.1, independent readings)."""
    if reading <= 0 or before.size == 0:
        return None
    by_first = abs(with_trial.complex / (before.complex * moved)) * reading
    by_second = abs(1 / moved) * reading
    relative = hypot(by_first, by_second) / 2**0.5
    return Arrow(size=abs(weight) * relative, angle_deg=degrees(relative))


def _cautions(before: Arrow, with_trial: Arrow, change: float) -> tuple[str, ...]:
    turned = abs((with_trial.angle_deg - before.angle_deg + 180.0) % 360.0 - 180.0)
    grown = abs(with_trial.size / before.size - 1.0) if before.size else float("inf")
    found = []
    if turned < LEAST_TURN_DEG and grown < LEAST_CHANGE:
        found.append(
            f"the trial weight moved the reading by only {100 * change:.0f} %: a heavier one "
            "gives a surer answer"
        )
    if with_trial.size > 2.0 * before.size > 0:
        found.append("the trial weight more than doubled the vibration: use a lighter one")
    return tuple(found)


def correction_without_phase(
    before: float, with_trial: Sequence[float], trial: float
) -> Correction:
    """The correction from sizes alone: one run as found, then one with the trial weight at each of
    three places a third of a turn apart.

    ``V_k^2 = V0^2 + r^2 + 2 V0 r cos(place_k - phi)``: the mean of the three gives the rotor's
    answer r to the weight, their differences the angle.

    Parameters
    ----------
    before : float
    with_trial : sequence of float
        With the weight at 0, 120 and 240 degrees.
    trial : float
        Its mass.

    Examples
    --------
    >>> start, answer = 5 * np.exp(1j * np.radians(70)), 3.0
    >>> runs = [abs(start + answer * np.exp(1j * np.radians(a))) for a in (0, 120, 240)]
    >>> found = correction_without_phase(5.0, runs, 10.0)
    >>> round(found.weight.size, 3), round(found.weight.angle_deg, 3)
    (16.667, 250.0)
    """
    if len(with_trial) != 3 or min(before, trial, *with_trial) <= 0:
        raise UsageError(
            "three runs with the trial weight are needed, all readings above 0",
            "Fix it at 0, 120 and 240 degrees in turn.",
        )
    places = np.radians([0.0, 120.0, 240.0])
    squares = np.array(with_trial) ** 2
    answer_square = float(squares.mean()) - before**2
    if answer_square <= 0:
        raise UsageError(
            "the three runs do not fit one rotor",
            "Check speed, weight and places, and read each run twice.",
        )
    answer = answer_square**0.5
    toward = complex(np.sum(squares * np.exp(1j * places)) * 2.0 / 3.0 / (2.0 * before * answer))
    found = []
    if not 0.8 <= abs(toward) <= 1.25:
        found.append(
            "the three runs fit one rotor poorly: something besides the weight changed between them"
        )
    weight = Arrow.of(-toward / abs(toward) * before / answer * trial)
    return Correction(weight=weight, error=None, change=answer / before, cautions=tuple(found))


def once_a_turn(samples: Samples, pulses: Samples, rate_hz: float) -> tuple[Arrow, float]:
    """The once-a-turn vibration of a recording with a pulse a turn beside it.

    Parameters
    ----------
    samples, pulses : ndarray of float32, shape (frames,)
        Vibration, and the channel of an optical pick-up or the like.
    rate_hz : float

    Returns
    -------
    Arrow
        Peak value, and how many degrees after the pulse it peaks.
    float
        Its standard uncertainty from the scatter of the turns.
    """
    middle = 0.5 * (float(np.quantile(pulses, 0.999)) + float(np.median(pulses)))
    high = pulses > middle if middle > float(np.median(pulses)) else pulses < middle
    starts = np.flatnonzero(~high[:-1] & high[1:]) + 1
    if starts.size < 6 or np.ptp(np.diff(starts)) > 0.2 * np.median(np.diff(starts)):
        raise RecordingError(
            "no steady once-a-turn pulse", "Use one strip of reflecting tape on a dark rotor."
        )
    turns = []
    for start, end in itertools.pairwise(starts):
        angle = 2.0 * np.pi * np.arange(end - start) / (end - start)
        turns.append(2.0 * np.mean(samples[start:end] * np.exp(1j * angle)))
    values = np.array(turns)
    error = float(np.std(values) / np.sqrt(2.0 * values.size))
    return Arrow.of(complex(values.mean())), error


def planes_unbalance(
    before: Sequence[Arrow], runs: Sequence[Sequence[Arrow]], trials: Sequence[Arrow]
) -> tuple[Arrow, ...]:
    """Unbalance in each of several planes; the corrections are equal and opposite.

    Parameters
    ----------
    before : sequence of Arrow
        One reading at each bearing.
    runs : sequence of sequence of Arrow
        For each trial, the readings at all bearings with that one weight on.
    trials : sequence of Arrow
        One in each plane.
    """
    start = np.array([arrow.complex for arrow in before])
    columns = [
        (np.array([arrow.complex for arrow in run]) - start) / trial.complex
        for run, trial in zip(runs, trials, strict=True)
    ]
    found = np.linalg.solve(np.array(columns).T, start)
    return tuple(Arrow.of(complex(value)) for value in found)


def permissible_unbalance_g_mm(grade_mm_s: float, mass_kg: float, rpm: float) -> float:
    """Residual unbalance allowed of a rotor at a balance quality grade G (ISO 21940-11).

    The grade is speed of the mass centre, e times angular speed, in mm/s: U = m G / omega.

    >>> round(permissible_unbalance_g_mm(6.3, 2.0, 10000.0), 1)
    12.0
    """
    return 1000.0 * mass_kg * grade_mm_s / (2.0 * pi * hz(rpm))


def grade_reached_mm_s(unbalance_g_mm: float, mass_kg: float, rpm: float) -> float:
    """The grade G that a residual unbalance comes to."""
    return unbalance_g_mm * 2.0 * pi * hz(rpm) / (1000.0 * mass_kg)


def residual_g_mm(
    after: Arrow, before: Arrow, with_trial: Arrow, trial: Arrow, radius_mm: float
) -> float:
    """Unbalance left, from the vibration left and the answer learned from the trial weight."""
    moved = abs(with_trial.complex - before.complex)
    return after.size / moved * trial.size * radius_mm


def trial_weight_g(mass_kg: float, radius_mm: float, rpm: float) -> float:
    """A trial weight whose pull is a tenth of the rotor's weight (rule of thumb, memory).

    >>> round(trial_weight_g(20.0, 100.0, 1000.0), 1)
    17.9
    """
    omega = 2.0 * pi * hz(rpm)
    return 1000.0 * 0.1 * mass_kg * STANDARD_GRAVITY / (omega**2 * radius_mm / 1000.0)
