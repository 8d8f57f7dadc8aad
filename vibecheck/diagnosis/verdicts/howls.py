"""A howl that is there while cutting: chatter, or something that turns?

Chatter keeps its hertz, give or take a few, while every shaft changes speed; it is silent in air;
and the tool rings there when tapped. In one take it lies near some named line about half the time;
over a sweep no name lasts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import comb

import numpy as np

from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.readings.fixed_tones import FixedTone, scatter, train_lines
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.verdicts.carriers import at_true_mains, carried
from vibecheck.diagnosis.verdicts.cutting_lines import listen, swelling, tapped_modes
from vibecheck.errors import RecordingError
from vibecheck.finish.chatter import ChatterVerdict, Listening, decide
from vibecheck.finish.tap import Mode
from vibecheck.recording import Take
from vibecheck.units import rpm

STRONG_DB = 15.0
"""Lines further below the strongest one of their take are not looked at."""
WANDERS = 0.025
FEWEST, SHARE = 3, 0.7
ALONE = 0.004
"""A line this near a tooth tone or its sidebands, relative, may be theirs."""
MAINS_NEAR, MAINS_HZ = 0.0025, 0.6
"""Nearer a multiple of the mains than this, relative and in hertz, is the mains."""
NAMED_NEAR = 0.01
"""What is usually taken for a match."""
SURE = {"shown": 0.985, "likely": 0.92, "possible": 0.60}
WORTH_SAYING = 0.30
SWEPT = 0.90
"""Cutting takes alone: the sweep leaves no part of the machine, but only a take in air tells a
howl from a structure that the machine shakes."""
SCATTERED, CHANCE_LEAN, MEANT_LEAN = 0.0185, 13.0, 0.8
"""What chance meetings of lines within reach scatter, relative; the natural log that many places
tried must be beaten by; and the weight of what is left."""
SPAN, NARROWEST, TRIED = 2.0, 0.0015, 4.0
"""Natural logarithm of the range of hertz over which strong lines of a cut lie, most of them; how
near two lines of one spectrum can be told apart, relative; and natural log of the ways tried."""
RULES_DB, RULES_PER_DB, RULES_PER_RANK = -3.0, 4.0, 4.0
"""A howl that tops its takes needs no other agreement than chance cannot make; what it loses in
natural log a decibel and a louder line below that."""
PURE = 0.08
"""A line whose envelope varies by less than this share is made by something that turns (judgement;
invented chatter of three makers varies by a quarter and more, a motor's multiples by 3 %)."""
MULTIPLES, SLIPS, MOST = 8, 0.015, 0.6
"""Multiples of a rotor that are heard as tones; how far a cut may make the motor slip from what is
expected, relative; and the share of takes that must meet one."""
HOWL_DB, HOWL_SPREAD_DB = -10.0, 2.0
"""Level under the strongest line of its take at which a howl is hardly one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Howl:
    """One line near the same hertz in most cutting takes.

    ``scatter`` is that of its loudest place from take to take, relative; ``level_db`` its median
    level over the strongest line; ``ranks`` say of each take in which it stands free how many free
    lines are at least as loud, itself among them, and ``places`` where it is there, in hertz;
    ``of`` is the number of takes in which it was sought.
    """

    hz: float
    scatter: float
    level_db: float
    takes: tuple[int, ...]
    ranks: tuple[int, ...]
    places: Mapping[int, float]
    of: int

    @property
    def meant(self) -> float:
        """How surely the takes have one and the same howl, and it is loud (0 to 1)."""
        agrees = len(self.takes) * float(np.log(SCATTERED / self.scatter)) - CHANCE_LEAN
        lean = max(agrees, self._ruling)
        loud = (self.level_db - HOWL_DB) / HOWL_SPREAD_DB
        return float(np.exp(-np.logaddexp(0.0, -MEANT_LEAN * lean) - np.logaddexp(0.0, -loud)))

    @property
    def _ruling(self) -> float:
        """Natural log odds that the loudest lines of so many takes are one howl."""
        faint = RULES_PER_DB * max(0.0, RULES_DB - self.level_db)
        topped = RULES_PER_RANK * (float(np.median(self.ranks)) - 1.0)
        return -self.log_chance - TRIED - faint - topped

    @property
    def log_chance(self) -> float:
        """Natural log of how many such meetings unlike lines make, among lines as loud as these.

        The lines of one take settle where; in each of the others one of the so many loudest lies as
        near by accident.
        """
        reach = min(1.0, 2.0 * max(NARROWEST, 2.0 * self.scatter) / SPAN)
        met = np.minimum(1.0, reach * np.array(self.ranks, dtype=float))
        ways = comb(self.of, len(self.ranks))
        return float(np.log(met).sum() - np.log(reach) + np.log(ways))


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
    howl = _howl(heard, cutting, listening)
    if howl is None:
        return list(findings)
    modes, tapped = _modes(specials)
    verdict = decide(
        [_only_at(listening[number], hz) for number, hz in howl.places.items()],
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


def _only_at(each: Listening, hz: float) -> Listening:
    """What was heard in a take, but for all other lines than the one at a place."""
    return replace(each, lines=[line for line in each.lines if line.hz == hz])


def _howl(heard: Listened, takes: Sequence[Heard], listening: Sequence[Listening]) -> _Howl | None:
    """The strongest line that most cutting takes have at nearly one hertz, and no part drives."""
    lines: list[tuple[float, float, int]] = []
    strong: list[tuple[float, int]] = []
    mains_hz = at_true_mains(heard).supply.mains_hz
    for number, (take, each) in enumerate(zip(takes, listening, strict=True)):
        top = max((line.level_db for line in each.lines), default=0.0)
        train = train_lines(take, take.ready.top_hz)
        loud = [line for line in each.lines if line.level_db > top - STRONG_DB]
        strong += [(line.hz, number) for line in loud]
        lines += [
            (line.hz, line.level_db - top, number)
            for line in loud
            if not _near(line.hz, train) and not _of_the_mains(line.hz, mains_hz)
        ]
    needed = max(min(FEWEST, len(takes)), round(SHARE * len(takes)))
    best: tuple[float, _Howl] | None = None
    for centre, _, _ in lines:
        near = [line for line in lines if abs(line[0] / centre - 1.0) < WANDERS]
        numbers = sorted({line[2] for line in near})
        if len(numbers) < _free_takes(centre, takes, needed):
            continue
        if carried(heard, _as_tone(centre, numbers)):
            continue
        weight = float(sum(max(line[1] for line in near if line[2] == n) + 30 for n in numbers))
        if best is None or weight > best[0]:
            loudest = _loudest(near)
            ranks = [
                sum(n == number and other >= level for _, other, n in lines)
                for number, (_, level) in loudest.items()
            ]
            places = np.array([hz for hz, _ in loudest.values()])
            howl = _Howl(
                hz=float(np.median([line[0] for line in near])),
                scatter=scatter(places),
                level_db=float(np.median([level for _, level in loudest.values()])),
                takes=tuple(sorted({n for hz, n in strong if abs(hz / centre - 1.0) < WANDERS})),
                ranks=tuple(ranks),
                places={number: hz for number, (hz, _) in loudest.items()},
                of=len(takes),
            )
            best = weight, howl
    return best[1] if best else None


def _loudest(near: Sequence[tuple[float, float, int]]) -> dict[int, tuple[float, float]]:
    """Place and level of the loudest line of each take."""
    found: dict[int, tuple[float, float]] = {}
    for hz, level, number in near:
        if number not in found or level > found[number][1]:
            found[number] = hz, level
    return found


def _as_tone(hz: float, numbers: Sequence[int]) -> FixedTone:
    takes = tuple(numbers)
    return FixedTone(hz=hz, spread=0.0, share=1.0, takes=takes, over_floor=1.0, above_mesh_db=0.0)


def _near(hz: float, train: np.ndarray) -> bool:
    return bool(train.size and np.min(np.abs(train / hz - 1.0)) < ALONE)


def _of_the_mains(hz: float, mains_hz: float) -> bool:
    """A line so near a multiple of the mains is of the supply; a tool that sings there by chance
    wanders off it."""
    times = round(hz / mains_hz)
    return times >= 1 and abs(hz - times * mains_hz) < min(MAINS_HZ, MAINS_NEAR * hz)


def _free_takes(hz: float, takes: Sequence[Heard], needed: int) -> int:
    """Takes that must have the line: those in which no tooth tone covers its place."""
    covered = sum(_near(hz, train_lines(take, take.ready.top_hz)) for take in takes)
    return max(2 if len(takes) > 2 else 1, round(needed * (1.0 - covered / len(takes))))


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
    howl: _Howl,
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
    if not idle or (len(howl.takes) > FEWEST and not rings):
        probability *= howl.meant
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


def _turns(cutting: Sequence[Heard], howl: _Howl) -> bool:
    """Whether a line is a multiple of what no lever moves (the motor, which slips more under a
    cut), and as pure as turning makes it: a tool that sings swells and fades, as the work goes
    round and the cut varies."""
    if not _a_multiple(cutting, howl):
        return False
    swells = [swelling(cutting[n].ready.take.recording, hz) for n, hz in howl.places.items()]
    return float(np.median(swells)) < PURE


def _a_multiple(cutting: Sequence[Heard], howl: _Howl) -> bool:
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
