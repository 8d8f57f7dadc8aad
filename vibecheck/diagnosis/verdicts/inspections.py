"""Where to look, once a part is named: the cheapest test that would show it at fault, or not."""

from __future__ import annotations

from vibecheck.diagnosis.findings import Fact, fact


def inspection(part: str, part_kind: str, fault: str, spindle: str) -> Fact:
    """What to look at or put a dial on.

    Parameters
    ----------
    part, part_kind, fault : str
        As in a finding.
    spindle : str
        Name of the spindle, whose chuck may be what is out of balance.
    """
    if fault == "imbalance":
        return fact("turn_chuck") if part == spindle else fact("dial_runout", part=part)
    if fault in ("bent or misaligned", "eccentric or worn gear"):
        return fact("dial_runout", part=part)
    if fault == "lumpy or set belt":
        return fact("belt_off")
    if part_kind == "bearing":
        return fact("inspect", part=part, what="pitting of the race and rollers, and its end play")
    if fault == "loose on its shaft or in its seat":
        return fact("pulley_key", parts=[part])
    if fault == "pump pulsation":
        return fact("inspect", part=part, what="oil level, its strainer, and air or wear in it")
    tests = {
        "mains": fact("coast_down", seconds=10.0),
        "tool": fact("idle_and_cutting"),
        "structure": fact("record_background", seconds=20.0),
    }
    return tests.get(part_kind) or fact(
        "inspect", part=part, what="a broken, chipped or bruised tooth"
    )
