"""The speed of every take of a sweep, fitted together.

One motor drives all takes, so their speeds stand at one common scale to the table's within a per
cent or two. The sweep finds that scale first; then each take is followed down to its phase. A
speed that its own lines do not confirm against decoys is not used at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speed_lines import (
    PinningLines,
    anchor_group,
    comb_scores,
    pinning_lines,
)
from vibecheck.diagnosis.speed_track import (
    Frames,
    SpeedTrack,
    coarse_track,
    order_significance,
    refined,
    sharpened,
    short_spectra,
)
from vibecheck.diagnosis.toothless import SweepTurns, belts_heard, motors_heard
from vibecheck.diagnosis.turn_tracks import TurnSpeed
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning

Floats = NDArray[np.float64]

SCALES = np.exp(np.arange(np.log(0.70), np.log(1.46), 2.5e-4))
"""Trial scales of true speed over table speed; wide enough for 50 Hz against 60, and for files
that state another usual sample rate than their own."""
PLAUSIBLE = 0.07
"""A scale further from 1 than this is offered to the user as a wrong table or supply."""
BETWEEN_TAKES = 0.015
"""How far one take may stand from the sweep's common scale (slip under another load)."""
USUAL_SCALE, USUAL_WIDTH = 0.015, 0.045
"""True over table speed, natural logarithm: motors idle faster than their plate says; beyond this
width a scale must earn its keep."""
MOST_PER_TAKE = 40.0
FITS_AS_FILED = 8.0
"""Sureness from which a take is where it was filed, whatever fits besides."""
SAME_STEP = 0.012
"""Idle takes on one step of the belts turn within this of each other."""
MANY_PAIRS = 3
"""So many pairs at work hold a scale by themselves: their side lines do not agree."""
MAINS_APART = float(np.log(1.2))
"""A motor on 60 Hz against one on 50."""
IN_STEP = 5e-4
"""Two rates this near a ratio of small whole numbers keep step."""
ENOUGH_LEAD = 0.08
BORNE_OUT_LEAD = 0.03
"""The lead that is enough where the motor's own turns say about the same."""
FAR_LEAD, FAR_TAKES = 0.3, 3.2
"""The lead that a scale needs which no plate and no belt explains, and that times the takes."""
PLAIN_OTHER = 13.0
"""Sureness of another position's teeth in a take filed where none mesh, to be told as misfiled."""
ALIKE = 0.008
"""A take further than this from the sweep's middle scale is fitted again, close to it."""
PLAIN_LEAD = 1.2
"""Lead of the common scale that no other machine's table reaches, however the takes scatter (under
a cut the motor slips as it likes)."""
PLAIN_FIT = 11.0
"""Median sureness that no other machine's table reaches."""
SURE = 5.0
"""Standard deviations over the decoys at which a speed counts as found."""
FEW, MOTORS_DIFFER, SURE_ALONE = 2, 0.03, 9.0
"""So few takes share no scale to speak of: each is fitted about the table's own, this widely, and
must be this sure by itself."""
ASTRAY, MOST_ASTRAY = 0.006, 4.0
"""A speed this far from the sweep's middle scale must be one deviation surer, four at most."""
SWAY, SCATTER = 2.5e-5, 6.0
"""What a lasting sway of the speed adds to a mean from spectra, relative, and how much wider than
their own scatter the error of lines is that lean on one another."""
BELT_WIDTH = 0.022
"""How far a belt may set a shaft from the speed that the table gives it behind the heard motor."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeSpeed:
    """What was found of one take's speed.

    ``tracks`` maps rigid group to its speed through the take, ``errors`` to its relative standard
    uncertainty; both empty when ``found`` is False. ``turning`` is for the position it was heard
    at, which may not be the one it was filed under (``filed`` as labelled). ``support`` is the
    summed log power of its mesh lines over decoys'. ``by_turns`` says that no teeth told it.
    """

    turning: Turning | None
    filed: str | None
    found: bool
    sureness: float = 0.0
    support: float = 0.0
    scale: float = 1.0
    tracks: Mapping[str, SpeedTrack] = field(default_factory=dict)
    errors: Mapping[str, float] = field(default_factory=dict)
    by_turns: bool = False

    @property
    def misfiled(self) -> bool:
        """Heard at another lever position than it was filed under."""
        return self.turning is not None and self.filed not in (None, self.turning.label)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepSpeeds:
    """Speeds of all takes, and the scale they share (1 when the table is right)."""

    takes: tuple[TakeSpeed, ...]
    scale: float
    scale_sureness: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trial:
    """One take held against one lever position: scores on the common scale grid."""

    turning: Turning
    lines: PinningLines
    nominal_hz: float
    curve: Floats


def fit_speeds(turnings: Mapping[str, Turning], takes: Sequence[Ready]) -> SweepSpeeds:
    """Fit the speeds of all takes of one sweep.

    Parameters
    ----------
    turnings : mapping of lever position label to Turning
        Every position of the machine; a take may turn out to be any of them.
    takes : sequence of Ready

    Returns
    -------
    SweepSpeeds
        In the order of ``takes``. Takes without a speed are marked, never guessed.
    """
    machine = next(iter(turnings.values())).machine
    filed = [turnings.get(take.take.position or "") for take in takes]
    by_turns = _needs_turns(machine, filed)
    turns = motors_heard(takes, filed) if by_turns else SweepTurns(takes=(None,) * len(takes))
    frames = [short_spectra(take.slow, take.slow_hz, machine.supply.mains_hz) for take in takes]
    trials = [_trials(turnings, take, frame) for take, frame in zip(takes, frames, strict=True)]
    likely = _likely_scale(machine, turns)
    scale, sureness = _common_scale(takes, trials, likely)
    window = BETWEEN_TAKES
    far = abs(float(np.log(scale)) - USUAL_SCALE) > PLAUSIBLE
    count = sum(
        (take.take.position or next(iter(trial), "")) in trial
        for take, trial in zip(takes, trials, strict=True)
    )
    far_lead = max(FAR_LEAD, FAR_TAKES / max(count, 1))
    borne_out = turns.motor_scale is not None and abs(np.log(scale) - likely[0]) <= likely[1]
    enough = BORNE_OUT_LEAD if borne_out else ENOUGH_LEAD
    doubtful = sureness < (far_lead if far else enough) or _too_few_to_tell(scale, filed)
    if doubtful and len(takes) <= FEW:
        scale, window = float(np.exp(likely[0])), min(likely[1], MOTORS_DIFFER)
    elif doubtful:
        trials = [{} for _ in trials]
        scale = 1.0
    given = list(zip(takes, frames, trials, strict=True))
    fitted = [_fit_take(*one, turnings, scale, window) for one in given]
    if doubtful:
        fitted = [one if one.sureness >= SURE_ALONE else _not_used(one) for one in fitted]
    middle = _middle_scale(fitted)
    if middle is not None:
        steady = _slipping_belts(fitted) <= 1
        for number, speed in enumerate(fitted):
            loaded = takes[number].take.kind == "cutting"
            astray = steady and not loaded and abs(speed.scale / middle - 1.0) > ALIKE
            if speed.found and (speed.misfiled or astray):
                fitted[number] = _fit_take(*given[number], turnings, middle, ALIKE)
        if not _one_machine(fitted, middle, sureness):
            fitted = [_not_used(speed) for speed in fitted]
            return SweepSpeeds(takes=tuple(fitted), scale=1.0, scale_sureness=0.0)
        fitted = [_sure_enough(speed, middle) for speed in fitted]
        scale = middle
    if by_turns:
        fitted = _with_turns(fitted, turns, filed)
    fitted = _agreed_on_steps(fitted, takes)
    return SweepSpeeds(takes=tuple(fitted), scale=scale, scale_sureness=sureness)


def _agreed_on_steps(fitted: Sequence[TakeSpeed], takes: Sequence[Ready]) -> list[TakeSpeed]:
    """Without the speeds of takes that disagree though one step of the belts drives them.

    Under a cut the motor slips as it likes, so that only idle takes are held against each other.
    """
    steps: dict[tuple[str, ...], list[int]] = {}
    for number, speed in enumerate(fitted):
        if speed.found and speed.turning is not None and takes[number].take.kind != "cutting":
            belts = sorted(w.belt.name for w in speed.turning.belts if not w.belt.toothed)
            steps.setdefault((next(iter(speed.tracks)), *belts), []).append(number)
    kept = list(fitted)
    for numbers in steps.values():
        middle = float(np.median([fitted[n].scale for n in numbers]))
        for number in numbers:
            if abs(fitted[number].scale / middle - 1.0) > SAME_STEP:
                kept[number] = _not_used(fitted[number])
    return kept


def _needs_turns(machine: Machine, filed: Sequence[Turning | None]) -> bool:
    """Whether some shaft's speed cannot be had from teeth: behind a belt, or where none mesh."""
    bare = any(turning is not None and anchor_group(turning) is None for turning in filed)
    return bare or any(not belt.toothed for belt in machine.belts)


