"""The speed of every take of a sweep, fitted together.

One motor drives all takes, so their speeds stand at one common scale to the table's within a per
cent or two. The sweep finds that scale first; then each take is followed down to its phase, and
must agree with the others or be the surer for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.agreement import (
    LIKE_EACH_OTHER,
    UNDER_CUT,
    Alikeness,
    agreed_on_steps,
    middle_scale,
    one_machine,
    same_steps,
    slipping_belts,
    sure_enough,
)
from vibecheck.diagnosis.speeds.by_turns import likely_scale, needs_turns, with_turns
from vibecheck.diagnosis.speeds.followed import take_speed
from vibecheck.diagnosis.speeds.found import SweepSpeeds, TakeSpeed, not_used
from vibecheck.diagnosis.speeds.labouring import expected_scales
from vibecheck.diagnosis.speeds.motor_turns import motors_heard
from vibecheck.diagnosis.speeds.scale import (
    USUAL_SCALE,
    Trial,
    common_scale,
    position_trials,
    too_few_to_tell,
)
from vibecheck.diagnosis.speeds.track import Frames, short_spectra
from vibecheck.diagnosis.speeds.turn_takes import SweepTurns
from vibecheck.machine.train import Turning

PLAUSIBLE = 0.07
"""A scale further from 1 than this is offered to the user as a wrong table or supply."""
ENOUGH_LEAD = 0.08
BORNE_OUT_LEAD = 0.03
"""The lead that is enough where the motor's own turns say about the same."""
FAR_LEAD, FAR_TAKES = 0.3, 3.2
"""The lead that a scale needs which no plate and no belt explains, and that times the takes."""
ALIKE = 0.008
"""A take further than this from the sweep's middle scale is fitted again, close to it."""
LABOURS = 0.003
"""A take so far from the middle by the motor's labour alone is sought there once more."""
TOLD_WITHIN, SURE_TOLD, TOLD_SUPPORT = 0.006, 3.0, 6.0
"""A take so near the scale that others on its step of the belts tell must be so sure, and its lines
stand so far above decoys (natural log power)."""
FEW, MOTORS_DIFFER, SURE_ALONE = 2, 0.03, 9.0
"""So few takes share no scale to speak of: each is fitted about the table's own, this widely, and
must be this sure by itself."""


