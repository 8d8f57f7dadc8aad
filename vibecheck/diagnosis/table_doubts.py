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
from vibecheck.diagnosis.speed_fit import SweepSpeeds, TakeSpeed, fit_against
from vibecheck.diagnosis.speed_track import Frames, short_spectra
from vibecheck.machine.parts import Gear, Known, Machine, Mesh
from vibecheck.machine.train import Turning, turning
from vibecheck.machine.wrong_numbers import WrongPair, chart_speeds, explain_speeds
from vibecheck.units import hz

Pair = tuple[int, int]

TACHOMETER_ERROR, CHART_ERROR = 2e-3, 6e-3
"""Relative error of a measured speed, and of a chart that rounds."""
LEAST_SHIFT = 0.012
"""One tooth too many shifts a speed by at least this (a gear of 83 teeth)."""
POOR = 0.70
"""Takes that use a pair are suspicious when their lines reach less than this of the others'."""
CLEAR_GAIN = 6.0
"""Mean summed log power by which other counts must beat the table's, take by take."""
AS_GOOD = 0.80
SURE = 5.0
MOST_TAKES = 4
CLEARLY_RIGHT = 8.0
"""Standard deviations at which the sound upholds the table against a speed somebody stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One pair whose teeth must be counted again.

    ``percent`` is how far the table's speed behind the pair lies over the true one; ``positions``
    all those of the chart that use it; ``candidates`` counts that would fit, likeliest first;
    ``told_by`` is "tachometer", "chart" or "sound".
    """

    pair: str
    counted: tuple[int, ...]
    candidates: tuple[Pair, ...]
    positions: tuple[str, ...]
    percent: float
    told_by: str

    def warning(self) -> Fact:
        """The doubt as a sentence."""
        return fact(
            "table_wrong_pair",
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
    listener = _Listener(machine, turnings, takes, speeds)
    stated = _stated_speeds(takes)
    told = "tachometer" if len(stated) > 2 else "chart"
    measured = stated if len(stated) > 2 else chart_speeds(machine)
    error = TACHOMETER_ERROR if told == "tachometer" else CHART_ERROR
    explained = explain_speeds(machine, measured, error)
    if explained.kind == "pair":
        found = [w for w in explained.pairs if abs(w.deviation) > LEAST_SHIFT and w.counted]
        doubts = [_measured_doubt(machine, w, told) for w in found if not listener.upholds(w.pair)]
        if doubts:
            return tuple(doubts)
    return listener.doubts()


def set_aside(speeds: SweepSpeeds, takes: Sequence[Ready], doubts: Sequence[Doubt]) -> SweepSpeeds:
    """The same speeds, with none for takes at positions that use a pair in doubt."""
    if not doubts:
        return speeds
    made = [
        replace(speed, found=False, tracks={}, errors={}) if doubt_of(take, speed, doubts) else speed
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
            evidence=(doubt.warning(),),
            next_test=doubt.next_test(),
            expected=doubt.positions,
        )
        for doubt in doubts
    ]


def _stated_speeds(takes: Sequence[Ready]) -> dict[str, float]:
    stated: dict[str, list[float]] = {}
    for take in takes:
        if take.take.tach_rpm and take.take.position:
            stated.setdefault(take.take.position, []).append(hz(take.take.tach_rpm))
    return {label: float(np.mean(values)) for label, values in stated.items()}


def _measured_doubt(machine: Machine, wrong: WrongPair, told: str) -> Doubt:
    return Doubt(
        pair=wrong.pair,
        counted=wrong.counted,
        candidates=wrong.candidates,
        positions=_positions(machine, wrong.pair),
        percent=100.0 * (1.0 / (1.0 + wrong.deviation) - 1.0),
        told_by=told,
    )


def _positions(machine: Machine, pair: str) -> tuple[str, ...]:
    """Every chart position in which a pair drives."""
    return tuple(
        place.label
        for place in machine.positions
        if any(work.name == pair and work.loaded for work in turning(machine, place).meshes)
    )