def _too_few_to_tell(scale: float, filed: Sequence[Turning | None]) -> bool:
    """Whether an unusual scale rests on so few pairs that any comb of lines would fit them.

    Side lines at one and two turns beside an eccentric gear's mesh, or a bearing's strikes, fit a
    single pair as well as its mesh does. Only the other mains is likely enough beforehand.
    """
    away = float(np.log(scale)) - USUAL_SCALE
    if min(abs(away - mains) for mains in (0.0, MAINS_APART, -MAINS_APART)) < USUAL_WIDTH:
        return False
    pairs = {name for turning in filed if turning is not None for name in _pairs(turning)}
    return len(pairs) < MANY_PAIRS


def _pairs(turning: Turning) -> frozenset[str]:
    """Pairs under load."""
    return frozenset(work.mesh.name for work in turning.meshes if work.loaded)


def _likely_scale(machine: Machine, turns: SweepTurns) -> tuple[float, float]:
    """Where the common scale is to be expected, natural logarithm, and how widely."""
    if turns.motor_scale is None:
        return USUAL_SCALE, USUAL_WIDTH
    slipping = max(1, len(_belt_stages(machine)))
    return float(np.log(turns.motor_scale)), BELT_WIDTH * slipping**0.5


def _belt_stages(machine: Machine) -> set[tuple[str, str]]:
    """Pairs of shafts that slipping belts join; the steps of one cone are one stage."""
    return {(belt.driver, belt.driven) for belt in machine.belts if not belt.toothed}


