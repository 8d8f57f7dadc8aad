"""What is planted in an invented recording, and how severe."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vibecheck.machine.parts import Machine

GEAR_FAULTS = ("broken or damaged tooth", "eccentric or worn gear")
BEARING_FAULTS = ("outer race", "inner race", "rolling element", "cage")
SHAFT_FAULTS = ("imbalance", "bent or misaligned", "loose on its shaft or in its seat")
PLANTABLE = (
    *GEAR_FAULTS,
    *BEARING_FAULTS,
    *SHAFT_FAULTS,
    "lumpy or set belt",
    "mains hum",
    "fixed tone of structure or room",
    "chatter",
    "pump pulsation",
)
"""Every fault this room can plant, by the trade's name for it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantedFault:
    """One fault of one part.

    Attributes
    ----------
    part : str
        Gear, bearing, shaft, belt or pump by its name in the table; "mains", "structure" or
        "tool" for those that no table lists.
    fault : str
        One of :data:`PLANTABLE`.
    severity : float
        0 barely there, 1 plainly there; each step of 0.1 is 3 dB. May go above 1.
    hz : float
        Of a fixed tone or of chatter; drawn when 0.
    worn : bool
        Bearings: spread wear (a rustle that comes and goes) rather than one spall. Gears: worn
        over a stretch of teeth rather than running out.
    slip : float
        Bearings: how far the elements fall behind pure rolling, as a fraction (0..0.025).
    jitter : float
        Bearings: spread of the spacing of strikes, over the spacing; it adds up.
    one_flank : bool
        Teeth: only the driving flank of ordinary running is damaged.
    """

    part: str
    fault: str
    severity: float = 0.5
    hz: float = 0.0
    worn: bool = False
    slip: float = 0.008
    jitter: float = 0.008
    one_flank: bool = False

    @property
    def strength(self) -> float:
        """Amplitude factor, 1 at severity 0.5."""
        return float(10 ** (1.5 * (self.severity - 0.5)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """The faults of one machine, looked up by part."""

    planted: tuple[PlantedFault, ...] = field(default_factory=tuple)

    def of(self, part: str, *names: str) -> list[PlantedFault]:
        """Faults of a part, of the given names."""
        return [f for f in self.planted if f.part == part and f.fault in names]

    def named(self, *names: str) -> list[PlantedFault]:
        """Faults of the given names, whatever the part."""
        return [f for f in self.planted if f.fault in names]


def candidates(machine: Machine, fault: str) -> tuple[str, ...]:
    """Parts of a machine that can have a fault.

    >>> candidates(Machine(name="m", shafts=("spindle",)), "imbalance")
    ('spindle',)
    """
    if fault in GEAR_FAULTS:
        return tuple(gear.name for gear in machine.gears)
    if fault in BEARING_FAULTS:
        return tuple(b.name for b in machine.bearings if b.kind != "plain")
    if fault in SHAFT_FAULTS:
        return machine.shafts
    return {
        "lumpy or set belt": tuple(belt.name for belt in machine.belts),
        "pump pulsation": tuple(pump.name for pump in machine.pumps),
        "mains hum": ("mains",),
        "fixed tone of structure or room": ("structure",),
        "chatter": ("tool",),
    }[fault]


def same_belt(machine: Machine, name: str) -> tuple[str, ...]:
    """Names of all entries that are one belt on different steps of its pulleys, this included."""
    own = next(belt for belt in machine.belts if belt.name == name)
    alike = (
        belt.name
        for belt in machine.belts
        if belt.name == name
        or (
            (belt.driver, belt.driven, belt.toothed) == (own.driver, own.driven, own.toothed)
            and belt.length_mm.value == own.length_mm.value
            and belt.when
            and own.when
        )
    )
    return tuple(dict.fromkeys(alike))


def random_fault(
    machine: Machine,
    rng: np.random.Generator,
    *,
    severity: float | None = None,
    fault: str | None = None,
    part: str | None = None,
) -> PlantedFault:
    """A fault of some part; what is given is kept, the rest is drawn."""
    possible = [f for f in PLANTABLE if candidates(machine, f)]
    name = fault or str(rng.choice(possible))
    return PlantedFault(
        part=part or str(rng.choice(list(candidates(machine, name)))),
        fault=name,
        severity=float(rng.uniform(0, 1)) if severity is None else severity,
        hz=_random_hz(name, rng),
        worn=bool(rng.random() < 0.25),
        slip=float(rng.choice([rng.uniform(0, 0.012), rng.uniform(0, 0.025)])),
        jitter=float(10 ** rng.uniform(-3, -1.7)),
        one_flank=bool(rng.random() < 0.5),
    )


def _random_hz(fault: str, rng: np.random.Generator) -> float:
    if fault == "chatter":
        return float(np.exp(rng.uniform(np.log(90), np.log(1400))))
    if fault == "fixed tone of structure or room":
        return float(np.exp(rng.uniform(np.log(70), np.log(2000))))
    return 0.0
