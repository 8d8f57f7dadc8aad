"""Pairs and belt steps any one of which, with another number, would explain measured speeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, log

from vibecheck.machine.parts import Gear, Known, Machine, When
from vibecheck.machine.tooth_counts import Pair, pairs_near, ratio_after
from vibecheck.machine.turning import turning

ORDINARY_SLIP = 0.03
"""Belt slip and motor load shift all positions alike by up to this; nothing is wrong then."""


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


Row = tuple[str, str, float]
"""Position, rotor, and log of measured over table speed."""


def wrong_pairs(machine: Machine, rows: Sequence[Row], error: float) -> list[WrongPair]:
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