def _not_used(speed: TakeSpeed) -> TakeSpeed:
    return replace(speed, found=False, tracks={}, errors={})


def _sure_enough(speed: TakeSpeed, middle: float) -> TakeSpeed:
    """A speed away from the others' must be the surer for it."""
    if not speed.found or speed.misfiled:
        return speed
    astray = abs(float(np.log(speed.scale / middle))) / ASTRAY
    return speed if speed.sureness >= SURE + min(MOST_ASTRAY, astray**2) else _not_used(speed)


def _with_turns(
    fitted: Sequence[TakeSpeed], turns: SweepTurns, filed: Sequence[Turning | None]
) -> list[TakeSpeed]:
    """Speeds of shafts heard by their own turns, where teeth tell none; and those that they refute.

    Where teeth should tell and do in no take, the machine may be another: nothing is used then.
    """
    given = [
        _refuted(speed, heard.speeds if heard is not None else {})
        for speed, heard in zip(fitted, turns.takes, strict=True)
    ]
    toothed = [
        speed
        for speed, turning in zip(given, filed, strict=True)
        if turning is not None and anchor_group(turning) is not None
    ]
    if len(toothed) >= 3 and not any(speed.found for speed in toothed):
        return given
    known = [speed.tracks if speed.found and not speed.misfiled else {} for speed in given]
    turns = belts_heard(turns, known, [not speed.found for speed in given])
    return [
        speed if heard is None else _joined(speed, heard.turning, heard.speeds)
        for speed, heard in zip(given, turns.takes, strict=True)
    ]


