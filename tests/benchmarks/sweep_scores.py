"""What the lines of the sweep benchmark add up to: tables in Markdown, and reliability."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from vibecheck.diagnosis.findings import verdict_for

Line = Mapping[str, Any]
VAGUE = {
    "bearing worn, race not known": ("outer race", "inner race", "rolling element", "cage"),
    "gear worn or damaged": ("broken or damaged tooth", "eccentric or worn gear"),
    "gear worn, damaged or loose": (
        "broken or damaged tooth",
        "eccentric or worn gear",
        "loose on its shaft or in its seat",
    ),
    "shaft out of balance, bent or loose": (
        "imbalance",
        "bent or misaligned",
        "loose on its shaft or in its seat",
    ),
}
NOT_PARTS = ("mains", "structure", "tool")
FIXED = ("mains hum", "fixed tone of structure or room", "chatter")
GEAR_FAULTS = ("broken or damaged tooth", "eccentric or worn gear")
EDGES = (0.3, 0.5, 0.7, 0.85, 0.98, 1.0001)
SUSPECT_EDGES = (0.01, 0.03, 0.1, 0.3, 0.5, 0.7, 0.85, 0.98, 1.0001)
SURE = ("shown", "likely")
SEVERITIES = ((0.0, 0.35), (0.35, 0.65), (0.65, 1.01))


def lines(path: Path) -> list[dict[str, Any]]:
    """Results written so far."""
    text = path.read_text().splitlines() if path.exists() else []
    return [json.loads(line) for line in text if line.strip()]


def part_right(named: Line, fault: Line) -> bool:
    """Whether the group named holds the part."""
    return bool(set(named["parts"]) & set(fault["parts"]))


def right(named: Line, fault: Line) -> bool:
    """Whether part and fault are right.

    "Race not known" is right of any race, "worn or damaged" of either fault of a gear, and a
    damaged tooth of a stretch of worn teeth.
    """
    kinds = VAGUE.get(named["fault"], (named["fault"],))
    worn = fault["fault"] == "eccentric or worn gear" and fault.get("worn", False)
    alike = fault["fault"] in kinds or (worn and named["fault"] in GEAR_FAULTS)
    return part_right(named, fault) and alike


def told(fault: Line) -> bool:
    """Whether the table holds the numbers that naming the fault needs."""
    return bool(fault.get("told", True))


def sure(line: Line) -> list[Line]:
    """Findings a reader would act on."""
    return [f for f in line["findings"] if verdict_for(f["probability"]) in SURE]


def false_ones(line: Line, found: Iterable[Line]) -> list[Line]:
    """Findings that name no planted fault; a fan in the room is a fixed tone of the room."""
    return [
        f
        for f in found
        if not any(right(f, fault) for fault in line["faults"])
        and not (f["fault"] == "fixed tone of structure or room" and line["fan"])
    ]


def first_right(line: Line, method: str = "findings") -> bool:
    """Part and fault named first, alone or at the head of its group."""
    found, fault = line[method], line["faults"][0]
    return bool(found) and right({**found[0], "parts": found[0]["parts"][:1]}, fault)


def group_right(line: Line, method: str = "findings") -> bool:
    """Some planted fault in the group named first."""
    return bool(line[method]) and right(line[method][0], line["faults"][0])


def named_surely(line: Line, fault: Line) -> bool:
    """Named in the right group, at likely or better."""
    return any(right(f, fault) for f in sure(line))


def reliability(
    pairs: Sequence[tuple[float, bool]], edges: Sequence[float] = EDGES
) -> list[tuple[float, float, int]]:
    """Mean probability, share right and count, for each bin that holds any."""
    bins = []
    for low, high in pairwise(edges):
        inside = [(p, ok) for p, ok in pairs if low <= p < high]
        if inside:
            said, came = np.mean(np.array(inside, dtype=float), axis=0)
            bins.append((float(said), float(came), len(inside)))
    return bins


def calibration_error(bins: Sequence[tuple[float, float, int]]) -> float:
    """Expected calibration error: mean gap between said and come true, by how many."""
    total = sum(count for *_, count in bins)
    return sum(abs(said - came) * count for said, came, count in bins) / max(total, 1)


def judged_pairs(results: Iterable[Line], method: str = "findings") -> list[tuple[float, bool]]:
    """(probability, whether true) of every finding, or of every suspect judged."""
    return [
        (min(f["probability"], 1.0), not false_ones(line, [f]))
        for line in results
        for f in line[method]
    ]


def reliability_bins(results: Iterable[Line]) -> dict[str, list[tuple[float, float, int]]]:
    """Bins of findings and of suspects."""
    results = [line for line in results if "error" not in line]
    return {
        "findings": reliability(judged_pairs(results)),
        "suspects": reliability(judged_pairs(results, "judged"), SUSPECT_EDGES),
    }


def share(hits: Sequence[bool]) -> str:
    """Percentage, and of how many."""
    return f"{100 * np.mean(hits):.0f} % ({sum(hits)}/{len(hits)})" if hits else "none"


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A Markdown table."""
    every = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in row) + " |" for row in every) + "\n"


