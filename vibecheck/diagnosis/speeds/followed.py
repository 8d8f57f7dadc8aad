"""One take's speed near a known scale: followed down to the phase of its lines, then doubted.

The position it was filed under is held against those that fit as well; a speed that its own lines
do not confirm against decoys is not used at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import TakeSpeed
from vibecheck.diagnosis.speeds.lines import PinningLines, anchor_group, pinning_lines
from vibecheck.diagnosis.speeds.scale import (
    BETWEEN_TAKES,
    MANY_PAIRS,
    SCALES,
    Trial,
    pairs_under_load,
    position_trials,
)
from vibecheck.diagnosis.speeds.track import (
    Frames,
    SpeedTrack,
    coarse_track,
    order_significance,
    refined,
    sharpened,
    short_spectra,
)
from vibecheck.machine.train import Turning

PLAIN_OTHER = 13.0
"""Sureness of another position's teeth in a take filed where none mesh, to be told as misfiled."""
FITS_AS_FILED = 8.0
"""Sureness from which a take is where it was filed, whatever fits besides."""
SURE = 5.0
"""Standard deviations over the decoys at which a speed counts as found."""
SWAY, SCATTER = 2.5e-5, 6.0
"""What a lasting sway of the speed adds to a mean from spectra, relative, and how much wider than
their own scatter the error of lines is that lean on one another."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    track: SpeedTrack
    error: float
    sureness: float = 0.0
    support: float = 0.0


_NOTHING = _Fit(track=SpeedTrack(times_s=np.zeros(1), hz=np.ones(1)), error=1.0)


def take_speed(
    take: Ready,
    frames: Frames,
    trials: Mapping[str, Trial],
    turnings: Mapping[str, Turning],
    scale: float,
    window: float,
    *,
    sure: float = SURE,
) -> TakeSpeed:
    """The speed of one take within ``window``, relative, of the sweep's scale; not found when less
    than ``sure``.

    Another position than the filed one is taken only when it explains the take clearly better.
    """
    filed = take.take.position
    near = np.abs(np.log(SCALES / scale)) <= window + 2.5e-4
    ranked = sorted(trials, key=lambda label: -float(trials[label].curve[near].max()))
    shortlist = ranked[:3]
    if filed is not None and filed in trials and filed not in shortlist:
        shortlist = [filed, *shortlist[:2]]
    fits = {label: _follow(take, frames, trials[label], scale, window) for label in shortlist}
    best = max(fits, key=lambda label: fits[label].support) if fits else None
    if filed is not None and filed in turnings and best is not None:
        own = fits.get(filed, _NOTHING)
        plain = filed in trials or fits[best].sureness >= PLAIN_OTHER
        plain = plain and _tells_apart(trials[best].turning, turnings[filed])
        if not plain or not _clearly_other(own, fits[best]):
            best = filed
    if best is None or best not in fits:
        return TakeSpeed(turning=turnings.get(filed) if filed else None, filed=filed, found=False)
    chosen = fits[best]
    if chosen.sureness < sure:
        turning = turnings.get(filed) if filed else None
        return TakeSpeed(
            turning=turning,
            filed=filed,
            found=False,
            sureness=chosen.sureness,
            support=chosen.support,
        )
    group = trials[best].lines.group
    return TakeSpeed(
        turning=trials[best].turning,
        filed=filed,
        found=True,
        sureness=chosen.sureness,
        support=chosen.support,
        scale=chosen.track.mean_hz / trials[best].nominal_hz,
        tracks={group: chosen.track},
        errors={group: float(np.hypot(SCATTER * chosen.error, SWAY))},
    )


def fit_alone(take: Ready, turning: Turning, scale: float) -> TakeSpeed:
    """The speed of one more take at a known turning, near a scale found before."""
    label = take.take.position or turning.label
    frames = short_spectra(take.slow, take.slow_hz, turning.machine.supply.mains_hz)
    trials = position_trials({label: turning}, take, frames)
    return take_speed(take, frames, trials, {label: turning}, scale, BETWEEN_TAKES)


def fit_against(take: Ready, frames: Frames, turning: Turning, scale: float) -> tuple[float, float]:
    """How well a take fits one turning at about a known scale.

    Returns
    -------
    sureness, support : float
        Standard deviations over the decoys, and summed log power over theirs; 0, 0 where no pair
        of known teeth meshes.
    """
    group = anchor_group(turning)
    nominal = turning.groups[group].nominal_hz if group is not None else None
    if group is None or nominal is None:
        return 0.0, 0.0
    lines = pinning_lines(turning, group, take.top_hz)
    if not len(lines):
        return 0.0, 0.0
    trial = Trial(turning=turning, lines=lines, nominal_hz=nominal, curve=np.zeros(1))
    fit = _follow(take, frames, trial, scale)
    return fit.sureness, fit.support


def _tells_apart(other: Turning, filed: Turning) -> bool:
    """Whether another position's lines are another pattern, and one that no single comb fits."""
    there, here = pairs_under_load(other), pairs_under_load(filed)
    return len(there) >= MANY_PAIRS or bool(here and there - here)


def _clearly_other(filed: _Fit, other: _Fit) -> bool:
    """Whether another position explains a take so much better that it must be that one.

    A take that fits where it was filed stays there.
    """
    better = other.sureness >= max(8.0, filed.sureness + 2.0)
    return filed.sureness < FITS_AS_FILED and better and other.support > filed.support + 10.0


def _follow(
    take: Ready, frames: Frames, trial: Trial, scale: float, window: float = BETWEEN_TAKES
) -> _Fit:
    base = trial.nominal_hz * scale
    reach = 1.0 + window + 0.004
    track, _ = coarse_track(frames, trial.lines, base / reach, base * reach)
    track, _ = refined(take.slow, take.slow_hz, track, trial.lines, half_width_hz=3.0)
    track, error = refined(take.slow, take.slow_hz, track, trial.lines, half_width_hz=1.5)
    track = sharpened(take.slow, take.slow_hz, track, trial.lines)
    sureness, support = _confirmed(take, track, trial.lines)
    return _Fit(track=track, error=error, sureness=sureness, support=support)


def _confirmed(take: Ready, track: SpeedTrack, lines: PinningLines) -> tuple[float, float]:
    """Standard deviations by which the lines beat decoys, and their summed excess."""
    significance = order_significance(take.slow, take.slow_hz, track, float(lines.orders.max()))
    shifts = np.concatenate([-np.linspace(0.004, 0.06, 120), np.linspace(0.004, 0.06, 120)])
    at = np.minimum(np.log1p(significance.peaks_at(lines.orders)), 5.0)
    decoys = np.array(
        [
            lines.weights
            @ np.minimum(np.log1p(significance.peaks_at(lines.orders * (1.0 + shift))), 5.0)
            for shift in shifts
        ]
    )
    score = float(lines.weights @ at)
    typical = float(np.median(decoys))
    spread = float(np.percentile(decoys, 84) - typical) + 1e-6
    return (score - typical) / spread, score - typical
