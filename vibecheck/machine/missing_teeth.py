"""A gear nobody counted: which counts the speed chart allows it."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, exp, floor, log
from statistics import median

from vibecheck.machine.parts import UNKNOWN, Gear, Known, Machine
from vibecheck.machine.turning import turning
from vibecheck.machine.wrong_numbers import chart_rounding, chart_speeds
from vibecheck.machine.wrong_pairs import ORDINARY_SLIP

FEWEST, MOST = 10, 200
"""Teeth a gear may have."""
ENOUGH, LIKE_THE_OTHERS = 3, 0.01
"""Positions of known teeth from which the chart's own slip is told, and how far others may be from
it, their rounding apart."""


def with_teeth(machine: Machine, name: str, teeth: int) -> Machine:
    """The machine with a gear's count put in, as one that was heard."""

    def counted(gear: Gear) -> Gear:
        return replace(gear, teeth=Known.exactly(teeth, "heard")) if gear.name == name else gear

    return replace(machine, gears=tuple(counted(gear) for gear in machine.gears))


def possible_teeth(machine: Machine, gear: str) -> list[int]:
    """Counts of an unknown gear that the speed chart allows, the other counts being right.

    Parameters
    ----------
    machine : Machine
    gear : str
        Name of a gear of unknown teeth.

    Returns
    -------
    list of int
        Empty where no line of the chart depends on that gear alone.
    """
    chart, rounding = chart_speeds(machine), chart_rounding(machine)
    places = tuple(replace(place, chart_rpm=UNKNOWN) for place in machine.positions)
    bare = replace(machine, positions=places)
    plain = {label: _spindle_hz(bare, label) for label in chart}
    slips = [log(chart[label] / hz) for label, hz in plain.items() if hz]
    slip, room = 0.0, ORDINARY_SLIP
    if len(slips) >= ENOUGH:
        slip, room = median(slips), LIKE_THE_OTHERS
    fewest, most = (with_teeth(bare, gear, count) for count in (FEWEST, MOST))
    low, high, told = float(FEWEST), float(MOST), False
    for label, hz in plain.items():
        slow, fast = _spindle_hz(fewest, label), _spindle_hz(most, label)
        if hz or slow is None or fast is None or slow == fast:
            continue
        told = True
        power = round(log(fast / slow) / log(MOST / FEWEST))
        reach = room + rounding[label]
        ends = [
            FEWEST * (chart[label] * exp(way * reach - slip) / slow) ** (1.0 / power)
            for way in (-1, 1)
        ]
        low, high = max(low, min(ends)), min(high, max(ends))
    return list(range(ceil(low), floor(high) + 1)) if told else []


def _spindle_hz(machine: Machine, label: str) -> float | None:
    here = turning(machine, machine.position(label))
    return here.nominal_hz(machine.spindle) if machine.spindle in here.rotors else None
