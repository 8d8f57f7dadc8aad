"""A howl that is there while cutting: chatter, or something that turns?

Chatter keeps its hertz, give or take a few, while every shaft changes speed; it is silent in air;
and the tool rings there when tapped. In one take it lies near some named line about half the time;
over a sweep no name lasts.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.verdicts.carriers import at_true_mains
from vibecheck.diagnosis.verdicts.cutting_lines import listen, swelling, tapped_modes
from vibecheck.diagnosis.verdicts.howl_lines import (
    FEWEST,
    WANDERS,
    Howl,
    find_howl,
    only_at,
)
from vibecheck.errors import RecordingError
from vibecheck.finish.chatter import ChatterVerdict, Listening, decide
from vibecheck.finish.tap import Mode
from vibecheck.recording import Take
from vibecheck.units import rpm

NAMED_NEAR = 0.01
"""What is usually taken for a match."""
SURE = {"shown": 0.985, "likely": 0.92, "possible": 0.60}
WORTH_SAYING = 0.30
SWEPT = 0.90
"""Cutting takes alone: the sweep leaves no part of the machine, but only a take in air tells a
howl from a structure that the machine shakes."""
PURE = 0.08
"""A line whose envelope varies by less than this share is made by something that turns (judgement;
invented chatter of three makers varies by a quarter and more, a motor's multiples by 3 %)."""
MULTIPLES, SLIPS, MOST = 8, 0.015, 0.6
"""Multiples of a rotor that are heard as tones; how far a cut may make the motor slip from what is
expected, relative; and the share of takes that must meet one."""


def chatter_findings(
    heard: Listened, findings: Sequence[Finding], specials: Sequence[Take]
) -> list[Finding]:
    """The findings, with a howl while cutting told from tones that something makes by turning."""
    cutting = [take for take in heard.takes if take.ready.take.kind == "cutting"]
    if not cutting:
        return list(findings)
    idle = [take for take in heard.takes if take.ready.take.kind == "idle"]
    pairs = [(take, each) for take in cutting if (each := _listening(heard, take))]
    cutting, listening = [take for take, _ in pairs], [each for _, each in pairs]
    howl = find_howl(heard, cutting, listening)
    if howl is None:
        return list(findings)
    modes, tapped = _modes(specials)
    verdict = decide(
        [only_at(listening[number], hz) for number, hz in howl.places.items()],
        [each for take in idle if (each := _listening(heard, take))],
        modes,
        mains_hz=at_true_mains(heard).supply.mains_hz,
        near_hz=howl.hz,
        tapped=tapped,
    )
    made = _finding(heard, cutting, idle, howl, verdict)
    same = [f for f in findings if _same_tone(f, howl.hz)]
    others = [f for f in findings if f not in same]
    singers = [f for f in same if f.part_kind == "tool"]
    best = max([*singers, *([made] if made else [])], key=lambda f: f.probability, default=None)
    return [*others, *([best] if best else [])]


def _listening(heard: Listened, take: Heard) -> Listening | None:
    spindle_hz = take.rotor_hz(heard.machine.spindle)
    if spindle_hz is None:
        return None
    shafts = [
        (name, hz)
        for name in take.turning.rotors
        if name != heard.machine.spindle and (hz := take.rotor_hz(name))
    ]
    try:
        return listen(take.ready.take.recording, rpm(spindle_hz), shafts=shafts)
    except RecordingError:
        return None


def _modes(specials: Sequence[Take]) -> tuple[tuple[Mode, ...], bool]:
    taps = [take for take in specials if take.kind == "tap"]
    for take in taps:
        try:
            return tapped_modes(take.recording), True
        except RecordingError:
            continue
    return (), False


def _same_tone(finding: Finding, hz: float) -> bool:
    rates = list(finding.rates_hz.values())
    fixed = finding.part_kind in ("structure", "tool")
    return fixed and bool(rates) and abs(float(np.median(rates)) / hz - 1.0) < WANDERS


def _finding(
    heard: Listened,
    cutting: Sequence[Heard],
    idle: Sequence[Heard],
    howl: Howl,
    verdict: ChatterVerdict,
) -> Finding | None:
    if verdict.kind != "self-excited":
        return None
    probability = SURE[verdict.confidence or "possible"]
    speeds = [take.rotor_hz(heard.machine.spindle) or 0.0 for take in cutting]
    if len(howl.takes) >= 4 and max(speeds) > 1.5 * min(speeds):
        probability = max(probability, SWEPT)
    rings = verdict.signs.mode is not None
    if not rings and _turns(cutting, howl):
        return None
    if not idle or (len(howl.takes) >= FEWEST and not rings):
        probability *= howl.meant
    elif not rings:
        probability *= howl.loud * howl.alone
    if probability < WORTH_SAYING:
        return None
    evidence = [fact("fixed_hz", hz=howl.hz, count=len(howl.takes))]
    if idle and verdict.signs.in_air is False:
        evidence.append(fact("only_while_cutting", hz=howl.hz))
    if verdict.signs.mode is not None:
        mode = verdict.signs.mode
        evidence.append(fact("rings_when_tapped", hz=mode.hz, damping=100.0 * mode.damping))
    labels = [cutting[number].label for number in howl.takes]
    return Finding(
        part="tool",
        parts=("tool",),
        part_kind="tool",
        fault="chatter",
        verdict=verdict_for(probability),
        probability=probability,
        evidence=tuple(evidence),
        ruled_out=tuple(names_that_fail(heard, cutting, howl.hz)),
        next_test=_next_test(verdict, idle),
        heard=tuple(dict.fromkeys(labels)),
        expected=tuple(dict.fromkeys(take.label for take in cutting)),
        rates_hz=dict.fromkeys(labels, howl.hz),
        per_spindle_turn={
            take.label: howl.hz / hz
            for take in cutting
            if (hz := take.rotor_hz(heard.machine.spindle))
        },
    )


def _turns(cutting: Sequence[Heard], howl: Howl) -> bool:
    """Whether a line is a multiple of what no lever moves (the motor, which slips more under a
    cut), and as pure as turning makes it: a tool that sings swells and fades, as the work goes
    round and the cut varies."""
    if not _a_multiple(cutting, howl):
        return False
    swells = [swelling(cutting[n].ready.take.recording, hz) for n, hz in howl.places.items()]
    return float(np.median(swells)) < PURE


def _a_multiple(cutting: Sequence[Heard], howl: Howl) -> bool:
    """Whether most takes have it near one whole multiple of one rotor, as far as that may slip."""
    near: dict[tuple[str, int], int] = {}
    for number, hz in howl.places.items():
        take = cutting[number]
        for name, ratio in take.expected_ratios().items():
            times = hz / (ratio * take.base_hz)
            whole = round(times)
            if 1 <= whole <= MULTIPLES and abs(times / whole - 1.0) < SLIPS:
                near[name, whole] = near.get((name, whole), 0) + 1
    return max(near.values(), default=0) >= MOST * len(howl.places)


def _next_test(verdict: ChatterVerdict, idle: Sequence[Heard]) -> Fact:
    if not idle:
        tap = None if verdict.signs.tapped else "the tool and the bar"
        return fact("idle_and_cutting", tap=tap)
    if not verdict.signs.tapped:
        return fact("tap_test", what="the tool and the bar")
    return fact("change_overhang")


def names_that_fail(
    heard: Listened, takes: Sequence[Heard], hz: float, *, most: int = 4
) -> list[Fact]:
    """Pairs whose tooth tones or sidebands lie near a tone in some takes, and in how many."""
    counts: dict[str, int] = {}
    for take in takes:
        for mesh in take.turning.meshes:
            if mesh.order is None or mesh.group != take.group:
                continue
            ratios = [take.turning.rotors[n].ratio for n in (mesh.driver, mesh.driven)]
            places = [
                harmonic * mesh.order + k * ratio
                for harmonic in (1, 2, 3)
                for ratio in ratios
                for k in range(-3, 4)
            ]
            off = np.abs(np.array(places) * take.base_hz / hz - 1.0)
            counts[mesh.name] = counts.get(mesh.name, 0) + bool(off.min() < NAMED_NEAR)
    ranked = sorted(counts, key=lambda name: -counts[name])
    return [
        fact("named_by_chance", part=name, count=counts[name], of=len(takes))
        for name in ranked[:most]
        if 0 < counts[name] < len(takes)
    ]
