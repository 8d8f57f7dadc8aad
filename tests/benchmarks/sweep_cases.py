"""The sweeps the sweep benchmark is made of: which machine, which faults, how severe, by seed.

A case is settled by its seed and its kind alone. Kinds: ``moderate`` (one fault, at the least
severity at which an oracle told the true speed and the true part hears it in half of its takes),
``plain`` (one fault, 9 dB above that), ``single`` (one fault of any severity), ``double`` (two
moderate faults), ``healthy`` and ``loud``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Machine, Position
from vibecheck.recording import Take, TakeKind
from vibecheck.synth.conditions import Conditions, random_conditions, seated_again
from vibecheck.synth.faults import PLANTABLE, PlantedFault, candidates, random_fault, same_belt
from vibecheck.synth.individual import Individual
from vibecheck.synth.oracle import Oracle, is_moderate, works_in
from vibecheck.synth.random_machine import random_machine
from vibecheck.synth.sweep import Truth, random_individual, record_sweep

MIXED = (
    "moderate", "healthy", "single", "moderate", "double",
    "moderate", "loud", "single", "moderate", "healthy",
)  # fmt: skip
KINDS = ("moderate", "single", "double", "healthy", "loud", "plain")
FAULTY = ("moderate", "single", "double", "plain")
PLAINLY = 0.3
"""Severity above moderate (9 dB) of a fault that is plainly there."""
SECONDS = (10.0, 14.0)
RATE_HZ = 16000.0
CUTTING_SHARE = 0.12
"""Share of sweeps under load where nothing else says so, so that load gives no fault away."""
IN_AIR = 3
"""About this many positions of a sweep under load are recorded in air as well."""
TRIES = 4
"""Other parts, then other faults, tried when the oracle hears one at no severity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One sweep to be judged; ``moderate`` runs alongside ``faults``."""

    seed: int
    kind: str
    machine: Machine
    individual: Individual
    conditions: Conditions
    faults: tuple[PlantedFault, ...]
    moderate: tuple[bool, ...]
    load: TakeKind

    def recorded(self, most: int = 24) -> tuple[list[Take], Truth]:
        """One take at every lever position of the chart, or at some ``most`` of them.

        Someone who records the cut also records some of its positions in air, as the plan asks.
        """
        positions = self.positions(most)
        takes, truth = self._takes(positions, self.load, 2)
        if self.load == "cutting":
            in_air, idle = self._takes(positions[:: len(positions) // IN_AIR], "idle", 4)
            takes, truth = [*takes, *in_air], replace(truth, takes=(*truth.takes, *idle.takes))
        return takes, truth

    def baseline(self, most: int = 24) -> list[Take]:
        """The same machine at the same positions before anything was wrong with it.

        Another day: every take afresh, and the sensor taken off and put back.
        """
        rng = np.random.default_rng([self.seed, 77])
        before = replace(
            self, faults=(), moderate=(), conditions=seated_again(self.conditions, rng)
        )
        positions = self.positions(most)
        takes, _ = before._takes(positions, self.load, 12)
        if self.load == "cutting":
            takes += before._takes(positions[:: len(positions) // IN_AIR], "idle", 14)[0]
        return takes

    def _takes(
        self, positions: list[Position], load: TakeKind, purpose: int
    ) -> tuple[list[Take], Truth]:
        return record_sweep(
            self.machine,
            self.faults,
            rng=np.random.default_rng([self.seed, purpose]),
            conditions=self.conditions,
            individual=self.individual,
            positions=positions,
            seconds=SECONDS,
            rate_hz=RATE_HZ,
            kind=load,
        )

    def positions(self, most: int) -> list[Position]:
        """Some positions of the chart, drawn so that a faulty part works in two of them."""
        chart = self.machine.positions
        if len(chart) <= most:
            return list(chart)
        rng = np.random.default_rng([self.seed, 3])
        for _ in range(50):
            drawn = [chart[k] for k in np.sort(rng.choice(len(chart), most, replace=False))]
            if all(self._works(one, drawn) >= 2 for one in self.faults):
                break
        return drawn

    def _works(self, fault: PlantedFault, positions: list[Position]) -> int:
        return sum(works_in(self.machine, position, fault) for position in positions)


def kind_of(seed: int) -> str:
    """Kind of a seed in the mixed run."""
    return MIXED[seed % len(MIXED)]


def case_of(seed: int, kind: str, fault: str | None = None) -> Case:
    """The case of a seed: machine, shop and sensor, faults; ``fault`` asks for one by name."""
    rng = np.random.default_rng([seed, 1])
    machine = random_machine(rng)
    individual = random_individual(rng, loud=kind == "loud")
    conditions = random_conditions(rng, float(rng.uniform(0.1, 0.9)))
    oracle = Oracle(machine=machine, individual=individual, conditions=conditions, seed=seed)
    planted = [_planted(oracle, seed, kind, rng, fault)] if kind in FAULTY else []
    if kind == "double":
        planted.append(_planted(oracle, seed + 7, kind, rng, None, planted[0][0]))
    named = {one.fault for one, _ in planted}
    loaded = "chatter" in named or (
        "fixed tone of structure or room" not in named and rng.random() < CUTTING_SHARE
    )
    return Case(
        seed=seed,
        kind=kind,
        machine=machine,
        individual=individual,
        conditions=conditions,
        faults=tuple(one for one, _ in planted),
        moderate=tuple(heard for _, heard in planted),
        load="cutting" if loaded else "idle",
    )


def _planted(
    oracle: Oracle,
    seed: int,
    kind: str,
    rng: np.random.Generator,
    fault: str | None,
    beside: PlantedFault | None = None,
) -> tuple[PlantedFault, bool]:
    """A fault and whether it is moderate; faults come round in turn so that all are tried."""
    turn = seed // len(MIXED) * 3 + seed % len(MIXED)
    for attempt in range(2 * TRIES):
        name = fault or PLANTABLE[(turn + attempt // TRIES) % len(PLANTABLE)]
        if not candidates(oracle.machine, name):
            name = str(rng.choice([f for f in PLANTABLE if candidates(oracle.machine, f)]))
        drawn = random_fault(oracle.machine, rng, fault=name)
        if beside is not None and drawn.part == beside.part:
            continue
        if kind == "single":
            return drawn, is_moderate(oracle.clearance(drawn))
        raised = oracle.moderate(drawn)
        if raised is not None:
            more = PLAINLY if kind == "plain" else 0.0
            return replace(raised, severity=raised.severity + more), True
    return drawn, False


def alike(machine: Machine, fault: PlantedFault) -> set[str]:
    """Names under which a planted fault may rightly be reported: one belt has several steps."""
    if fault.part in {belt.name for belt in machine.belts}:
        return set(same_belt(machine, fault.part))
    return {fault.part}


def told(machine: Machine, fault: PlantedFault) -> bool:
    """Whether the table gives what naming the fault needs: a bearing's inside may be unknown."""
    return all(orders_of(b) is not None for b in machine.bearings if b.name == fault.part)