class _Listener:
    """Holds takes against the table and against tables with one pair changed."""

    def __init__(
        self,
        machine: Machine,
        turnings: Mapping[str, Turning],
        takes: Sequence[Ready],
        speeds: SweepSpeeds,
    ) -> None:
        self.machine, self.turnings, self.takes, self.speeds = machine, turnings, takes, speeds
        self.frames: dict[int, Frames] = {}
        self.users: dict[str, list[int]] = {}
        for number, take in enumerate(takes):
            here = turnings.get(take.take.position or "")
            for work in here.meshes if here else ():
                if work.loaded and work.driver_teeth and work.driven_teeth:
                    self.users.setdefault(work.name, []).append(number)

    def upholds(self, pair: str) -> bool:
        """Whether most takes that use a pair fit the table as filed beyond doubt."""
        numbers = self.users.get(pair, [])
        fine = [
            n
            for n in numbers
            if self.speeds.takes[n].found
            and not self.speeds.takes[n].misfiled
            and self.speeds.takes[n].sureness >= CLEARLY_RIGHT
            and self.speeds.takes[n].support >= POOR * self._usual(numbers)
        ]
        return bool(numbers) and self._usual(numbers) > 0 and len(fine) > 0.6 * len(numbers)

    def _usual(self, numbers: Sequence[int]) -> float:
        """Support of the takes that do not use a pair."""
        others = [
            speed.support
            for n, speed in enumerate(self.speeds.takes)
            if n not in numbers and speed.found
        ]
        return float(np.median(others)) if len(others) > 1 else 0.0

    def doubts(self) -> tuple[Doubt, ...]:
        """The pair whose neighbouring counts clearly fit better, if any."""
        if self.speeds.scale_sureness <= 0.0:
            return ()
        best: tuple[float, Doubt] | None = None
        for pair in self._suspicious():
            made = self._recounted(pair)
            if made is not None and (best is None or made[0] > best[0]):
                best = made
        return (best[1],) if best else ()

    def _suspicious(self) -> list[str]:
        found = []
        for pair, numbers in self.users.items():
            own = [self.speeds.takes[n].support for n in numbers]
            usual = self._usual(numbers)
            if len(numbers) > 1 and usual > 0 and float(np.median(own)) < POOR * usual:
                found.append((float(np.median(own)) / usual, pair))
        return [pair for _, pair in sorted(found)[:3]]

    def _recounted(self, pair: str) -> tuple[float, Doubt] | None:
        mesh = next(m for m in self.machine.meshes if m.name == pair)
        counted = _teeth(self.machine, mesh)
        numbers = self.users[pair]
        numbers = [numbers[k] for k in np.linspace(0, len(numbers) - 1, MOST_TAKES).astype(int)]
        numbers = sorted(set(numbers))
        plain = self._fits(self.machine, numbers)
        gains: dict[Pair, float] = {}
        for trial in neighbours(counted):
            fits = self._fits(_with_teeth(self.machine, mesh, trial), numbers)
            better = [f[1] - p[1] for f, p in zip(fits, plain, strict=True)]
            good = [f[0] >= SURE and f[1] >= AS_GOOD * self._usual(numbers) for f in fits]
            if np.mean(good) >= 0.75 and np.mean(np.array(better) > 0) >= 0.75:
                gains[trial] = float(np.mean(better))
        top = max(gains.values(), default=0.0)
        if top < CLEAR_GAIN:
            return None
        near = [t for t, gain in gains.items() if gain > top - 0.25 * CLEAR_GAIN]
        near.sort(key=lambda t: (sum(t) != sum(counted), -gains[t]))
        off = counted[0] * near[0][1] / (counted[1] * near[0][0]) - 1.0
        doubt = Doubt(
            pair=pair,
            counted=counted,
            candidates=tuple(near),
            positions=_positions(self.machine, pair),
            percent=100.0 * off,
            told_by="sound",
        )
        return top * len(numbers), doubt

    def _fits(self, machine: Machine, numbers: Sequence[int]) -> list[tuple[float, float]]:
        found = []
        for number in numbers:
            take = self.takes[number]
            if number not in self.frames:
                mains = self.machine.supply.mains_hz
                self.frames[number] = short_spectra(take.slow, take.slow_hz, mains)
            here = turning(machine, machine.position(str(take.take.position)))
            found.append(fit_against(take, self.frames[number], here, self.speeds.scale))
        return found


def neighbours(counted: Pair) -> list[Pair]:
    """Counts a slip of the pen or of a finger would make: same sum first, then one tooth more.

    >>> neighbours((44, 40))[:3], (44, 41) in neighbours((44, 40))
    ([(43, 41), (45, 39), (42, 42)], True)
    """
    one, other = counted
    same = [(one + k, other - k) for k in (-1, 1, -2, 2, -3, 3)]
    apart = [(one + a, other + b) for a in (-1, 0, 1) for b in (-1, 0, 1) if a + b]
    return [trial for trial in same + apart if min(trial) > 5]


def _teeth(machine: Machine, mesh: Mesh) -> Pair:
    values = [machine.gear(name).teeth.value or 0.0 for name in (mesh.driver, mesh.driven)]
    return round(values[0]), round(values[1])


def _with_teeth(machine: Machine, mesh: Mesh, teeth: Pair) -> Machine:
    counts = dict(zip((mesh.driver, mesh.driven), teeth, strict=True))

    def recounted(gear: Gear) -> Gear:
        if gear.name not in counts:
            return gear
        return replace(gear, teeth=Known.exactly(float(counts[gear.name])))

    return replace(machine, gears=tuple(recounted(gear) for gear in machine.gears))
