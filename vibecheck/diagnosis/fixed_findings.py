"""Findings about tones that no lever moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.findings import Finding, fact, verdict_for
from vibecheck.diagnosis.fixed_tones import FixedTone
from vibecheck.diagnosis.listened import Listened
from vibecheck.machine.parts import Machine
from vibecheck.units import SECONDS_PER_MINUTE

FEWEST = 4
NEAR_MAINS, SHARP_MAINS = 0.003, 0.0012
"""Mains are this steady; a multiple of a motor seldom comes within the sharper."""


def fixed_findings(heard: Listened) -> list[Finding]:
    """At most one finding for the mains and one for anything else; modest tones are no finding."""
    cutting = any(take.take.kind == "cutting" for take in heard.ready)
    idle = any(take.take.kind == "idle" for take in heard.ready)
    found: list[Finding] = []
    for tone in heard.fixed:
        if len(tone.takes) < FEWEST or carried(heard, tone):
            continue
        mains = mains_multiple(at_true_mains(heard), tone.hz)
        kind = "mains" if mains else "tool" if cutting and not idle else "structure"
        if any(f.part == kind for f in found):
            continue
        probability = _probability(tone)
        if probability < 0.3:
            continue
        found.append(_finding(heard, tone, kind, probability))
    return found


def at_true_mains(heard: Listened) -> Machine:
    """The machine, on the other mains when all its speeds say that the table has the wrong one."""
    machine, scale = heard.machine, heard.speeds.scale
    stated = machine.supply.mains_hz
    other = {50.0: 60.0, 60.0: 50.0}.get(stated)
    if other is None or not 0.95 < scale * stated / other < 1.07:
        return machine
    return replace(machine, supply=replace(machine.supply, mains_hz=other))


def mains_multiple(machine: Machine, hz: float, *, within: float = NEAR_MAINS) -> int:
    """Which multiple of twice the mains a tone is; 0 for none."""
    twice = 2.0 * machine.supply.mains_hz
    times = round(hz / twice)
    return times if times >= 1 and abs(hz / (times * twice) - 1) < within else 0


def carried(heard: Listened, tone: FixedTone) -> bool:
    """Whether something that turns at a steady rate explains it: a shaft, the motor, a belt."""
    if mains_multiple(at_true_mains(heard), tone.hz, within=SHARP_MAINS):
        return False
    return _on_a_rotor(heard, tone) or _on_a_belt(heard, tone) or _on_the_motor(heard, tone)


def _on_a_rotor(heard: Listened, tone: FixedTone) -> bool:
    """A low multiple of one rotor's own speed in most takes, as those speeds were heard."""
    names = {name for take in heard.takes for name in take.turning_ratios()}
    for name in names:
        speeds = [hz for take in heard.takes if (hz := take.rotor_hz(name))]
        for times in range(1, 13):
            near = [abs(tone.hz / (times * hz) - 1) < 0.003 for hz in speeds]
            if len(near) > 2 and np.mean(near) > 0.6:
                return True
    return False


def _on_a_belt(heard: Listened, tone: FixedTone) -> bool:
    """Up to the eighth multiple of a belt's rate, within what belts stretch and slip."""
    for work in (w for take in heard.takes for w in take.turning.belts if w.order is not None):
        driver = heard.takes[0].turning.nominal_hz(work.driver) if heard.takes else None
        if driver is None or work.order is None:
            continue
        times = tone.hz / (work.order * driver * heard.speeds.scale)
        if 0.5 < times < 8.5 and abs(times - round(times)) < 0.03 * times:
            return True
    return False


def _on_the_motor(heard: Listened, tone: FixedTone) -> bool:
    """One or two turns of the motor, anywhere between its plate and its supply."""
    motor = heard.machine.motor
    plate = motor.plate_rpm.middle if motor else None
    if plate is None:
        return False
    times = tone.hz / (plate / SECONDS_PER_MINUTE)
    return any(0.98 * k < times < 1.065 * k for k in (1, 2))


def _probability(tone: FixedTone) -> float:
    """How sure that this fixed tone matters: it must rule, and be there nearly everywhere."""
    rules = min(1.0, max(0.0, (tone.above_mesh_db + 10.0) / 12.0))
    return 0.99 * rules * min(1.0, tone.share / 0.95)


def _finding(heard: Listened, tone: FixedTone, kind: str, probability: float) -> Finding:
    fault = {
        "mains": "mains hum",
        "tool": "chatter",
        "structure": "fixed tone of structure or room",
    }[kind]
    evidence = [fact("fixed_hz", hz=tone.hz, count=len(tone.takes))]
    if kind == "mains":
        evidence.append(fact("twice_mains", hz=tone.hz))
    test = {
        "mains": fact("coast_down", seconds=10.0),
        "tool": fact("idle_and_cutting"),
        "structure": fact("record_background", seconds=20.0),
    }[kind]
    labels = [_label(heard, number) for number in tone.takes]
    gears = [gear.name for gear in heard.machine.gears]
    return Finding(
        part=kind,
        parts=(kind,),
        part_kind=kind,
        fault=fault,
        verdict=verdict_for(probability),
        probability=probability,
        evidence=tuple(evidence),
        ruled_out=tuple(fact("rate_does_not_move", part=name) for name in gears[:2]),
        next_test=test,
        heard=tuple(dict.fromkeys(labels)),
        expected=tuple(dict.fromkeys(_label(heard, n) for n in range(len(heard.ready)))),
        rates_hz=dict.fromkeys(labels, tone.hz),
        per_spindle_turn={
            take.label: tone.hz / hz
            for take in heard.takes
            if (hz := take.rotor_hz(heard.machine.spindle))
        },
    )


def _label(heard: Listened, number: int) -> str:
    speed = heard.speeds.takes[number]
    if speed.turning is not None:
        return speed.turning.label
    return heard.ready[number].take.position or heard.ready[number].take.name


def modest_tones(heard: Listened, findings: Sequence[Finding]) -> list[FixedTone]:
    """Fixed tones that are there but rule nothing; multiples of a named tone are not new ones."""
    roots = [f.rates_hz[label] for f in findings for label in f.rates_hz]
    left: list[FixedTone] = []
    for tone in sorted(heard.fixed, key=lambda each: each.hz):
        if carried(heard, tone) or mains_multiple(heard.machine, tone.hz):
            continue
        if not any(_multiple_of(tone.hz, root) for root in roots):
            left.append(tone)
            roots.append(tone.hz)
    return sorted(left, key=lambda tone: -tone.above_mesh_db)


def _multiple_of(hz: float, root: float) -> bool:
    times = hz / root
    return times > 0.9 and abs(times - round(times)) < 0.01 * times