def fit_speeds(turnings: Mapping[str, Turning], takes: Sequence[Ready]) -> SweepSpeeds:
    """Fit the speeds of all takes of one sweep.

    Under a cut the motor slips more, and differently at every position: takes in air and takes
    under cut are fitted each among themselves.

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
    cutting = [number for number, take in enumerate(takes) if take.take.kind == "cutting"]
    if not cutting:
        return _fit_alike(turnings, takes, LIKE_EACH_OTHER)
    if len(cutting) == len(takes):
        return _fit_alike(turnings, takes, UNDER_CUT)
    in_air = [number for number in range(len(takes)) if number not in cutting]
    air = _fit_alike(turnings, [takes[n] for n in in_air], LIKE_EACH_OTHER)
    cut = _fit_alike(turnings, [takes[n] for n in cutting], UNDER_CUT)
    found = dict(zip(in_air, air.takes, strict=True)) | dict(zip(cutting, cut.takes, strict=True))
    surer = max((air, cut), key=lambda speeds: speeds.scale_sureness)
    return replace(surer, takes=tuple(found[number] for number in range(len(takes))))


def _fit_alike(
    turnings: Mapping[str, Turning], takes: Sequence[Ready], alike: Alikeness
) -> SweepSpeeds:
    """Fit takes made under one kind of load."""
    machine = next(iter(turnings.values())).machine
    filed = [turnings.get(take.take.position or "") for take in takes]
    by_turns = needs_turns(machine, filed)
    turns = motors_heard(takes, filed) if by_turns else SweepTurns(takes=(None,) * len(takes))
    frames = [short_spectra(take.slow, take.slow_hz, machine.supply.mains_hz) for take in takes]
    trials = [
        position_trials(turnings, take, frame) for take, frame in zip(takes, frames, strict=True)
    ]
    likely = likely_scale(machine, turns)
    common = common_scale(takes, trials, likely, alike.between)
    scale, sureness = common.scale, common.lead
    window = alike.between
    count = sum(
        (take.take.position or next(iter(trial), "")) in trial
        for take, trial in zip(takes, trials, strict=True)
    )
    borne_out = turns.motor_scale is not None and abs(np.log(scale) - likely.middle) <= likely.width
    leads = _leads_enough(scale, sureness, count, borne_out=bool(borne_out))
    doubtful = not leads or too_few_to_tell(scale, filed)
    if doubtful and len(takes) <= FEW:
        scale, window = float(np.exp(likely.middle)), min(likely.width, MOTORS_DIFFER)
    elif doubtful:
        trials = [{} for _ in trials]
        scale = 1.0
    given = list(zip(takes, frames, trials, strict=True))
    fitted = [take_speed(*one, turnings, scale, window) for one in given]
    if doubtful:
        fitted = [one if one.sureness >= SURE_ALONE else not_used(one) for one in fitted]
    middle = middle_scale(fitted)
    expected: Sequence[float] | None = None
    if middle is not None:
        labours = expected_scales(fitted, filed) if alike is LIKE_EACH_OTHER else None
        expected = labours or [middle] * len(fitted)
        for number in _to_fit_again(fitted, takes, expected, middle):
            again = take_speed(*given[number], turnings, expected[number], ALIKE)
            elsewhere = again.misfiled and abs(again.scale / expected[number] - 1.0) > alike.near
            fitted[number] = not_used(again) if elsewhere else again
        if not one_machine(fitted, expected, common.lead_by_teeth, alike):
            fitted = [not_used(speed) for speed in fitted]
            return SweepSpeeds(takes=tuple(fitted), scale=1.0, scale_sureness=0.0)
        fitted = [
            sure_enough(speed, each, alike) for speed, each in zip(fitted, expected, strict=True)
        ]
        scale = middle
        fitted = _exchanged(given, fitted, turnings, expected)
    if by_turns:
        heard = with_turns(fitted, turns, filed)
        told = _fitted_where_told(given, fitted, heard, turnings)
        fitted = with_turns(told, turns, filed) if told != fitted else heard
    fitted = agreed_on_steps(fitted, takes, expected)
    return SweepSpeeds(takes=tuple(fitted), scale=scale, scale_sureness=sureness)


def _exchanged(
    given: Sequence[tuple[Ready, Frames, Mapping[str, Trial]]],
    fitted: Sequence[TakeSpeed],
    turnings: Mapping[str, Turning],
    expected: Sequence[float],
) -> list[TakeSpeed]:
    """Speeds of takes whose position another take turned out to be of: they are sought at the one
    that other was filed under, where teeth that stand out less will do."""
    vacated = {
        speed.turning.label: speed.filed
        for speed in fitted
        if speed.found and speed.misfiled and speed.turning is not None
    }
    found = list(fitted)
    for number, (take, frames, trials) in enumerate(given):
        other = vacated.get(take.take.position or "")
        if fitted[number].found or other is None or other not in trials:
            continue
        only = {other: trials[other]}
        again = take_speed(take, frames, only, turnings, expected[number], ALIKE, sure=SURE_TOLD)
        if again.found and again.support >= TOLD_SUPPORT:
            found[number] = again
    return found


def _fitted_where_told(
    given: Sequence[tuple[Ready, Frames, Mapping[str, Trial]]],
    fitted: Sequence[TakeSpeed],
    heard: Sequence[TakeSpeed],
    turnings: Mapping[str, Turning],
) -> list[TakeSpeed]:
    """Speeds by teeth again, in takes that others on the same step of the belts tell where to look:
    so near their scale, teeth that stand out less will do."""
    found = list(fitted)
    for number, (take, frames, trials) in enumerate(given):
        label = take.take.position or ""
        if fitted[number].found or label not in trials:
            continue
        turning, group = trials[label].turning, trials[label].lines.group
        scales = [
            speed.tracks[group].mean_hz / nominal
            for speed in heard
            if speed.found
            and speed.turning is not None
            and group in speed.tracks
            and same_steps(speed.turning, turning)
            and (nominal := speed.turning.groups[group].nominal_hz)
        ]
        if scales:
            own = {label: trials[label]}
            scale = float(np.median(scales))
            again = take_speed(take, frames, own, turnings, scale, TOLD_WITHIN, sure=SURE_TOLD)
            if again.found and again.support >= TOLD_SUPPORT:
                found[number] = again
    return found


def _leads_enough(scale: float, lead: float, takes: int, *, borne_out: bool) -> bool:
    """Whether the common scale leads its rivals by as much as one so unusual must."""
    if abs(float(np.log(scale)) - USUAL_SCALE) > PLAUSIBLE:
        return lead >= max(FAR_LEAD, FAR_TAKES / max(takes, 1))
    return lead >= (BORNE_OUT_LEAD if borne_out else ENOUGH_LEAD)


def _to_fit_again(
    fitted: Sequence[TakeSpeed], takes: Sequence[Ready], expected: Sequence[float], middle: float
) -> list[int]:
    """Takes that stand astray, or seem filed under a wrong position: the sweep now says where.

    So it does of takes without a speed that are to be expected away from the middle.
    """
    steady = slipping_belts(fitted) <= 1
    found = []
    for number, speed in enumerate(fitted):
        loaded = takes[number].take.kind == "cutting"
        astray = steady and not loaded and abs(speed.scale / expected[number] - 1.0) > ALIKE
        labours = abs(expected[number] / middle - 1.0) > LABOURS
        if (speed.misfiled or astray) if speed.found else labours:
            found.append(number)
    return found
