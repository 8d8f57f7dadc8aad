"""What could be named at all by somebody who is not told how the machine sounds when it is sound?

A fault is called moderate when an oracle that is told the true speed, part and fault, *and what the
same machine sounds like without the fault*, sees its statistic stand clear. A sweep holds no such
reference. This benchmark gives the oracle all but that: the statistic matched to the fault, by the
true angle, of every part that could have it, at six positions; and the statistics of hundreds of
other machines. A logistic regression (five folds, one left out at a time) then says how sure that
makes it, and what it would name at likely or better is held against what the engine named::

    python tests/benchmarks/without_reference.py CASES RESULTS.jsonl [--workers 2] [--most 500]

``CASES`` is the folder that ``sweep_inference.py run --cases`` kept, ``RESULTS.jsonl`` that run.
"""

from __future__ import annotations

import argparse
import pickle
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import sweep_scores
from numpy.typing import NDArray
from scipy.optimize import minimize
from sweep_cases import Case

from vibecheck.machine.parts import Position
from vibecheck.synth.conditions import another_take
from vibecheck.synth.faults import PLANTABLE, PlantedFault, candidates
from vibecheck.synth.matched import statistic_db
from vibecheck.synth.oracle import works_in
from vibecheck.synth.sound import rendered

Numbers = NDArray[np.float64]

POSITIONS, SECONDS, RATE_HZ = 6, 8.0, 16000.0
AT_ONE_HZ = ("chatter", "fixed tone of structure or room")
"""Faults whose frequency the sound machines do not tell where to look for."""
LIKELY, FOLDS, PENALTY = 0.85, 5, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspected:
    """One part with one fault in one sweep: what the oracle goes by, and whether it is true."""

    seed: int
    fault: str
    part: str
    seen: tuple[float, ...]
    true: bool


def suspected(path: Path) -> list[Suspected]:
    """Every part that could have the planted fault; of sound machines, every part and fault."""
    case: Case = pickle.loads(path.read_bytes())
    if len(case.faults) > 1 or not all(case.moderate):
        return []
    if any(fault.fault in AT_ONE_HZ for fault in case.faults):
        return []
    heard = _statistics(case)
    planted = {(fault.part, fault.fault) for fault in case.faults}
    return [
        Suspected(
            seed=case.seed,
            fault=name,
            part=part,
            seen=_seen(name, part, heard),
            true=(part, name) in planted,
        )
        for name, part in heard
    ]


def _statistics(case: Case) -> dict[tuple[str, str], dict[str, float]]:
    """(fault, part) -> position -> statistic in dB."""
    names = [fault.fault for fault in case.faults] or [n for n in PLANTABLE if n not in AT_ONE_HZ]
    found: dict[tuple[str, str], dict[str, float]] = defaultdict(dict)
    for place in _positions(case):
        rng = np.random.default_rng([case.seed, 9, case.machine.positions.index(place)])
        made = rendered(
            case.machine,
            place,
            faults=case.faults,
            conditions=another_take(case.conditions, rng),
            rng=rng,
            seconds=SECONDS,
            rate_hz=RATE_HZ,
            individual=case.individual,
            kind="cutting" if "chatter" in names else "idle",
        )
        for name in names:
            for part in candidates(case.machine, name):
                asked = _asked(case, name, part)
                if works_in(case.machine, place, asked):
                    found[name, part][place.label] = statistic_db(made, asked, case.individual)
    return found


def _asked(case: Case, name: str, part: str) -> PlantedFault:
    like = next(iter(case.faults), PlantedFault(part=part, fault=name))
    return replace(like, part=part, fault=name)


def _positions(case: Case) -> list[Position]:
    chart = case.positions(10)
    works = [p for p in chart if all(works_in(case.machine, p, fault) for fault in case.faults)]
    spread = np.unique(np.linspace(0, len(works) - 1, POSITIONS).astype(int))
    return [works[k] for k in spread]


