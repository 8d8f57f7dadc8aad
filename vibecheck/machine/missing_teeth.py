"""Gears nobody counted: which counts the speed chart allows a pair."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import log
from statistics import median

from vibecheck.machine.parts import Gear, Known, Machine, Mesh
from vibecheck.machine.turning import turning
from vibecheck.machine.wrong_numbers import chart_rounding, chart_speeds, without_chart
from vibecheck.machine.wrong_pairs import ORDINARY_SLIP

Counts = Mapping[str, int]
"""Gear -> teeth."""

FEWEST, MIDDLE, MOST = 10, 40, 200
"""Teeth a gear may have."""
SUM_APART = 1
"""Pairs of one lever share their centre distance: their sums of teeth differ by no more, profiles
shifted or not (common practice)."""
ENOUGH, LIKE_THE_OTHERS = 3, 0.01
"""Positions of known teeth from which the chart's own slip is told, and how far others may be from
it, their rounding apart."""


def with_counts(machine: Machine, counts: Counts) -> Machine:
    """The machine with counts put in, as heard ones."""

    def counted(gear: Gear) -> Gear:
        if gear.name not in counts:
            return gear
        return replace(gear, teeth=Known.exactly(counts[gear.name], "heard"))

    return replace(machine, gears=tuple(counted(gear) for gear in machine.gears))


def uncounted(machine: Machine, mesh: Mesh) -> tuple[str, ...]:
    """The gears of a pair whose teeth are not known."""
    pair = (mesh.driver, mesh.driven)
    return tuple(name for name in pair if machine.gear(name).teeth.value is None)


def possible_counts(machine: Machine, mesh: Mesh) -> list[dict[str, int]]:
    """Counts of a pair's unknown gears that the speed chart allows, all other counts being right.

    Parameters
    ----------
    machine : Machine
    mesh : Mesh
        A pair of which one gear, or both, have unknown teeth. Where both have, a pair of known
        teeth between the same two shafts must tell the sum.

    Returns
    -------
    list of dict
        Gear name -> teeth; empty where no line of the chart depends on that pair alone.
    """
    chart, rounding = chart_speeds(machine), chart_rounding(machine)
    bare = without_chart(machine)
    plain = {label: _spindle_hz(bare, label) for label in chart}
    slips = [log(chart[label] / hz) for label, hz in plain.items() if hz]
    slip, room = 0.0, ORDINARY_SLIP
    if len(slips) >= ENOUGH:
        slip, room = median(slips), LIKE_THE_OTHERS
    names = uncounted(machine, mesh)
    even = with_counts(bare, dict.fromkeys(names, MIDDLE))
    more = with_counts(even, dict.fromkeys(names[:1], MIDDLE + 1))
    off, power = {}, 0
    for label, hz in plain.items():
        speed, changed = _spindle_hz(even, label), _spindle_hz(more, label)
        if not hz and speed and changed and speed != changed:
            off[label] = log(chart[label] / speed) - slip
            power = round(log(changed / speed) / (_log_ratio(more, mesh) - _log_ratio(even, mesh)))
    found = []
    for counts in _trials(machine, mesh, names) if off else ():
        shift = power * (_log_ratio(with_counts(bare, counts), mesh) - _log_ratio(even, mesh))
        if all(abs(shift - each) <= room + rounding[label] for label, each in off.items()):
            found.append(counts)
    return found


def _trials(machine: Machine, mesh: Mesh, names: tuple[str, ...]) -> Iterator[dict[str, int]]:
    if len(names) == 1:
        yield from ({names[0]: teeth} for teeth in range(FEWEST, MOST + 1))
        return
    sums = {
        total + apart
        for total in _sums_between(machine, mesh)
        for apart in range(-SUM_APART, SUM_APART + 1)
    }
    for total in sorted(sums):
        for teeth in range(FEWEST, total - FEWEST + 1):
            yield {mesh.driver: teeth, mesh.driven: total - teeth}


def _sums_between(machine: Machine, mesh: Mesh) -> set[int]:
    """Sums of teeth of the known pairs between the same two shafts."""
    found = set()
    for other in machine.meshes:
        teeth = [machine.gear(name).teeth.value for name in (other.driver, other.driven)]
        if teeth[0] and teeth[1] and _shafts(machine, other) == _shafts(machine, mesh):
            found.add(round(teeth[0] + teeth[1]))
    return found


def _shafts(machine: Machine, mesh: Mesh) -> tuple[str, str]:
    return machine.gear(mesh.driver).shaft, machine.gear(mesh.driven).shaft


def _log_ratio(machine: Machine, mesh: Mesh) -> float:
    """Natural log of the driver's teeth over the driven one's."""
    teeth = [machine.gear(name).teeth.value or 1.0 for name in (mesh.driver, mesh.driven)]
    return log(teeth[0] / teeth[1])


def _spindle_hz(machine: Machine, label: str) -> float | None:
    here = turning(machine, machine.position(label))
    return here.nominal_hz(machine.spindle) if machine.spindle in here.rotors else None
