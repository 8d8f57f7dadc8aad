"""Which number of the table is wrong, told from the speeds that were measured.

A wrong tooth count shifts the spindle in exactly the positions that use its pair and nowhere else;
a changed pulley, another mains frequency or an inverter shifts all of them alike; two recordings
filed under each other's lever position each fit the other's. Pure arithmetic on measured speeds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, log
from typing import Literal

from vibecheck.machine.parts import UNKNOWN, Machine
from vibecheck.machine.turning import turning
from vibecheck.machine.wrong_pairs import ORDINARY_SLIP, Row, WrongPair, wrong_pairs
from vibecheck.units import hz

Kind = Literal["agree", "scale", "pair", "misfiled", "unexplained", "nothing to compare"]
Cause = Literal[
    "belt slip or motor load",
    "60 Hz mains entered as 50 Hz",
    "50 Hz mains entered as 60 Hz",
    "motor turns at twice the plate's speed",
    "motor turns at half the plate's speed",
    "inverter, pulleys or motor plate",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedExplanation:
    """Why the measured speeds differ from the table's, if they do.

    Attributes
    ----------
    kind : str
        "agree": all within the error, once slip is allowed for; "scale": all off alike; "pair":
        one pair's teeth; "misfiled": takes filed under the wrong position; "unexplained".
    scale : float
        Measured over table speed common to all positions.
    cause : str or None
        For "agree" and "scale": what would do that.
    pairs : tuple of WrongPair
        Likeliest first; more than one when the measurements leave it open.
    misfiled : mapping of str to str
        Position as filed -> position whose speed it has.
    deviations : mapping of str to float
        Position -> measured over table speed, less one.
    """

    kind: Kind
    scale: float = 1.0
    cause: Cause | None = None
    pairs: tuple[WrongPair, ...] = ()
    misfiled: Mapping[str, str] | None = None
    deviations: Mapping[str, float] | None = None

    @property
    def blocked_pairs(self) -> tuple[str, ...]:
        """Pairs on which no verdict may rest until their teeth are counted again."""
        return tuple(wrong.pair for wrong in self.pairs)


Measured = Mapping[str, float | Mapping[str, float]]

ROUND_FIVES = 5.0
"""A chart that shows a whole number of these may have been rounded to one."""


def explain_speeds(
    machine: Machine,
    measured: Measured,
    relative_error: float = 2e-3,
    rounding: Mapping[str, float] | None = None,
) -> SpeedExplanation:
    """Why measured speeds differ from the table's.

    Parameters
    ----------
    machine : Machine
    measured : mapping
        Position label -> spindle speed in turns a second, or rotor name -> speed.
    relative_error : float
        Standard error of the measured speeds.
    rounding : mapping, optional
        Position label -> how far its speed may have been rounded, relative.
    """
    rows = _rows(machine, measured)
    rounded = rounding or {}
    if not rows:
        return SpeedExplanation(kind="nothing to compare")
    off = {label: exp(d) - 1.0 for label, rotor, d in rows if rotor == machine.spindle}
    centre = _median([d for _, _, d in rows])
    limit = 3.0 * relative_error
    if all(abs(d - centre) <= limit + rounded.get(label, 0.0) for label, _, d in rows):
        mean = sum(d for _, _, d in rows) / len(rows)
        return _uniform(machine, exp(mean), off)
    pairs = wrong_pairs(machine, rows, relative_error)
    moved, base = _misfiled(machine, rows, relative_error)
    if moved and not (pairs and len(pairs[0].positions) <= len(moved)):
        return SpeedExplanation(kind="misfiled", scale=exp(base), misfiled=moved, deviations=off)
    if pairs:
        return SpeedExplanation(
            kind="pair", scale=pairs[0].scale, pairs=tuple(pairs), deviations=off
        )
    return SpeedExplanation(kind="unexplained", scale=exp(centre), deviations=off)


def _rows(machine: Machine, measured: Measured) -> list[Row]:
    """(position, rotor, log of measured over table speed), where the table gives a speed.

    Where teeth are unknown it takes a speed from the chart; such rows are told apart by other
    things than the numbers of the table, and count only when there are no others.
    """
    return _compared(without_chart(machine), measured) or _compared(machine, measured)


def without_chart(machine: Machine) -> Machine:
    """The machine with no speeds promised: only its own numbers tell how fast it turns."""
    places = tuple(replace(place, chart_rpm=UNKNOWN) for place in machine.positions)
    return replace(machine, positions=places)


def _compared(machine: Machine, measured: Measured) -> list[Row]:
    found: list[Row] = []
    for label, speeds in measured.items():
        here = turning(machine, machine.position(label))
        by_rotor = speeds if isinstance(speeds, Mapping) else {machine.spindle: speeds}
        for rotor, speed in by_rotor.items():
            expected = here.nominal_hz(rotor) if rotor in here.rotors else None
            if expected and speed > 0:
                found.append((label, rotor, log(speed / expected)))
    return found


def _median(values: Sequence[float]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[middle]
    return (ordered[middle - 1] + ordered[middle]) / 2.0


def _uniform(machine: Machine, scale: float, off: dict[str, float]) -> SpeedExplanation:
    if abs(scale - 1.0) <= ORDINARY_SLIP:
        return SpeedExplanation(
            kind="agree", scale=scale, cause="belt slip or motor load", deviations=off
        )
    return SpeedExplanation(kind="scale", scale=scale, cause=_cause(machine, scale), deviations=off)


def _cause(machine: Machine, scale: float) -> Cause:
    mains = machine.supply.mains_hz
    if mains == 50.0 and abs(scale / 1.2 - 1.0) <= ORDINARY_SLIP:
        return "60 Hz mains entered as 50 Hz"
    if mains == 60.0 and abs(scale * 1.2 - 1.0) <= ORDINARY_SLIP:
        return "50 Hz mains entered as 60 Hz"
    if abs(scale / 2.0 - 1.0) <= ORDINARY_SLIP:
        return "motor turns at twice the plate's speed"
    if abs(scale * 2.0 - 1.0) <= ORDINARY_SLIP:
        return "motor turns at half the plate's speed"
    return "inverter, pulleys or motor plate"


def _misfiled(machine: Machine, rows: Sequence[Row], error: float) -> tuple[dict[str, str], float]:
    """Takes whose speed is another position's, when all the others agree; and the common scale."""
    spindle = [(label, d) for label, rotor, d in rows if rotor == machine.spindle]
    base = _median([d for _, d in spindle])
    limit = 3.0 * error
    strange = [(label, d) for label, d in spindle if abs(d - base) > limit]
    if not strange or len(strange) > max(2, len(spindle) // 3):
        return {}, base
    expected = {p.label: turning(machine, p).nominal_hz(machine.spindle) for p in machine.positions}
    moved: dict[str, str] = {}
    for label, d in strange:
        own = expected[label]
        assert own is not None
        speed = own * exp(d - base)
        near = [
            (abs(log(speed / other)), name)
            for name, other in expected.items()
            if other and name != label
        ]
        distance, name = min(near, default=(1.0, ""))
        if distance > limit:
            return {}, base
        moved[label] = name
    return moved, base


def chart_speeds(machine: Machine) -> dict[str, float]:
    """The chart's promises as if they had been measured, turns a second."""
    return {
        p.label: hz(p.chart_rpm.value) for p in machine.positions if p.chart_rpm.value is not None
    }


def chart_rounding(machine: Machine) -> dict[str, float]:
    """How far each speed of the chart may have been rounded, relative."""
    return {
        p.label: (ROUND_FIVES / 2.0 if rpm % ROUND_FIVES == 0 else 0.5) / rpm
        for p in machine.positions
        if (rpm := p.chart_rpm.value)
    }
