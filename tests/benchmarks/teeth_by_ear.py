"""Tooth counts blanked in the tables of invented machines: how many are told by ear, and rightly?

One to three pairs of every table lose a count or both; a chart made from the true counts, slipping
by up to 3 % and rounded to whole turns or fives, stays::

    python tests/benchmarks/teeth_by_ear.py CASES [--workers 2] [--most 100]

``CASES`` is a folder that ``sweep_inference.py run --cases`` kept.
"""

from __future__ import annotations

import argparse
import pickle
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import sweep_scores
from sweep_cases import Case

from vibecheck.diagnosis.ready import made_ready
from vibecheck.diagnosis.speeds.counted_by_ear import counted_by_ear
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.machine.parts import UNKNOWN, Known, Machine
from vibecheck.machine.turning import turning
from vibecheck.pipeline import positions_of
from vibecheck.units import rpm

FEWEST_PAIRS, POSITIONS, MOST_SLIP = 4, 8, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """The blanked counts of one machine, those told, and how long fitting and counting took."""

    true: Mapping[str, int]
    told: Mapping[str, int]
    fitting_s: float
    counting_s: float


def counted(path: Path) -> Counted | None:
    """Blank, listen, count; None for a machine of few pairs."""
    case: Case = pickle.loads(path.read_bytes())
    if len(case.machine.meshes) < FEWEST_PAIRS or case.load != "idle":
        return None
    rng = np.random.default_rng([case.seed, 55])
    machine, true = _blanked(case.machine, rng)
    ready = [made_ready(take) for take in case.recorded(POSITIONS)[0]]
    started = time.perf_counter()
    speeds = fit_speeds(positions_of(machine), ready)
    fitted = time.perf_counter()
    pairs = counted_by_ear(machine, ready, speeds)[1]
    return Counted(
        true=true,
        told={gear: teeth for pair in pairs for gear, teeth in pair.counts.items()},
        fitting_s=fitted - started,
        counting_s=time.perf_counter() - fitted,
    )


def _blanked(machine: Machine, rng: np.random.Generator) -> tuple[Machine, dict[str, int]]:
    step, slip = int(rng.choice([1, 5])), float(rng.uniform(0.0, MOST_SLIP))
    places = []
    for place in machine.positions:
        speed = rpm(turning(machine, place).nominal_hz(machine.spindle) or 0.0) * (1.0 - slip)
        chart = Known.exactly(max(step, step * round(speed / step)), "plate")
        places.append(replace(place, chart_rpm=chart))
    names: set[str] = set()
    for index in rng.choice(len(machine.meshes), int(rng.integers(1, 4)), replace=False):
        mesh = machine.meshes[int(index)]
        which = int(rng.choice(3, p=[0.4, 0.4, 0.2]))
        names.update(((mesh.driver,), (mesh.driven,), (mesh.driver, mesh.driven))[which])
    gears = [replace(gear, teeth=UNKNOWN) if gear.name in names else gear for gear in machine.gears]
    true = {gear.name: round(gear.teeth.value or 0) for gear in machine.gears if gear.name in names}
    return replace(machine, positions=tuple(places), gears=tuple(gears)), true


def main() -> None:
    """Play and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--most", type=int, default=100, help="sweeps")
    given = parser.parse_args()
    kept = sorted(given.cases.glob("*.pickle"))
    kept = kept[:: max(1, len(kept) // given.most)]
    with ProcessPoolExecutor(given.workers) as pool:
        found = [each for each in pool.map(counted, kept) if each is not None]
    blank = sum(len(each.true) for each in found)
    told = sum(len(each.told) for each in found)
    wrong = sum(each.true[gear] != teeth for each in found for gear, teeth in each.told.items())
    longer = float(np.median([each.counting_s / each.fitting_s for each in found]))
    head = ("sweeps", "counts blanked", "told", "told wrongly", "time over fitting the speeds")
    print(sweep_scores.table(head, [(len(found), blank, told, wrong, f"{longer:.2f}")]))


if __name__ == "__main__":
    main()
