"""A wrong tooth count in the gear table: found, traced to its pair, and nothing rested on it.

Measured speeds tell it at once: they are off in exactly the positions that use the pair. From
sound alone it shows where every take that uses a pair fits the table badly while the others fit
well, and neighbouring counts fit them as well as the rest. Until somebody has counted again, takes
at those positions are set aside: what turns behind the pair turns at another speed than it says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecheck.diagnosis.findings import Fact, Finding, fact
from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import SweepSpeeds, TakeSpeed
from vibecheck.diagnosis.speeds.recounting import Pair, Recount, Recounting
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.machine.wrong_numbers import chart_rounding, chart_speeds, explain_speeds
from vibecheck.machine.wrong_pairs import WrongPair
from vibecheck.units import hz

TACHOMETER_ERROR, CHART_ERROR = 2e-3, 6e-3
"""Relative error of a measured speed, and of a chart that rounds."""
SAME_SHIFT = 0.01
"""Counts that would fit and shift the speeds this nearly alike say by how much the table is off."""
LEAST_SHIFT = 0.012
"""One tooth too many shifts a speed by at least this (a gear of 83 teeth)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One pair whose teeth must be counted again.

    ``percent`` is how far the table's speed behind the pair lies over the true one (None where the
    counts that would fit disagree on it); ``positions``
    all those of the chart that use it; ``candidates`` counts that would fit, likeliest first;
    ``told_by`` is "tachometer", "chart" or "sound".
    """

    pair: str
    counted: tuple[int, ...]
    candidates: tuple[Pair, ...]
    positions: tuple[str, ...]
    percent: float | None
    told_by: str

    def warning(self, others: Sequence[str] = ()) -> Fact:
        """The doubt as a sentence; ``others`` are pairs that may be wrong instead."""
        if others:
            return fact("table_one_of_pairs", parts=(self.pair, *others))
        return fact(
            "table_against_chart" if self.told_by == "chart" else "table_wrong_pair",
            percent=self.percent,
            positions=self.positions,
            pair=self.pair,
            candidates=self.candidates or None,
        )

    def next_test(self) -> Fact:
        """What settles it."""
        return fact("check_table", part=self.pair, candidates=self.candidates or None)


def table_doubts(
    machine: Machine, turnings: Mapping[str, Turning], takes: Sequence[Ready], speeds: SweepSpeeds
) -> tuple[Doubt, ...]:
    """Pairs of the table that the takes contradict; none on almost every machine."""
    ear = Recounting(machine, turnings, takes, speeds)
    stated = _stated_speeds(takes)
    told = "tachometer" if len(stated) > 2 else "chart"
    measured = stated if len(stated) > 2 else chart_speeds(machine)
    error = TACHOMETER_ERROR if told == "tachometer" else CHART_ERROR
    rounding = chart_rounding(machine) if told == "chart" else None
    explained = explain_speeds(machine, measured, error, rounding)
    if explained.kind == "pair":
        found = [w for w in explained.pairs if abs(w.deviation) > LEAST_SHIFT and w.counted]
        doubts = [_measured_doubt(machine, w, told, ear) for w in found if not ear.upholds(w.pair)]
        if doubts:
            return tuple(doubts)
    return tuple(_heard_doubt(machine, heard) for heard in ear.best())


def doubt_warnings(doubts: Sequence[Doubt]) -> list[Fact]:
    """One sentence for each doubt, or one for all when only one of them is meant."""
    if len(doubts) > 1:
        return [doubts[0].warning([other.pair for other in doubts[1:]])]
    return [doubt.warning() for doubt in doubts]


def set_aside(speeds: SweepSpeeds, takes: Sequence[Ready], doubts: Sequence[Doubt]) -> SweepSpeeds:
    """The same speeds, with none for takes at positions that use a pair in doubt."""
    if not doubts:
        return speeds
    made = [
        replace(speed, found=False, tracks={}, errors={})
        if doubt_of(take, speed, doubts)
        else speed
        for take, speed in zip(takes, speeds.takes, strict=True)
    ]
    return replace(speeds, takes=tuple(made))


def doubt_of(take: Ready, speed: TakeSpeed, doubts: Sequence[Doubt]) -> Doubt | None:
    """The doubt that a take's position rests on, as it was filed or as it was heard."""
    labels = {take.take.position, speed.turning.label if speed.turning else None}
    return next((doubt for doubt in doubts if labels & set(doubt.positions)), None)


def doubt_findings(doubts: Sequence[Doubt]) -> list[Finding]:
    """Verdicts on the pair itself, withheld."""
    return [
        Finding(
            part=doubt.pair,
            parts=(doubt.pair,),
            part_kind="pair",
            fault="something not in the table",
            verdict="cannot tell",
            probability=0.0,
            evidence=(fact("table_withheld", positions=doubt.positions),),
            next_test=doubt.next_test(),
        )
        for doubt in doubts
    ]


def _stated_speeds(takes: Sequence[Ready]) -> dict[str, float]:
    stated: dict[str, list[float]] = {}
    for take in takes:
        if take.take.tach_rpm and take.take.position:
            stated.setdefault(take.take.position, []).append(hz(take.take.tach_rpm))
    return {label: float(np.mean(values)) for label, values in stated.items()}


def _measured_doubt(machine: Machine, wrong: WrongPair, told: str, ear: Recounting) -> Doubt:
    """The doubt as measured; a chart is rounded, so what the sound confirms goes before it."""
    recount = ear.recount(wrong.pair, None) if wrong.pair in ear.users else None
    heard = [c for c in recount.candidates if c in wrong.candidates] if recount else []
    if recount and told == "chart" and heard:
        return _heard_doubt(machine, replace(recount, candidates=tuple(heard)))
    return Doubt(
        pair=wrong.pair,
        counted=wrong.counted,
        candidates=tuple(dict.fromkeys([*heard, *wrong.candidates])),
        positions=_positions(machine, wrong.pair),
        percent=100.0 * (1.0 / (1.0 + wrong.deviation) - 1.0),
        told_by=told,
    )


def _heard_doubt(machine: Machine, recount: Recount) -> Doubt:
    one, other = recount.counted
    off = [one * second / (other * first) - 1.0 for first, second in recount.candidates]
    return Doubt(
        pair=recount.pair,
        counted=recount.counted,
        candidates=recount.candidates,
        positions=_positions(machine, recount.pair),
        percent=100.0 * off[0] if max(off) - min(off) < SAME_SHIFT else None,
        told_by="sound",
    )


def _positions(machine: Machine, pair: str) -> tuple[str, ...]:
    """Every chart position in which a pair drives."""
    return tuple(
        place.label
        for place in machine.positions
        if any(work.name == pair and work.loaded for work in turning(machine, place).meshes)
    )
