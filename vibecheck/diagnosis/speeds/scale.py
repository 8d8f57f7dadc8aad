"""The one scale at which the speeds of all takes stand to the table's.

One motor drives all takes. Each is held against the lever positions of the table at many trial
scales; the scale at which the positions they were filed under fit best together is the sweep's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.lines import PinningLines, anchor_group, comb_scores, pinning_lines
from vibecheck.diagnosis.speeds.track import Frames
from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]

SCALES = np.exp(np.arange(np.log(0.70), np.log(1.46), 2.5e-4))
"""Trial scales of true speed over table speed; wide enough for 50 Hz against 60, and for files
that state another usual sample rate than their own."""
BETWEEN_TAKES = 0.015
"""How far one take in air may stand from the sweep's common scale."""
USUAL_SCALE, USUAL_WIDTH = 0.015, 0.045
"""True over table speed, natural logarithm: motors idle faster than their plate says; beyond this
width a scale must earn its keep."""
MOST_PER_TAKE = 40.0
MANY_PAIRS = 3
"""So many pairs at work hold a scale by themselves: their side lines do not agree."""


class Likely(NamedTuple):
    """Where the common scale is to be expected, natural logarithm; how widely; and what a scale far
    from there must have more than one at home, standard deviations summed over the takes."""

    middle: float = USUAL_SCALE
    width: float = USUAL_WIDTH
    cost: float = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonScale:
    """The scale of a sweep, and its relative lead over the runner-up: with what the heard motor
    says, and as teeth alone have it. Leads are 0 when no scale stands out."""

    scale: float = 1.0
    lead: float = 0.0
    lead_by_teeth: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trial:
    """One take held against one lever position: scores on the common scale grid."""

    turning: Turning
    lines: PinningLines
    nominal_hz: float
    curve: Floats


def position_trials(
    turnings: Mapping[str, Turning], take: Ready, frames: Frames
) -> dict[str, Trial]:
    """A take held against every position whose teeth mesh; label to trial."""
    found = {}
    for label, turning in turnings.items():
        group = anchor_group(turning)
        if group is None:
            continue
        nominal = turning.groups[group].nominal_hz
        lines = pinning_lines(turning, group, take.top_hz)
        if nominal is None or not len(lines):
            continue
        curve = _curve(frames, lines, nominal)
        found[label] = Trial(turning=turning, lines=lines, nominal_hz=nominal, curve=curve)
    return found


def _curve(frames: Frames, lines: PinningLines, nominal_hz: float) -> Floats:
    """Standardised score of each trial scale, drift within the take allowed for."""
    scores = comb_scores(frames.significance, frames.step_hz, SCALES * nominal_hz, lines)
    mean = scores.mean(axis=0)
    centre = float(np.median(mean))
    spread = 1.4826 * float(np.median(np.abs(mean - centre))) + 1e-9
    return np.asarray((mean - centre) / spread, dtype=np.float64)


def common_scale(
    takes: Sequence[Ready],
    trials: Sequence[Mapping[str, Trial]],
    likely: Likely,
    between: float,
) -> CommonScale:
    """Scale at which the filed positions fit best together.

    One take may stand ``between`` from it, relative.
    """
    total = np.zeros_like(SCALES)
    for take, trial in zip(takes, trials, strict=True):
        position = take.take.position
        if position is not None and position in trial:
            best = trial[position].curve
        elif position is None and trial:
            best = np.max([t.curve for t in trial.values()], axis=0)
        else:
            continue
        total += np.minimum(_peak_near(best, between / 2), MOST_PER_TAKE)
    if not total.any():
        return CommonScale()
    away = np.maximum(0.0, np.abs(np.log(SCALES) - likely.middle) - likely.width)
    strange = np.minimum(away / 0.06, 1.0) ** 0.5 * (away > 0)
    judged = total - likely.cost * strange
    index = int(judged.argmax())
    rivals = np.abs(np.log(SCALES / SCALES[index])) > 2.5 * between
    lead, by_teeth = (
        float(each[index] / max(float(each[rivals].max()), 1e-6) - 1.0)
        for each in (judged, total - min(likely.cost, Likely().cost) * strange)
    )
    scale = float(SCALES[_plateau_middle(judged, index)])
    return CommonScale(scale=scale, lead=lead, lead_by_teeth=min(lead, by_teeth))


def _peak_near(curve: Floats, width: float) -> Floats:
    bins = int(2 * width / 2.5e-4) + 1
    return np.asarray(maximum_filter1d(curve, bins), dtype=float)


def _plateau_middle(values: Floats, index: int) -> int:
    high = values[index] - 1e-6
    left = right = index
    while left > 0 and values[left - 1] >= high:
        left -= 1
    while right < values.size - 1 and values[right + 1] >= high:
        right += 1
    return (left + right) // 2


def too_few_to_tell(scale: float, filed: Sequence[Turning | None]) -> bool:
    """Whether an unusual scale rests on so few pairs that any comb of lines would fit them.

    Side lines at one and two turns beside an eccentric gear's mesh, or a bearing's strikes, fit a
    single pair as well as its mesh does, at the scale of the other mains as at any.
    """
    if abs(float(np.log(scale)) - USUAL_SCALE) < USUAL_WIDTH:
        return False
    pairs = {name for turning in filed if turning is not None for name in pairs_under_load(turning)}
    return len(pairs) < MANY_PAIRS


def pairs_under_load(turning: Turning) -> frozenset[str]:
    """Names of the gear pairs that carry the load at one position."""
    return frozenset(work.mesh.name for work in turning.meshes if work.loaded)
