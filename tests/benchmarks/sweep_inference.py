"""The sweep benchmark: invented machines, every fault, healthy ones, judged as a user would.

Run in pieces; every sweep adds one JSON line to the results, and seeds already there are skipped::

    python tests/benchmarks/sweep_inference.py run --out results.jsonl --seeds 0 400 --minutes 10
    python tests/benchmarks/sweep_inference.py summary results.jsonl [--picture reliability.png]

Seeds 0 to 9999 are for development; seeds from 100000 are held out.
"""

from __future__ import annotations

import argparse
import json
import pickle
import time
import traceback
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from pathlib import Path
from typing import Any
from unittest import mock

import baselines
import sweep_scores
from sweep_cases import KINDS, Case, alike, case_of, kind_of, told

from vibecheck.diagnosis import sweep
from vibecheck.diagnosis.findings import Diagnosis
from vibecheck.diagnosis.suspects.joint import Judged
from vibecheck.pipeline import diagnose
from vibecheck.recording import Take
from vibecheck.synth.sweep import Truth

LEAST_KEPT = 0.01
"""Judged suspects below this are only counted."""


def played(
    seed: int,
    kind: str,
    fault: str | None = None,
    most: int = 24,
    cases: Path | None = None,
    against: bool = False,
) -> dict[str, Any]:
    """Record one sweep, judge it every way, and say how it went.

    ``against`` also records a baseline, the machine when it was sound, and gives the engine that.
    """
    started = time.perf_counter()
    case = kept_case(seed, kind, fault, cases)
    takes, truth = case.recorded(most)
    sound = case.baseline(most) if against else []
    ready = time.perf_counter()
    diagnosis, judged = _diagnosed(case, takes, sound)
    done = time.perf_counter()
    speeds = [take.group_hz for take in truth.takes]
    return {
        **_described(case, most),
        "findings": [
            {"parts": f.parts or (f.part,), "fault": f.fault, "probability": f.probability}
            for f in diagnosis.findings
        ],
        "judged": [
            {"parts": j.suspect.parts, "fault": j.suspect.fault, "probability": j.probability}
            for j in judged
            if j.probability >= LEAST_KEPT
        ],
        "suspects": len(judged),
        "speed_errors": list(_speed_errors(diagnosis, truth)),
        "spindle_errors": list(_spindle_errors(diagnosis, truth)),
        "nearest line": _guesses(baselines.nearest_line(case.machine, takes, speeds)),
        "best envelope": _guesses(baselines.best_envelope(case.machine, takes, speeds)),
        "made_s": round(ready - started, 2),
        "engine_s": round(done - ready, 2),
    }


def kept_case(seed: int, kind: str, fault: str | None, folder: Path | None) -> Case:
    """The case, from a folder of cases made before when there is one: the oracle is slow."""
    if folder is None or fault is not None:
        return case_of(seed, kind, fault)
    path = folder / f"{kind}-{seed}.pickle"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pickle.dumps(case_of(seed, kind)))
    case = pickle.loads(path.read_bytes())
    assert isinstance(case, Case)
    return case


def _diagnosed(
    case: Case, takes: Sequence[Take], sound: Sequence[Take]
) -> tuple[Diagnosis, list[Judged]]:
    """The diagnosis, and the probability of every suspect behind it."""
    kept: list[Judged] = []
    judge = sweep.judge

    def overheard(*given: Any) -> list[Judged]:
        kept[:] = judge(*given)
        return list(kept)

    if sound:
        return diagnose(case.machine, takes, baseline=sound), kept

    with mock.patch.object(sweep, "judge", overheard):
        return diagnose(case.machine, takes), kept


def _described(case: Case, most: int) -> dict[str, Any]:
    return {
        "seed": case.seed,
        "kind": case.kind,
        "machine": case.machine.name,
        "positions": len(case.machine.positions),
        "recorded": len(case.positions(most)),
        "channel": case.conditions.channel,
        "load": case.load,
        "fan": case.conditions.fan_level > 0,
        "faults": [
            {
                "parts": sorted(alike(case.machine, one)),
                "fault": one.fault,
                "severity": round(one.severity, 3),
                "worn": one.worn,
                "moderate": heard,
                "told": told(case.machine, one),
            }
            for one, heard in zip(case.faults, case.moderate, strict=True)
        ],
    }