def summary(results: Sequence[Line]) -> str:
    """Every table."""
    broken = [line for line in results if "error" in line]
    results = [line for line in results if "error" not in line]
    kinds = {
        k: [x for x in results if x["kind"] == k] for k in sorted({x["kind"] for x in results})
    }
    of_kinds = ", ".join(f"{k} {len(v)}" for k, v in kinds.items())
    parts = [
        f"{len(results)} sweeps of {sum(len(x['speed_errors']) for x in results)} takes; "
        f"broken off: {len(broken)}; by kind: {of_kinds}"
        f"; engine {np.median([x['engine_s'] for x in results]):.1f} s a sweep (median)\n",
        "### Targets\n",
        _targets(results),
        "### One fault: engine and baselines\n",
        _against_baselines(results),
        "### By fault\n",
        _by(
            [x for x in singles(results) if x["kind"] != "plain"],
            lambda x: x["faults"][0]["fault"],
            "fault",
        ),
        "### By fault, plain ones\n",
        _by(kinds.get("plain", []), lambda x: x["faults"][0]["fault"], "fault"),
        "### By severity\n",
        _by([x for x in results if x["kind"] == "single"], _severity, "severity"),
        "### By channel\n",
        _by(singles(results), lambda x: x["channel"], "channel"),
        "### Healthy machines\n",
        _healthy(results),
        "### Blamed on another\n",
        _blamed(results),
        "### Speeds\n",
        _speeds(results),
        "### Reliability\n",
        _reliability(results),
    ]
    return "\n".join(parts)


def singles(results: Iterable[Line]) -> list[Line]:
    """Sweeps with one fault."""
    return [x for x in results if len(x["faults"]) == 1]


def _severity(line: Line) -> str:
    value = line["faults"][0]["severity"]
    return next(f"{low:g} to {min(high, 1):g}" for low, high in SEVERITIES if low <= value < high)


def _targets(results: Sequence[Line]) -> str:
    moderate = [x for x in singles(results) if x["faults"][0]["moderate"] and x["kind"] != "plain"]
    plain = [x for x in results if x["kind"] == "plain"]
    double = [
        x for x in results if len(x["faults"]) == 2 and all(f["moderate"] for f in x["faults"])
    ]
    healthy = [x for x in results if not x["faults"]]
    speeds = [e for x in results for e in x["speed_errors"]]
    bins = reliability_bins(results)
    rows = [
        ("single moderate fault, right group at likely or better", "95 %",
         share([named_surely(x, x["faults"][0]) for x in moderate])),
        ("the same, but for bearings whose inside nobody knows", "95 %",
         share([named_surely(x, x["faults"][0]) for x in moderate if told(x["faults"][0])])),
        ("single plain fault (9 dB above moderate), the same", "",
         share([named_surely(x, x["faults"][0]) for x in plain])),
        ("single plain fault, the right part whatever is wrong with it", "",
         share([any(part_right(f, x["faults"][0]) for f in sure(x)) for x in plain])),
        ("two moderate faults, both named at likely or better", "85 %",
         share([all(named_surely(x, f) for f in x["faults"]) for x in double])),
        ("two moderate faults, both named at possible or better", "",
         share([all(any(right(n, f) for n in x["findings"]) for f in x["faults"])
                for x in double])),
        ("healthy or loud, any part accused at likely or better", "1 %",
         share([bool(_parts_only(false_ones(x, sure(x)))) for x in healthy])),
        ("healthy or loud, mains, structure or tool so named", "",
         share([bool(false_ones(x, sure(x))) and not _parts_only(false_ones(x, sure(x)))
                for x in healthy])),
        ("calibration error over findings", "0.05", f"{calibration_error(bins['findings']):.3f}"),
        ("calibration error over suspects above 1 %", "",
         f"{calibration_error(bins['suspects']):.3f}"),
        ("speed within 0.02 %", "99 %", share([e is not None and e <= 2e-4 for e in speeds])),
        ("speed wrong by more than 0.1 %", "0 %",
         share([e is not None and e > 1e-3 for e in speeds])),
    ]  # fmt: skip
    return table(("measure", "target", "result"), rows)


