"""Findings about tones that no lever moves."""

from __future__ import annotations

from collections.abc import Sequence

from vibecheck.diagnosis.findings import Finding, fact, verdict_for
from vibecheck.diagnosis.fixed_tones import FixedTone
from vibecheck.diagnosis.listened import Listened
from vibecheck.machine.parts import Machine

RULES = -3.0
"""Level over the strongest line of the train (dB) at which a fixed tone rules a take."""
FEWEST = 4
NEAR_MAINS = 0.003


def fixed_findings(heard: Listened) -> list[Finding]:
    """At most one finding for the mains and one for anything else; modest tones are no finding."""
    cutting = any(take.take.kind == "cutting" for take in heard.ready)
    idle = any(take.take.kind == "idle" for take in heard.ready)
    found: list[Finding] = []
    for tone in heard.fixed:
        if len(tone.takes) < FEWEST or _carried(heard, tone):
            continue
        mains = mains_multiple(heard.machine, tone.hz)
        kind = "mains" if mains else "tool" if cutting and not idle else "structure"
        if any(f.part == kind for f in found):
            continue
        probability = _probability(tone)
        if probability < 0.3:
            continue
        found.append(_finding(heard, tone, kind, probability))
    return found


def mains_multiple(machine: Machine, hz: float) -> int:
    """Which multiple of twice the mains a tone is; 0 for none."""
    twice = 2.0 * machine.supply.mains_hz
    times = round(hz / twice)
    return times if times >= 1 and abs(hz / (times * twice) - 1) < NEAR_MAINS else 0


def _carried(heard: Listened, tone: FixedTone) -> bool:
    """Whether something whose speed no lever moves turns at this rate or a multiple of it."""
    for name in ("motor", *(name for take in heard.takes[:1] for name in take.turning.rotors)):
        speeds = [t.turning.nominal_hz(name) for t in heard.takes if name in t.turning.rotors]
        known = [s for s in speeds if s]
        if len(known) < len(heard.takes) or not known or max(known) / min(known) > 1.01:
            continue
        times = tone.hz / (known[0] * heard.speeds.scale)
        if 0.5 < times < 12.5 and abs(times - round(times)) < 0.02 * max(times, 1.0):
            return True
    return False


def _probability(tone: FixedTone) -> float:
    """How sure that this fixed tone matters: it must rule, and be there nearly everywhere."""
    rules = min(1.0, max(0.0, (tone.above_mesh_db - RULES + 8.0) / 10.0))
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
    """Fixed tones that are there but rule nothing."""
    named = {f.rates_hz[label] for f in findings for label in f.rates_hz}
    return [tone for tone in heard.fixed if tone.hz not in named]
