"""Recordings and nothing else: which tones there are, and what usually makes such tones.

With no table, no speed and no bearing numbers no part can be named. What can be said is which
families of tones stand out, how far apart they are, what their kind usually comes from, and which
of them move when the speed does. No verdict here is better than "possible".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.findings import Diagnosis, Fact, TakeReport, fact
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.single.unknown_bearing import UnknownBearing, unknown_bearing
from vibecheck.diagnosis.untabled.findings import untabled_findings
from vibecheck.diagnosis.untabled.told import Told
from vibecheck.diagnosis.untabled.tone_families import (
    ToneFamily,
    loud_tones,
    shaft_of_tones,
    tone_families,
)
from vibecheck.diagnosis.untabled.tone_nature import Placed, likely_shaft, placed
from vibecheck.diagnosis.verdicts.take_reports import sound_remarks
from vibecheck.recording import Take
from vibecheck.spectra.envelope import FEWEST_FRAMES, Transform, transformed
from vibecheck.spectra.peaks import Peak
from vibecheck.units import hz as turns_a_second

NEAR_SHAFT = 0.01
LISTENED = ("idle", "cutting")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """What one transform holds."""

    families: tuple[Placed, ...] = ()
    tones: tuple[Peak, ...] = ()
    shaft: ToneFamily | None = None
    bearing: UnknownBearing | None = None


def hear_untabled(takes: Sequence[Take]) -> Diagnosis:
    """List the tone families of takes of which nothing else is known.

    Parameters
    ----------
    takes : sequence of Take
        At least one. Idle and cutting takes are listened to; the others only when there are no
        such takes.

    Returns
    -------
    Diagnosis
        With findings at most "possible", no evidence table, and the next test that would allow
        more to be said.
    """
    wanted = [take for take in takes if take.kind in LISTENED] or list(takes)
    told = [_told(made_ready(take)) for take in wanted]
    findings = untabled_findings(told)
    return Diagnosis(
        machine="",
        takes=tuple(_report(one) for one in told),
        findings=findings,
        warnings=(fact("no_table"),),
        next_test=_next(told),
    )


def _told(ready: Ready) -> Told:
    support = ready.take.recording.support
    if ready.samples.size < FEWEST_FRAMES or not np.any(ready.samples):
        return Told(ready=ready)
    whole = transformed(ready.samples, ready.rate_hz)
    heard = _heard(whole, ready.take.tach_rpm, support.low_hz, support.high_hz)
    return Told(
        ready=ready,
        families=heard.families,
        tones=heard.tones,
        shaft=heard.shaft,
        bearing=heard.bearing,
        step=whole.step,
    )


def _heard(whole: Transform, stated_rpm: float | None, low_hz: float, high_hz: float) -> _Heard:
    tones = [t for t in loud_tones(whole) if t.place >= low_hz and t.place <= (high_hz or np.inf)]
    families = tone_families(whole)
    shaft = _stated(families, stated_rpm) or likely_shaft(families)
    if shaft is None:
        shaft = shaft_of_tones(tones, step=whole.step)
        families = [*families, shaft] if shaft is not None else families
    bearing = None
    if shaft is not None:
        bearing = unknown_bearing(
            whole, shaft_hz=shaft.hz, search=NEAR_SHAFT, low_hz=low_hz, high_hz=high_hz
        )
    return _Heard(
        families=tuple(placed(families, shaft, step=whole.step)),
        tones=tuple(tones),
        shaft=shaft,
        bearing=bearing,
    )


def _stated(families: Sequence[ToneFamily], rpm: float | None) -> ToneFamily | None:
    """The family nearest to a speed someone measured, when one is near."""
    if not rpm or not families:
        return None
    nearest = min(families, key=lambda family: abs(family.hz / turns_a_second(rpm) - 1))
    return nearest if abs(nearest.hz / turns_a_second(rpm) - 1) < 2 * NEAR_SHAFT else None


def _report(told: Told) -> TakeReport:
    take = told.ready.take
    remarks = list(sound_remarks(told.ready))
    if not np.any(told.ready.samples):
        remarks.append(fact("too_quiet", take=take.name))
    elif told.shaft is None:
        remarks.append(fact("no_speed", take=take.name))
    shaft = told.shaft
    return TakeReport(
        name=take.name,
        position=take.position,
        kind=take.kind,
        seconds=told.ready.seconds,
        speeds_hz={"a shaft": shaft.hz} if shaft else {},
        speed_error={"a shaft": shaft.uncertainty_hz / shaft.hz} if shaft else {},
        chart_rpm=take.tach_rpm,
        remarks=tuple(remarks),
    )


def _next(told: Sequence[Told]) -> Fact:
    """Record again what was silent; else the speed; else the table."""
    mute = [one.label for one in told if not np.any(one.ready.samples)]
    if len(mute) == len(told):
        return fact("record_again", positions=mute, reason="there is nothing in it")
    if not any(one.shaft for one in told):
        return fact("state_speed")
    return fact("gear_table")
