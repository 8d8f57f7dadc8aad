"""How severe is severe: whether someone told the true speed and the true part would hear it.

The statistic of a fault is matched to it: the power at the orders it must have, over the floor
beside them (in dB), taken by the true angle. *Clear* in a take means beyond anything the same
machine shows there when healthy; *moderate* means clear in at least half of the takes in which the
part works.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.train import turning
from vibecheck.recording import TakeKind
from vibecheck.synth.conditions import Conditions, another_take
from vibecheck.synth.faults import PlantedFault, same_belt
from vibecheck.synth.individual import Individual
from vibecheck.synth.matched import statistic_db
from vibecheck.synth.sound import rendered
from vibecheck.synth.sweep import Truth

_FEWEST_DB = 1.5
"""A statistic nearer than this to the healthy ones is never called clear."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """How a fault stands out in one take: its statistic, and the healthy ones, in dB."""

    position: str
    fault_db: float
    healthy_db: tuple[float, ...]
    spread_db: float

    @property
    def clear(self) -> bool:
        """Beyond every healthy rendering, and by three spreads of them."""
        margin = max(3 * self.spread_db, _FEWEST_DB)
        return self.fault_db > max(max(self.healthy_db), float(np.mean(self.healthy_db)) + margin)


def works_in(machine: Machine, position: Position, fault: PlantedFault) -> bool:
    """Whether the part turns here (gears: under load)."""
    turn = turning(machine, position)
    if fault.part in {gear.name for gear in machine.gears}:
        return any(
            work.loaded and fault.part in (work.mesh.driver, work.mesh.driven)
            for work in turn.meshes
        )
    if fault.part in {belt.name for belt in machine.belts}:
        alike = same_belt(machine, fault.part)
        return any(work.belt.name in alike for work in turn.belts)
    carriers = {b.name: b.shaft for b in machine.bearings} | {
        p.name: p.shaft for p in machine.pumps
    }
    shaft = carriers.get(fault.part, fault.part)
    return shaft in turn.rotors or fault.part in ("mains", "structure", "tool")


def clearance(
    machine: Machine,
    fault: PlantedFault,
    *,
    individual: Individual,
    conditions: Conditions,
    seed: int,
    most: int = 5,
    healthy: int = 3,
    seconds: float = 8.0,
    rate_hz: float = 16000.0,
) -> tuple[Clearance, ...]:
    """How a fault stands out in takes where the part works, against healthy takes of the same.

    Parameters
    ----------
    machine, fault, individual, conditions
        As for :func:`vibecheck.synth.sound.record`.
    seed : int
        Settles all takes; the same seed gives the same healthy takes whatever the severity.
    most : int
        Positions looked at, evenly from those in which the part works.
    healthy : int
        Healthy renderings of each.

    Returns
    -------
    tuple of Clearance
        One a position; empty when the part works nowhere.
    """
    where = [p for p in machine.positions if works_in(machine, p, fault)]
    where = (
        [where[k] for k in np.unique(np.linspace(0, len(where) - 1, most).astype(int))]
        if where
        else []
    )
    kind: TakeKind = "cutting" if fault.fault == "chatter" else "idle"

    def heard(position: Position, faults: Sequence[PlantedFault], number: int) -> float:
        rng = np.random.default_rng([seed, number])
        made = rendered(
            machine,
            position,
            faults=faults,
            conditions=another_take(conditions, rng),
            rng=rng,
            seconds=seconds,
            rate_hz=rate_hz,
            individual=individual,
            kind=kind,
        )
        return statistic_db(made, fault, individual)

    good = [
        tuple(heard(p, (), 100 * i + k + 1) for k in range(healthy)) for i, p in enumerate(where)
    ]
    spread = (
        float(np.sqrt(np.mean([np.var(g, ddof=1) for g in good]))) if healthy > 1 and good else 1.0
    )
    return tuple(
        Clearance(
            position=p.label,
            fault_db=heard(p, (fault,), 100 * i),
            healthy_db=good[i],
            spread_db=spread,
        )
        for i, p in enumerate(where)
    )


def is_moderate(found: Sequence[Clearance]) -> bool:
    """Clear in at least half of the takes in which the part works (and it works in some)."""
    return bool(found) and sum(one.clear for one in found) * 2 >= len(found)


def moderate_faults(
    truth: Truth, *, seed: int, most: int = 5, healthy: int = 3, seconds: float = 8.0
) -> tuple[PlantedFault, ...]:
    """The planted faults of a sweep that are at least moderate on that machine and channel."""
    return tuple(
        fault
        for fault in truth.faults
        if is_moderate(
            clearance(
                truth.machine,
                fault,
                individual=truth.individual,
                conditions=truth.conditions,
                seed=seed,
                most=most,
                healthy=healthy,
                seconds=seconds,
            )
        )
    )


def moderate(
    machine: Machine,
    fault: PlantedFault,
    *,
    individual: Individual,
    conditions: Conditions,
    seed: int,
    severities: Sequence[float] = (0.35, 0.5, 0.65, 0.8, 1.0),
    most: int = 5,
    healthy: int = 3,
    seconds: float = 8.0,
) -> PlantedFault | None:
    """The fault at the least of some severities at which it is moderate; None when at none.

    None is common and right: an unbalanced slow shaft is not heard by a phone at all.
    """
    for severity in severities:
        tried = replace(fault, severity=severity)
        found = clearance(
            machine,
            tried,
            individual=individual,
            conditions=conditions,
            seed=seed,
            most=most,
            healthy=healthy,
            seconds=seconds,
        )
        if is_moderate(found):
            return tried
    return None