def _refuted(speed: TakeSpeed, heard: Mapping[str, TurnSpeed]) -> TakeSpeed:
    """Not used when the motor, plainly heard in the same take, says otherwise."""
    if not speed.found or speed.turning is None or speed.misfiled:
        return speed
    groups = speed.turning.groups
    first, group = next(iter(groups)), next(iter(speed.tracks))
    nominal = groups[first].nominal_hz
    if first not in heard or nominal is None:
        return speed
    apart = abs(float(np.log(speed.scale * nominal / heard[first].track.mean_hz)))
    stages = max(1, len(_belt_stages(speed.turning.machine)))
    allowed = BETWEEN_TAKES / 3 if group == first else 1.5 * BELT_WIDTH * stages**0.5
    return speed if apart <= allowed else _not_used(speed)


def _joined(speed: TakeSpeed, turning: Turning, heard: Mapping[str, TurnSpeed]) -> TakeSpeed:
    """Tracks by teeth first; where there are none the spindle's own, then the motor's."""
    if not heard or (speed.found and (speed.misfiled or speed.turning is not turning)):
        return speed
    if speed.found:
        heard = {name: own for name, own in heard.items() if not _in_step(own, speed, turning)}
    spindle = turning.rotors.get(turning.machine.spindle)
    order = sorted(heard, key=lambda name: spindle is None or name != spindle.group)
    tracks = {
        **speed.tracks,
        **{name: heard[name].track for name in order if name not in speed.tracks},
    }
    errors = {
        **speed.errors,
        **{name: heard[name].error for name in order if name not in speed.errors},
    }
    if speed.found:
        return replace(speed, tracks=tracks, errors=errors)
    first = next(iter(tracks))
    nominal = turning.groups[first].nominal_hz
    return replace(
        speed,
        turning=turning,
        found=True,
        sureness=heard[first].sureness,
        support=0.0,
        by_turns=True,
        scale=tracks[first].mean_hz / nominal if nominal else 1.0,
        tracks=tracks,
        errors=errors,
    )


def _in_step(heard: TurnSpeed, speed: TakeSpeed, turning: Turning) -> bool:
    """Whether what passes for a further shaft keeps step with one that teeth drive: it is that one.

    A belt slips, and holds no ratio of small numbers to this part of one.
    """
    group, track = next(iter(speed.tracks.items()))
    for rotor in turning.rotors.values():
        if rotor.group != group:
            continue
        times = heard.track.mean_hz / (rotor.ratio * track.mean_hz)
        if any(
            round(times * q) in range(1, 7) and abs(times * q / round(times * q) - 1.0) < IN_STEP
            for q in (1, 2, 3)
        ):
            return True
    return False


def _middle_scale(fitted: Sequence[TakeSpeed]) -> float | None:
    """Median scale of the takes found where they were filed; None with fewer than three."""
    scales = [speed.scale for speed in fitted if speed.found and not speed.misfiled]
    return float(np.median(scales)) if len(scales) >= 3 else None


def _one_machine(fitted: Sequence[TakeSpeed], middle: float, lead: float) -> bool:
    """Whether the takes are of the machine in the table at all.

    A belt holds all true speeds within half a per cent of one scale. Lines of another machine find
    some fit in every take, but weakly, and scattered over the whole window.
    """
    toothed = [speed for speed in fitted if speed.found and speed.support > 0]
    if len(toothed) < 4 or _slipping_belts(toothed) > 1 or lead >= PLAIN_LEAD:
        return True
    near = [speed for speed in toothed if abs(speed.scale / middle - 1.0) < 0.005]
    if len(near) < 0.4 * len(toothed):
        return False
    if float(np.median([speed.sureness for speed in near])) >= PLAIN_FIT:
        return True
    return len(near) >= 0.8 * len(toothed) and lead >= 0.25


def _slipping_belts(fitted: Sequence[TakeSpeed]) -> int:
    """Belts that slip in the machine; with several steps every step has a scale of its own."""
    turnings = [speed.turning for speed in fitted if speed.turning is not None]
    return sum(not belt.toothed for belt in turnings[0].machine.belts) if turnings else 0


