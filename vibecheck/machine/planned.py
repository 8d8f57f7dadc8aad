"""What a plan says: takes to record, special ones, and what no recording will decide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SpecialKind = Literal[
    "background", "motor alone", "neutral", "chuck off", "reverse", "coast-down", "cutting", "tap"
]


Reason = Literal["shortest", "spindle turns", "hunting teeth", "part two lines"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTake:
    """One lever position to record.

    ``reason`` says what sets the length; ``hardest`` the two suspects whose lines are closest
    there, when that is it. ``settles`` counts the pairs of suspects this take is the one to part.
    """

    position: str
    seconds: float
    reason: Reason
    hardest: tuple[str, ...] = ()
    settles: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecialTake:
    """A recording that is no lever position of the chart; ``about`` names what it decides on."""

    kind: SpecialKind
    seconds: float
    about: tuple[str, ...]
    position: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inseparable:
    """Suspects no lever position parts, why, and the test that would."""

    suspects: tuple[str, ...]
    why: Literal["one speed", "one belt and shaft", "numbers missing"]
    test: Literal["inspect", "reverse and inspect", "find the numbers", "power off"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to record, and what recording will never decide."""

    machine: str
    suspects: tuple[str, ...]
    takes: tuple[PlannedTake, ...]
    specials: tuple[SpecialTake, ...]
    inseparable: tuple[Inseparable, ...]
    never_work: tuple[str, ...] = ()
    positions: int = 0

    @property
    def seconds(self) -> float:
        """Recording time of all takes, special ones included."""
        return sum(t.seconds for t in self.takes) + sum(t.seconds for t in self.specials)