def _seen(
    name: str, part: str, heard: dict[tuple[str, str], dict[str, float]]
) -> tuple[float, ...]:
    """Mean, least and most of the statistic; and its mean over that of the machine's other parts,
    middle one and largest."""
    own = heard[name, part]
    others = [each for (fault, other), each in heard.items() if fault == name and other != part]
    over = [
        level - float(np.median([each[place] for each in others if place in each]))
        for place, level in own.items()
        if any(place in each for each in others)
    ]
    mean = float(np.mean(list(own.values())))
    largest = max((float(np.mean(list(each.values()))) for each in others), default=mean)
    return (
        mean,
        min(own.values()),
        max(own.values()),
        float(np.mean(over or [0.0])),
        mean - largest,
    )


def sureness(found: list[Suspected], sound_weight: float) -> Numbers:
    """Probability that each is true, from the others, folds left out in turn."""
    seen = np.array([each.seen for each in found])
    true = np.array([each.true for each in found], dtype=float)
    faulty = {each.seed for each in found if each.true}
    weight = np.array([1.0 if each.seed in faulty else sound_weight for each in found])
    even = np.c_[np.ones(len(seen)), (seen - seen.mean(axis=0)) / (seen.std(axis=0) + 1e-9)]
    fold = np.array([each.seed for each in found]) // 7 % FOLDS
    told = np.zeros(len(found))
    for left_out in range(FOLDS):
        taught = fold != left_out
        lean = _fitted(even[taught], true[taught], weight[taught])
        told[~taught] = 1.0 / (1.0 + np.exp(-even[~taught] @ lean))
    return told


def _fitted(even: Numbers, true: Numbers, weight: Numbers) -> Numbers:
    def loss(lean: Numbers) -> tuple[float, Numbers]:
        odds = even @ lean
        off = weight * (1.0 / (1.0 + np.exp(-odds)) - true)
        shrunk = np.r_[0.0, lean[1:]]
        cost = float(np.sum(weight * (np.logaddexp(0.0, odds) - true * odds)))
        return cost + PENALTY * float(shrunk @ shrunk), even.T @ off + 2 * PENALTY * shrunk

    fitted: Numbers = minimize(loss, np.zeros(even.shape[1]), jac=True, method="L-BFGS-B").x
    return fitted


def compared(found: list[Suspected], results: list[sweep_scores.Line]) -> Iterator[list[object]]:
    """Fault by fault: moderate ones, those the oracle would name, those the engine named."""
    engine = {line["seed"]: line for line in results}
    sweeps = len({each.seed for each in found})
    sound = {each.seed for each in found} - {each.seed for each in found if each.true}
    total = np.zeros(4, dtype=int)
    for name in PLANTABLE:
        mine = [each for each in found if each.fault == name]
        if not {each.seed for each in mine} & sound:
            continue
        told = sureness(mine, sweeps / len(sound)) >= LIKELY
        true = [each.true and each.seed in engine for each in mine]
        named = sum(
            sweep_scores.named_surely(engine[each.seed], engine[each.seed]["faults"][0])
            for each, yes in zip(mine, true, strict=True)
            if yes
        )
        row = [sum(true), int(told[true].sum()), named, int(told[[not t for t in true]].sum())]
        total += row
        yield [name, *row]
    yield ["all of them", *total]


def main() -> None:
    """Play and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=Path)
    parser.add_argument("results", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--most", type=int, default=500, help="sweeps")
    given = parser.parse_args()
    kept = [path for path in sorted(given.cases.glob("*.pickle")) if "double" not in path.name]
    kept = kept[:: max(1, len(kept) // given.most)]
    with ProcessPoolExecutor(given.workers) as pool:
        found = [each for some in pool.map(suspected, kept, chunksize=4) for each in some]
    head = ("fault", "moderate", "the oracle names", "the engine named", "oracle wrong")
    print(sweep_scores.table(head, compared(found, sweep_scores.lines(given.results))))


if __name__ == "__main__":
    main()
