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

from vibecheck.machine.parts import Gear, Known, Machine, When
from vibecheck.machine.tooth_counts import (
    Pair,
    pairs_near,
    ratio_after,
)
from vibecheck.machine.train import turning
from vibecheck.units import hz

ORDINARY_SLIP = 0.03
"""Belt slip and motor load shift all positions alike by up to this; nothing is wrong then."""

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
class WrongPair:
    """One pair whose tooth counts would explain the measured speeds.

    Attributes
    ----------
    pair : str
        Its name in the table.
    settings : tuple of str
        Lever settings that use it.
    counted : (int, int)
        Driver and driven teeth as the table has them; empty for a belt step.
    deviation : float
        Measured over expected speed, less one, where the pair works.
    positions : tuple of str
        Where it works among those measured.
    candidates : tuple of (int, int)
        Tooth counts that would fit, same sum first.
    same_sum : bool
        Whether the first candidate keeps the sum of teeth.
    scale : float
        What is left for belt and motor, relative to the table, if this pair is the wrong one.
    residual : float
        Root mean square of what remains unexplained, relative.
    """

    pair: str
    settings: tuple[str, ...]
    counted: Pair | tuple[()]
    deviation: float
    positions: tuple[str, ...]
    candidates: tuple[Pair, ...]
    same_sum: bool
    scale: float
    residual: float


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


def explain_speeds(
    machine: Machine, measured: Measured, relative_error: float = 2e-3
) -> SpeedExplanation:
    """Why measured speeds differ from the table's.

    Parameters
    ----------
    machine : Machine
    measured : mapping
        Position label -> spindle speed in turns a second, or rotor name -> speed.
    relative_error : float
        Standard error of the measured speeds.
    """
    rows = _rows(machine, measured)
    if not rows:
        return SpeedExplanation(kind="nothing to compare")
    off = {label: exp(d) - 1.0 for label, rotor, d in rows if rotor == machine.spindle}
    centre = _median([d for _, _, d in rows])
    limit = 3.0 * relative_error
    if all(abs(d - centre) <= limit for _, _, d in rows):
        mean = sum(d for _, _, d in rows) / len(rows)
        return _uniform(machine, exp(mean), off)
    pairs = _wrong_pairs(machine, rows, relative_error)
    moved, base = _misfiled(machine, rows, relative_error)
    if moved and not (pairs and len(pairs[0].positions) <= len(moved)):
        return SpeedExplanation(kind="misfiled", scale=exp(base), misfiled=moved, deviations=off)
    if pairs:
        return SpeedExplanation(
            kind="pair", scale=pairs[0].scale, pairs=tuple(pairs), deviations=off
        )
    return SpeedExplanation(kind="unexplained", scale=exp(centre), deviations=off)


Row = tuple[str, str, float]


def _rows(machine: Machine, measured: Measured) -> list[Row]:
    """(position, rotor, log of measured over table speed), where the table gives a speed."""
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


def _wrong_pairs(machine: Machine, rows: Sequence[Row], error: float) -> list[WrongPair]:
    """Pairs (and belt steps) any one of which alone would explain the rows, likeliest first."""
    found = []
    plain = {(label, rotor): _speed(machine, label, rotor) for label, rotor, _ in rows}
    at_work = _at_work(machine, rows)
    for change in _changes(machine):
        if change.name not in at_work:
            continue
        use = [
            _use(plain[label, rotor], _speed(change.machine, label, rotor))
            for label, rotor, _ in rows
        ]
        made = _explained(change, use, rows, error) if len(set(use)) > 1 else None
        if made is not None:
            found.append(made)
    likely = [w for w in found if _slip(w) <= ORDINARY_SLIP and (w.candidates or not w.counted)]
    return sorted(likely or found, key=_likeliness)


def _at_work(machine: Machine, rows: Sequence[Row]) -> set[str]:
    """What drives at some of these positions, and so can show; at all of them it only scales."""
    labels, rotors = {label for label, _, _ in rows}, {rotor for _, rotor, _ in rows}
    found: list[str] = []
    for label in labels:
        here = turning(machine, machine.position(label))
        found += {work.name for work in here.meshes if work.loaded}
    belts = {belt.name for belt in machine.belts}
    if len(rotors) > 1:
        return set(found) | belts
    return {name for name in found if found.count(name) < len(labels)} | belts


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """The machine with one ratio a little larger."""

    name: str
    when: When
    counted: Pair | tuple[()]
    machine: Machine


