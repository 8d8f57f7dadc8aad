"""Every lever position with its outcome: spread from all positions together, then line by line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from vibecheck.diagnosis.compared.change import (
    WORST_FIRST,
    Comparison,
    LineChange,
    Outcome,
    PositionChange,
    Shaking,
)
from vibecheck.diagnosis.compared.compared_levels import ComparedSide
from vibecheck.diagnosis.compared.compared_lines import Domain
from vibecheck.diagnosis.compared.compared_position import ComparedPosition
from vibecheck.diagnosis.compared.judged_lines import domain_cell, line_changes, outcome_of
from vibecheck.diagnosis.compared.repeatability import RESEATING_DB, Repeatability, repeatability_of
from vibecheck.diagnosis.compared.resolved_changes import resolved, smallest_change_db
from vibecheck.diagnosis.compared.severity import severity
from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import turning
from vibecheck.units import rpm

LINE_ALLOWANCE_DB: Mapping[Domain, float] = {"spectrum": 2.5, "envelope": 2.5, "shape": 0.5}
"""Without repeats: what re-seating, and gears meshing anew, does to one line alone (judgement)."""
PEAKINESS_SEAT_DB = 0.5
"""Seating changes the level far more than the shape of the wave (judgement)."""


def judged(
    machine: Machine, measured: Sequence[ComparedPosition], seated: bool | None
) -> Comparison:
    """Spread from all positions together, then every line, then every position."""
    open_ = [m for m in measured if not m.obstacles]
    known = {
        domain: repeatability_of(
            [domain_cell(m, domain) for m in open_ if domain_cell(m, domain).lines],
            reseated=seated is not False,
            seat_db=PEAKINESS_SEAT_DB if domain == "shape" else RESEATING_DB,
            line_db=allowed,
        )
        for domain, allowed in LINE_ALLOWANCE_DB.items()
    }
    tested: list[tuple[int, int]] = []
    chances: list[float] = []
    changes: list[list[LineChange]] = []
    for place, m in enumerate(measured):
        found = line_changes(m, known)
        changes.append(found)
        if m.obstacles:
            continue
        for index, line in enumerate(found):
            if line.reason == "":
                tested.append((place, index))
                chances.append(line.chance)
    called = resolved(np.array(chances))
    for (place, index), yes in zip(tested, called, strict=True):
        changes[place][index] = outcome_of(changes[place][index], bool(yes))
    compared = max(len(tested), 1)
    positions = [
        _position(machine, m, found, known["spectrum"], compared)
        for m, found in zip(measured, changes, strict=True)
    ]
    sizes = [(p.before_takes, p.after_takes) for p in positions if not p.obstacles] or [(1, 1)]
    noise = _typical_noise(open_)
    return Comparison(
        machine=machine.name,
        positions=tuple(sorted(positions, key=lambda p: WORST_FIRST.index(p.outcome))),
        repeatability=known["spectrum"],
        compared=compared,
        reseated=seated,
        smallest_db=smallest_change_db(
            known["spectrum"], noise, before=min(sizes)[0], after=min(sizes)[1], lines=compared
        ),
        smallest_with=_with_repeats(known["spectrum"], noise, compared, min(sizes)),
    )


def _position(
    machine: Machine,
    m: ComparedPosition,
    lines: Sequence[LineChange],
    known: Repeatability,
    compared: int,
) -> PositionChange:
    outcome: Outcome
    if m.obstacles or not m.usable.any():
        outcome = "not comparable"
        lines = [replace(line, outcome="not comparable") for line in lines]
    else:
        outcomes = {line.outcome for line in lines}
        outcome = "worse" if "worse" in outcomes else "better" if "better" in outcomes else "same"
    counts = len(m.before.heard), len(m.after.heard)
    overall = [
        float(np.mean([level.overall_db for level in side.levels])) for side in (m.before, m.after)
    ]
    smallest = None
    if not m.obstacles:
        smallest = smallest_change_db(
            known, _typical_noise([m]), before=counts[0], after=counts[1], lines=compared
        )
    return PositionChange(
        position=m.label,
        outcome=outcome,
        lines=tuple(sorted(lines, key=_telling)),
        obstacles=m.obstacles,
        left_out=m.left_out,
        before_takes=counts[0],
        after_takes=counts[1],
        before_rpm=_rpm(machine, m, m.before),
        after_rpm=_rpm(machine, m, m.after),
        overall_db=None if m.obstacles else overall[1] - overall[0],
        smallest_db=smallest,
        shaking=None if m.obstacles else _shaking(machine, m),
    )


def _shaking(machine: Machine, m: ComparedPosition) -> Shaking | None:
    """Velocity and displacement of both sides, when every take is calibrated motion."""
    takes = [heard.take.recording for side in (m.before, m.after) for heard in side.heard]
    if any(
        take.quantity not in ("acceleration", "velocity") or take.unit == "FS" for take in takes
    ):
        return None
    speed = _rpm(machine, m, m.before)
    sides = [
        [severity(heard.take.recording, speed, heard.channel) for heard in side.heard]
        for side in (m.before, m.after)
    ]
    velocity, moved = (
        [float(np.sqrt(np.mean([getattr(one, name) ** 2 for one in side]))) for side in sides]
        for name in ("velocity_mm_s", "displacement_um")
    )
    return Shaking(
        before_mm_s=velocity[0],
        after_mm_s=velocity[1],
        before_um=moved[0],
        after_um=moved[1],
        band_hz=sides[0][0].band_hz,
    )


def _telling(line: LineChange) -> tuple[int, float]:
    order = {"worse": 0, "better": 1, "same": 2, "not comparable": 3, "not heard": 4}
    return order[line.outcome], -abs(line.change_db) / max(line.standard_db, 1e-9)


def _rpm(machine: Machine, m: ComparedPosition, side: ComparedSide) -> float | None:
    at = turning(machine, machine.position(m.label))
    spindle = at.rotors[machine.spindle]
    speeds = [h.speeds_hz[spindle.group] for h in side.heard if spindle.group in h.speeds_hz]
    return rpm(float(np.mean(speeds)) * spindle.ratio) if speeds else None


def _typical_noise(measured: Sequence[ComparedPosition]) -> float:
    cells = [domain_cell(m, "spectrum") for m in measured]
    parts = [np.sqrt(cell.noise_variance[cell.fit]) for cell in cells]
    values = np.concatenate(parts) if parts else np.zeros(0)
    return float(np.median(values)) if values.size else 1.0


def _with_repeats(
    known: Repeatability, noise: float, compared: int, now: tuple[int, int]
) -> tuple[tuple[int, float], ...]:
    """Smallest change for more takes a side; with measured spread, its freedom grows too."""
    found = []
    for count in (3, 5, 8):
        if count <= min(now):
            continue
        more = replace(known, take_dof=max(known.take_dof, 2.0 * (count - 1)))
        found.append(
            (count, smallest_change_db(more, noise, before=count, after=count, lines=compared))
        )
    return tuple(found)