def _trials(turnings: Mapping[str, Turning], take: Ready, frames: Frames) -> dict[str, _Trial]:
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
        found[label] = _Trial(turning=turning, lines=lines, nominal_hz=nominal, curve=curve)
    return found


def _curve(frames: Frames, lines: PinningLines, nominal_hz: float) -> Floats:
    """Standardised score of each trial scale, drift within the take allowed for."""
    scores = comb_scores(frames.significance, frames.step_hz, SCALES * nominal_hz, lines)
    mean = scores.mean(axis=0)
    centre = float(np.median(mean))
    spread = 1.4826 * float(np.median(np.abs(mean - centre))) + 1e-9
    return np.asarray((mean - centre) / spread, dtype=np.float64)


def _peak_near(curve: Floats, width: float) -> Floats:
    bins = int(2 * width / 2.5e-4) + 1
    return np.asarray(maximum_filter1d(curve, bins), dtype=float)


def _common_scale(
    takes: Sequence[Ready],
    trials: Sequence[Mapping[str, _Trial]],
    likely: tuple[float, float],
) -> tuple[float, float]:
    """Scale at which the filed positions fit best together, and its lead over the runner-up.

    The lead is relative; 0 when no scale stands out, and the scale is then 1.
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
        total += np.minimum(_peak_near(best, BETWEEN_TAKES / 2), MOST_PER_TAKE)
    if not total.any():
        return 1.0, 0.0
    away = np.maximum(0.0, np.abs(np.log(SCALES) - likely[0]) - likely[1])
    total = total - 12.0 * np.minimum(away / 0.06, 1.0) ** 0.5 * (away > 0)
    index = int(total.argmax())
    rivals = np.abs(np.log(SCALES / SCALES[index])) > 2.5 * BETWEEN_TAKES
    lead = float(total[index] / max(float(total[rivals].max()), 1e-6) - 1.0)
    return float(SCALES[_plateau_middle(total, index)]), lead


def _plateau_middle(values: Floats, index: int) -> int:
    high = values[index] - 1e-6
    left = right = index
    while left > 0 and values[left - 1] >= high:
        left -= 1
    while right < values.size - 1 and values[right + 1] >= high:
        right += 1
    return (left + right) // 2


def _fit_take(
    take: Ready,
    frames: Frames,
    trials: Mapping[str, _Trial],
    turnings: Mapping[str, Turning],
    scale: float,
    window: float,
) -> TakeSpeed:
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
    if chosen.sureness < SURE:
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fit:
    track: SpeedTrack
    error: float
    sureness: float = 0.0
    support: float = 0.0


_NOTHING = _Fit(track=SpeedTrack(times_s=np.zeros(1), hz=np.ones(1)), error=1.0)


def fit_alone(take: Ready, turning: Turning, scale: float) -> TakeSpeed:
    """The speed of one more take at a known turning, near a scale found before."""
    label = take.take.position or turning.label
    frames = short_spectra(take.slow, take.slow_hz, turning.machine.supply.mains_hz)
    trials = _trials({label: turning}, take, frames)
    return _fit_take(take, frames, trials, {label: turning}, scale, BETWEEN_TAKES)


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
    trial = _Trial(turning=turning, lines=lines, nominal_hz=nominal, curve=np.zeros(1))
    fit = _follow(take, frames, trial, scale)
    return fit.sureness, fit.support


def _tells_apart(other: Turning, filed: Turning) -> bool:
    """Whether another position's lines are another pattern, and one that no single comb fits."""
    return len(_pairs(other)) >= MANY_PAIRS or bool(_pairs(filed) and _pairs(other) - _pairs(filed))


def _clearly_other(filed: _Fit, other: _Fit) -> bool:
    """Whether another position explains a take so much better that it must be that one.

    A take that fits where it was filed stays there.
    """
    better = other.sureness >= max(8.0, filed.sureness + 2.0)
    return filed.sureness < FITS_AS_FILED and better and other.support > filed.support + 10.0


def _follow(
    take: Ready, frames: Frames, trial: _Trial, scale: float, window: float = BETWEEN_TAKES
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