def _changes(machine: Machine) -> list[_Change]:
    found = []
    for mesh in machine.meshes:
        teeth = [machine.gear(name).teeth.value for name in (mesh.driver, mesh.driven)]
        if teeth[0] and teeth[1]:
            gears = tuple(
                _one_part_more(gear) if gear.name == mesh.driver else gear for gear in machine.gears
            )
            found.append(
                _Change(
                    name=mesh.name,
                    when=mesh.when,
                    counted=(int(teeth[0]), int(teeth[1])),
                    machine=replace(machine, gears=gears),
                )
            )
    for index, belt in enumerate(machine.belts):
        size = belt.driver_mm.middle
        if belt.when and size and not belt.toothed:
            larger = replace(belt, driver_mm=Known.exactly(size * (1.0 + _PART)))
            belts = (*machine.belts[:index], larger, *machine.belts[index + 1 :])
            found.append(
                _Change(
                    name=belt.name,
                    when=belt.when,
                    counted=(),
                    machine=replace(machine, belts=belts),
                )
            )
    return found


def _explained(
    change: _Change, use: Sequence[int], rows: Sequence[Row], error: float
) -> WrongPair | None:
    """The pair as the one wrong number, when that explains the rows."""
    scale, shift = _fit(use, [d for _, _, d in rows])
    left = [d - scale - shift * u for u, (_, _, d) in zip(use, rows, strict=True)]
    if max(abs(x) for x in left) > 3.0 * error or abs(shift) <= 2.0 * error:
        return None
    near: list[Pair] = []
    if change.counted:
        few = max(1, min(use.count(0), len(use) - use.count(0)))
        doubt = 2.0 * error / few**0.5
        near = pairs_near(change.counted, ratio_after(change.counted, shift), doubt)
    where = dict.fromkeys(row[0] for u, row in zip(use, rows, strict=True) if u)
    return WrongPair(
        pair=change.name,
        settings=tuple(g + s for g, options in change.when.items() for s in options),
        counted=change.counted,
        deviation=exp(shift) - 1.0,
        positions=tuple(where),
        candidates=tuple(near),
        same_sum=bool(near) and sum(near[0]) == sum(change.counted),
        scale=exp(scale),
        residual=(sum(x * x for x in left) / len(left)) ** 0.5,
    )


def _slip(wrong: WrongPair) -> float:
    return abs(log(wrong.scale))


def _likeliness(wrong: WrongPair) -> tuple[float, ...]:
    """Lower is likelier: little left for slip, few teeth miscounted, sum kept."""
    slip = _slip(wrong)
    changed = 99
    if wrong.candidates:
        first = wrong.candidates[0]
        changed = sum(abs(a - b) for a, b in zip(first, wrong.counted, strict=True))
    return (
        slip > ORDINARY_SLIP,
        not wrong.same_sum,
        changed > 4,
        round(slip / 0.01),
        changed,
        wrong.residual,
    )


def _use(plain: float | None, other: float | None) -> int:
    """How a ratio enters a speed: 1, 0, or -1 when driven backwards."""
    return round(log(other / plain) / log(1.0 + _PART)) if plain and other else 0


_PART = 1e-3


def _one_part_more(gear: Gear) -> Gear:
    teeth = gear.teeth.value
    return replace(gear, teeth=Known.exactly(teeth * (1.0 + _PART))) if teeth else gear


def _speed(machine: Machine, label: str, rotor: str) -> float | None:
    here = turning(machine, machine.position(label))
    return here.nominal_hz(rotor) if rotor in here.rotors else None


def _fit(use: Sequence[int], deviations: Sequence[float]) -> tuple[float, float]:
    """Least squares of deviation = scale + change * use."""
    count = len(use)
    mean_u, mean_d = sum(use) / count, sum(deviations) / count
    spread = sum((u - mean_u) ** 2 for u in use)
    both = sum((u - mean_u) * (d - mean_d) for u, d in zip(use, deviations, strict=True))
    change = both / spread
    return mean_d - change * mean_u, change


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