def _parts_only(found: Iterable[Line]) -> list[Line]:
    return [f for f in found if f["parts"][0] not in NOT_PARTS]


def _against_baselines(results: Sequence[Line]) -> str:
    every = singles(results)
    moderate = [x for x in every if x["faults"][0]["moderate"]]
    healthy = [x for x in results if not x["faults"]]
    rows = []
    for name, method in (
        ("the sweep", "findings"),
        ("nearest line", "nearest line"),
        ("best envelope", "best envelope"),
    ):
        rows.append(
            (
                name,
                share([first_right(x, method) for x in every]),
                share([group_right(x, method) for x in every]),
                share([group_right(x, method) for x in moderate]),
                share([any(part_right(n, x["faults"][0]) for n in x[method][:3]) for x in every]),
                share([bool(_parts_only(sure(x) if method == "findings" else x[method]))
                       for x in healthy]),
            )
        )  # fmt: skip
    return table(
        (
            "method",
            "part and fault first",
            "in the first group",
            "same, moderate",
            "part in the first three",
            "healthy accused",
        ),
        rows,
    )


def _by(results: Sequence[Line], what: Callable[[Line], str], name: str) -> str:
    rows = []
    for value in sorted({what(x) for x in results}):
        mine = [x for x in results if what(x) == value]
        moderate = [x for x in mine if x["faults"][0]["moderate"]]
        rows.append(
            (
                value,
                len(mine),
                share([first_right(x) for x in mine]),
                share([named_surely(x, x["faults"][0]) for x in mine]),
                share([named_surely(x, x["faults"][0]) for x in moderate]),
                share([bool(false_ones(x, sure(x))) for x in mine]),
            )
        )
    return table(
        (name, "sweeps", "first", "likely or better", "same, moderate", "something else accused"),
        rows,
    )


def _healthy(results: Sequence[Line]) -> str:
    rows = []
    for line in results:
        wrong = false_ones(line, line["findings"]) if not line["faults"] else []
        rows += [
            (line["seed"], line["kind"], line["channel"], " / ".join(f["parts"]), f["fault"],
             f"{f['probability']:.2f}")
            for f in wrong
        ]  # fmt: skip
    return table(("seed", "kind", "channel", "accused", "of", "probability"), rows)


def _blamed(results: Sequence[Line]) -> str:
    """What was accused at likely or better beside each planted kind, gears apart."""
    rows = []
    for fault in sorted({x["faults"][0]["fault"] for x in singles(results)}):
        mine = [x for x in singles(results) if x["faults"][0]["fault"] == fault]
        wrong = [f["fault"] for x in mine for f in false_ones(x, sure(x))]
        gears = sum(name in GEAR_FAULTS for name in wrong)
        counts = ", ".join(f"{name} {wrong.count(name)}" for name in sorted(set(wrong)))
        rows.append((fault, len(mine), gears, counts or "nothing"))
    return table(("planted", "sweeps", "gears accused", "wrongly accused"), rows)


def _speeds(results: Sequence[Line]) -> str:
    """Of every shaft of a take the worst, by channel; of the spindle alone, by kind of machine."""
    groups = {
        f"{channel}, every shaft": [
            e for x in results if x["channel"] == channel for e in x["speed_errors"]
        ]
        for channel in sorted({x["channel"] for x in results})
    }
    for machine in sorted({_kind_of_machine(x) for x in results}):
        mine = [x for x in results if _kind_of_machine(x) == machine]
        groups[f"{machine}, spindle"] = [e for x in mine for e in x.get("spindle_errors", ())]
    rows = []
    for name, every in groups.items():
        if not every:
            continue
        found = [e for e in every if e is not None]
        rows.append(
            (
                name,
                len(every),
                share([e <= 2e-4 for e in found]),
                share([e is None for e in every]),
                share([e > 1e-3 for e in found]),
                f"{np.median(found):.1e}" if found else "",
            )
        )
    head = ("speeds", "takes", "within 0.02 % of those found", "not found", "over 0.1 % off")
    return table((*head, "median error"), rows)


def _kind_of_machine(line: Line) -> str:
    """An invented machine's name without its number of speeds."""
    return str(line["machine"]).split(",")[0]


def _reliability(results: Sequence[Line]) -> str:
    return "\n".join(
        f"Of {name} (calibration error {calibration_error(bins):.3f}):\n\n"
        + table(
            ("said", "came true", "how many"),
            [(f"{said:.2f}", f"{came:.2f}", count) for said, came, count in bins],
        )
        for name, bins in reliability_bins(results).items()
    )
