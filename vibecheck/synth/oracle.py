"""How severe is severe: whether someone told the true speed and the true part would hear it.

The statistic of a fault is matched to it: the power at the orders it must have, over the floor
beside them (in dB), taken by the true angle. *Clear* in a take means beyond anything the same
machine shows there when healthy; *moderate* means clear in at least half of the takes in which the
part works.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.turning import turning
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Oracle:
    """Someone told the true speed and the true part, listening to one machine on one channel.

    Attributes
    ----------
    machine, individual, conditions
        As for :func:`vibecheck.synth.sound.record`.
    seed : int
        Settles all takes; the same seed gives the same healthy takes whatever the fault.
    most : int
        Positions listened to, evenly from those in which the part works.
    healthy : int
        Healthy renderings of each position.
    seconds, rate_hz : float
        Of each take.
    """

    machine: Machine
    individual: Individual
    conditions: Conditions
    seed: int
    most: int = 5
    healthy: int = 3
    seconds: float = 8.0
    rate_hz: float = 16000.0

    def positions(self, fault: PlantedFault) -> list[Position]:
        """Where the oracle listens for a fault."""
        works = [p for p in self.machine.positions if works_in(self.machine, p, fault)]
        if not works:
            return []
        return [works[k] for k in np.unique(np.linspace(0, len(works) - 1, self.most).astype(int))]

    def hears(self, fault: PlantedFault, position: Position, present: bool, number: int) -> float:
        """The statistic of a fault in one take with or without it, in dB."""
        rng = np.random.default_rng([self.seed, number])
        made = rendered(
            self.machine,
            position,
            faults=(fault,) if present else (),
            conditions=another_take(self.conditions, rng),
            rng=rng,
            seconds=self.seconds,
            rate_hz=self.rate_hz,
            individual=self.individual,
            kind="cutting" if fault.fault == "chatter" else "idle",
        )
        return statistic_db(made, fault, self.individual)

    def usual(self, fault: PlantedFault) -> list[tuple[float, ...]]:
        """The statistic in healthy takes, for each position; the same whatever the severity."""
        return [
            tuple(
                self.hears(fault, position, False, 100 * place + again + 1)
                for again in range(self.healthy)
            )
            for place, position in enumerate(self.positions(fault))
        ]

    def clearance(
        self, fault: PlantedFault, usual: list[tuple[float, ...]] | None = None
    ) -> tuple[Clearance, ...]:
        """How a fault stands out at each position; empty when the part works nowhere."""
        good = self.usual(fault) if usual is None else usual
        if not good:
            return ()
        spread = sqrt(sum(float(np.var(g, ddof=1)) for g in good) / len(good))
        return tuple(
            Clearance(
                position=position.label,
                fault_db=self.hears(fault, position, True, 100 * place),
                healthy_db=good[place],
                spread_db=spread,
            )
            for place, position in enumerate(self.positions(fault))
        )

    def moderate(
        self, fault: PlantedFault, severities: Sequence[float] = (0.35, 0.5, 0.65, 0.8, 1.0)
    ) -> PlantedFault | None:
        """The fault at the least of some severities at which it is moderate; None when at none.

        None is common and right: an unbalanced slow shaft is not heard by a phone at all.
        """
        usual = self.usual(fault)
        for severity in severities:
            tried = replace(fault, severity=severity)
            if is_moderate(self.clearance(tried, usual)):
                return tried
        return None


def is_moderate(found: Sequence[Clearance]) -> bool:
    """Clear in at least half of the takes in which the part works (and it works in some)."""
    return bool(found) and sum(one.clear for one in found) * 2 >= len(found)


def moderate_faults(
    truth: Truth, *, seed: int, most: int = 5, healthy: int = 3, seconds: float = 8.0
) -> tuple[PlantedFault, ...]:
    """The planted faults of a sweep that are at least moderate on that machine and channel."""
    oracle = Oracle(
        machine=truth.machine,
        individual=truth.individual,
        conditions=truth.conditions,
        seed=seed,
        most=most,
        healthy=healthy,
        seconds=seconds,
    )
    return tuple(fault for fault in truth.faults if is_moderate(oracle.clearance(fault)))
