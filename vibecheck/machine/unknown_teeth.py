"""Teeth nobody counted, from the spindle speeds that were measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import exp, log

from vibecheck.machine.parts import Machine
from vibecheck.machine.tooth_counts import LIMITS, Limits, Pair, sets_of_pairs


def unknown_teeth(
    machine: Machine,
    measured: Mapping[str, float | Mapping[str, float]],
    relative_error: float = 1e-3,
    limits: Limits = LIMITS,
) -> dict[str, list[tuple[Pair, ...]]]:
    """Sets of tooth counts that fit, for each lever none of whose pairs is counted.

    Parameters
    ----------
    machine : Machine
        Levers with one pair to a setting, the teeth unknown.
    measured : mapping
        Position label -> spindle speed in turns a second.

    Returns
    -------
    dict
        Lever name -> sets of pairs in the order of its settings; empty when nothing fits. Levers
        for which no two positions differing only there were measured are left out.
    """
    spindle = {
        label: speed[machine.spindle] if isinstance(speed, Mapping) else speed
        for label, speed in measured.items()
    }
    found: dict[str, list[tuple[Pair, ...]]] = {}
    for group in machine.groups:
        if _counted(machine, group.name):
            continue
        speeds = _relative_speeds(machine, group.name, group.settings, spindle)
        if speeds is not None:
            found[group.name] = sets_of_pairs(speeds, 2.0 * relative_error, limits=limits)
    return found


def _counted(machine: Machine, group: str) -> bool:
    gears = [n for m in machine.meshes if group in m.when for n in (m.driver, m.driven)]
    return not gears or any(machine.gear(name).teeth.value for name in gears)


def _relative_speeds(
    machine: Machine, group: str, settings: Sequence[str], spindle: Mapping[str, float]
) -> list[float] | None:
    """Mean spindle speed with each setting over that with the first, all else the same."""
    logs: dict[str, list[float]] = {setting: [] for setting in settings}
    by_levers = {
        tuple(machine.position(label).levers.items()): speed for label, speed in spindle.items()
    }
    for levers, speed in by_levers.items():
        first = tuple((g, settings[0] if g == group else s) for g, s in levers)
        if first in by_levers:
            logs[dict(levers)[group]].append(log(speed / by_levers[first]))
    if len(settings) < 2 or not all(logs.values()):
        return None
    return [exp(sum(values) / len(values)) for values in logs.values()]
