"""Which line of the takes under cut is the howl, and is it one howl in all of them?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import comb

import numpy as np

from vibecheck import units
from vibecheck.diagnosis.readings.fixed_tones import FixedTone, scatter, train_lines
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.verdicts.carriers import at_true_mains, carried, of_the_mains
from vibecheck.finish.chatter import Line, Listening

STRONG_DB = 15.0
"""Lines further below the strongest one of their take are not looked at."""
WANDERS = 0.025
FEWEST, SHARE = 3, 0.7
ALONE = 0.004
"""A line this near a tooth tone or its sidebands, relative, may be theirs."""
SCATTERED, CHANCE_LEAN, MEANT_LEAN = 0.0185, 13.0, 0.8
"""What chance meetings of lines within reach scatter, relative; the natural log that many places
tried must be beaten by; and the weight of what is left."""
SPAN, NARROWEST, TRIED = 2.0, 0.0015, 4.0
"""Natural logarithm of the range of hertz over which strong lines of a cut lie, most of them; how
near two lines of one spectrum can be told apart, relative; and natural log of the ways tried."""
RULES_DB, RULES_PER_DB, RULES_PER_RANK = -3.0, 4.0, 4.0
"""A howl that tops its takes needs no other agreement than chance cannot make; what it loses in
natural log a decibel and a louder line below that."""
STEPS, SAME_HOWL = (1 / 3, 1 / 2, 2 / 3, 3 / 2, 2.0, 3.0), 0.004
"""Multiples of one howl against each other, and how near such a line must come, relative."""
HOWL_DB, HOWL_SPREAD_DB = -10.0, 2.0
"""Level under the strongest line of its take at which a howl is hardly one."""
BESIDE, SIDES, CROWDED_DB, CROWDED_SPREAD_DB, MOST_TAKES = 0.035, 3, -6.5, 1.5, 0.65
"""What the hiss of a cut makes of a casing's resonance is a heap of lines: how near they lie,
relative; multiples of the spindle beside a howl that are its own, as the work goes round; level of
the next line beside it at which it is as likely a heap, and the share of takes it is told by
(invented chatter of three makers stands 10 dB and more over what is beside it)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Howl:
    """One line near the same hertz in most cutting takes.

    ``scatter`` is that of its loudest place from take to take, relative; ``level_db`` the median
    level of its loudest multiple over the strongest line; ``ranks`` say of each take in which it
    stands free how many free lines are at least as loud, itself among them but not its multiples,
    and ``places`` where it is there, in hertz; ``of`` is the number of takes in which it was
    sought; ``beside_db`` is the level of the next line close by over its own, in most takes at
    most.
    """

    hz: float
    scatter: float
    level_db: float
    takes: tuple[int, ...]
    ranks: tuple[int, ...]
    places: Mapping[int, float]
    of: int
    beside_db: float = -40.0

    @property
    def meant(self) -> float:
        """How surely the takes have one and the same howl, and it is loud (0 to 1)."""
        agrees = len(self.takes) * float(np.log(SCATTERED / self.scatter)) - CHANCE_LEAN
        lean = max(agrees, self._ruling)
        return self.loud * self.alone * float(np.exp(-np.logaddexp(0.0, -MEANT_LEAN * lean)))

    @property
    def alone(self) -> float:
        """How surely it is one line and no heap of them (0 to 1)."""
        over = (self.beside_db - CROWDED_DB) / CROWDED_SPREAD_DB
        return float(np.exp(-np.logaddexp(0.0, over)))

    @property
    def loud(self) -> float:
        """How surely it is loud enough beside all else to be a howl (0 to 1)."""
        over = (self.level_db - HOWL_DB) / HOWL_SPREAD_DB
        return float(np.exp(-np.logaddexp(0.0, -over)))

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


def find_howl(
    heard: Listened, takes: Sequence[Heard], listening: Sequence[Listening]
) -> Howl | None:
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
            if not _near(line.hz, train) and not of_the_mains(line.hz, mains_hz)
        ]
    needed = max(min(FEWEST, len(takes)), round(SHARE * len(takes)))
    best: tuple[float, Howl] | None = None
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
                sum(
                    n == number and other >= level and not _in_step(at, hz)
                    for at, other, n in lines
                )
                for number, (hz, level) in loudest.items()
            ]
            levels = [
                max(
                    other
                    for at, other, n in lines
                    if n == number and (at == hz or _in_step(at, hz))
                )
                for number, (hz, _) in loudest.items()
            ]
            places = np.array([hz for hz, _ in loudest.values()])
            howl = Howl(
                hz=float(np.median([line[0] for line in near])),
                scatter=scatter(places),
                level_db=float(np.median(levels)),
                takes=tuple(sorted({n for hz, n in strong if abs(hz / centre - 1.0) < WANDERS})),
                ranks=tuple(ranks),
                places={number: hz for number, (hz, _) in loudest.items()},
                of=len(takes),
                beside_db=_beside_db({n: (listening[n], hz) for n, (hz, _) in loudest.items()}),
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


def _in_step(one_hz: float, other_hz: float) -> bool:
    """Whether two lines are multiples of one howl: a cut that lets go once a swing is no sine."""
    times = one_hz / other_hz
    return any(abs(times / ratio - 1.0) < SAME_HOWL for ratio in STEPS)


def _as_tone(hz: float, numbers: Sequence[int]) -> FixedTone:
    takes = tuple(numbers)
    return FixedTone(hz=hz, spread=0.0, share=1.0, takes=takes, over_floor=1.0, above_mesh_db=0.0)


def _near(hz: float, train: np.ndarray) -> bool:
    return bool(train.size and np.min(np.abs(train / hz - 1.0)) < ALONE)


def _free_takes(hz: float, takes: Sequence[Heard], needed: int) -> int:
    """Takes that must have the line: those in which no tooth tone covers its place."""
    covered = sum(_near(hz, train_lines(take, take.ready.top_hz)) for take in takes)
    return max(2 if len(takes) > 2 else 1, round(needed * (1.0 - covered / len(takes))))


def only_at(each: Listening, hz: float) -> Listening:
    """What was heard in a take, but for all other lines than the one at a place."""
    return replace(each, lines=[line for line in each.lines if line.hz == hz])


def _beside_db(howls: Mapping[int, tuple[Listening, float]]) -> float:
    """Level of the next line close by over the howl's own, which most takes do not exceed."""
    levels = []
    for each, hz in howls.values():
        own = max(line.level_db for line in each.lines if line.hz == hz)
        turn = units.hz(each.rpm)
        strangers = [
            line.level_db - own
            for line in each.lines
            if line.hz != hz and abs(line.hz / hz - 1.0) < BESIDE and not _its_side(line, hz, turn)
        ]
        levels.append(max(strangers, default=-40.0))
    return float(np.quantile(levels, MOST_TAKES))


def _its_side(line: Line, hz: float, turn_hz: float) -> bool:
    """Whether a line lies a few turns of the spindle beside a howl: the work goes round."""
    turns = abs(line.hz - hz) / turn_hz
    return 1 <= round(turns) <= SIDES and abs(turns - round(turns)) * turn_hz < line.uncertainty_hz