def _speed_errors(diagnosis: Diagnosis, truth: Truth) -> Iterator[float | None]:
    """Largest relative error over the rigid groups named of each take; None when none is."""
    for report, take in zip(diagnosis.takes, truth.takes, strict=True):
        errors = [
            abs(hz / take.group_hz[group] - 1)
            for group, hz in report.speeds_hz.items()
            if group in take.group_hz
        ]
        wrong_place = report.heard_position not in (None, take.position)
        yield 1.0 if wrong_place else max(errors) if errors else None


def _spindle_errors(diagnosis: Diagnosis, truth: Truth) -> Iterator[float | None]:
    """Relative error of the spindle's speed in each take; None where none is told."""
    for report, take in zip(diagnosis.takes, truth.takes, strict=True):
        told_rpm, true_hz = report.spindle_rpm, take.rotor_hz.get(truth.machine.spindle)
        wrong_place = report.heard_position not in (None, take.position)
        if told_rpm is None or not true_hz:
            yield None
        else:
            yield 1.0 if wrong_place else abs(told_rpm / 60.0 / true_hz - 1.0)


def _guesses(found: Sequence[baselines.Guess]) -> list[dict[str, Any]]:
    return [{"parts": g.parts, "fault": g.fault, "score": round(g.score, 2)} for g in found[:6]]


def run(
    out: Path,
    seeds: range,
    *,
    kind: str = "mixed",
    fault: str | None = None,
    minutes: float = 10.0,
    workers: int = 1,
    most: int = 24,
    cases: Path | None = None,
    against: bool = False,
) -> None:
    """Add sweeps to the results until the seeds or the minutes run out."""
    done = {(line["seed"], line["kind"]) for line in sweep_scores.lines(out)}
    asked = [(seed, kind_of(seed) if kind == "mixed" else kind) for seed in seeds]
    todo = iter([one for one in asked if one not in done])
    until = time.monotonic() + 60 * minutes
    with out.open("a") as file, ProcessPoolExecutor(workers) as pool:
        running = {}
        while True:
            while len(running) < workers and time.monotonic() < until:
                one = next(todo, None)
                if one is None:
                    break
                running[pool.submit(played, *one, fault, most, cases, against)] = one
            if not running:
                return
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                seed, what = running.pop(future)
                try:
                    line = future.result()
                except Exception:
                    line = {"seed": seed, "kind": what, "error": traceback.format_exc()[-800:]}
                file.write(json.dumps(line, default=float) + "\n")
                file.flush()


def main() -> None:
    """Run, or sum up."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    modes = parser.add_subparsers(dest="mode", required=True)
    running = modes.add_parser("run")
    running.add_argument("--out", type=Path, required=True)
    running.add_argument("--seeds", type=int, nargs=2, default=(0, 300))
    running.add_argument("--kind", choices=("mixed", *KINDS), default="mixed")
    running.add_argument("--fault", help="plant this one only")
    running.add_argument("--most", type=int, default=24, help="lever positions recorded")
    running.add_argument("--baseline", action="store_true", help="with the sound machine recorded")
    running.add_argument("--cases", type=Path, help="folder that keeps cases for another run")
    running.add_argument("--minutes", type=float, default=10.0)
    running.add_argument("--workers", type=int, choices=(1, 2), default=1)
    summing = modes.add_parser("summary")
    summing.add_argument("results", type=Path, nargs="+")
    summing.add_argument("--picture", type=Path)
    given = parser.parse_args()
    if given.mode == "run":
        run(
            given.out,
            range(*given.seeds),
            kind=given.kind,
            fault=given.fault,
            minutes=given.minutes,
            workers=given.workers,
            most=given.most,
            cases=given.cases,
            against=given.baseline,
        )
        return
    lines = [line for path in given.results for line in sweep_scores.lines(path)]
    print(sweep_scores.summary(lines))
    if given.picture:
        import reliability

        reliability.diagram(sweep_scores.reliability_bins(lines)).savefig(given.picture, dpi=90)


if __name__ == "__main__":
    main()
