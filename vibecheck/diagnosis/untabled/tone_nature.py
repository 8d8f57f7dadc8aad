"""What usually makes a family of tones, read from how the families of one recording lie together.

Nothing is known about the machine, so a nature is a likelihood and no finding: the mains keep
their frequency, gears and fans sit at whole multiples of their shaft, rolling bearings and belts
at broken ones, and what swells once a turn has companions one turn apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from vibecheck.diagnosis.untabled.tone_families import FASTEST_SHAFT_HZ, ToneFamily
from vibecheck.units import rpm

Role = Literal["mains", "shaft", "multiple", "broken", "companion", "repeats"]
MAINS_HZ = (50.0, 100.0, 60.0, 120.0)
NEAR_MAINS = 0.002
BROKEN_FROM, BROKEN_TO = 1.6, 16.0
"""Strikes a turn between which a rolling bearing may lie."""
LARGEST_PART = 6
"""Two families whose rates are as 3 to 4, up to this, are multiples of something slower."""
SIMPLE = 0.0015


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A family, what part it plays in its recording, and that in words."""

    family: ToneFamily
    role: Role
    nature: str


def placed(
    families: Sequence[ToneFamily], shaft: ToneFamily | None, *, step: float
) -> list[Placed]:
    """Every family with its role, most surprising first; ``step`` is how finely they are known."""
    made: list[Placed] = []
    for family in families:
        role, nature = _role(family, shaft, [m.family for m in made], step)
        made.append(Placed(family=family, role=role, nature=nature))
    return made


def likely_shaft(families: Sequence[ToneFamily]) -> ToneFamily | None:
    """The slowest family that nothing else explains: most likely the turning of a shaft."""
    slow = [f for f in families if f.hz <= FASTEST_SHAFT_HZ and not is_mains(f)]
    alone = [f for f in slow if not any(_slower_base(f, other) for other in families)]
    return min(alone, key=lambda family: family.hz, default=None)


def is_mains(family: ToneFamily) -> bool:
    """Whether the rate is a mains frequency or twice one, as closely as mains keep it."""
    return any(abs(family.hz / mains - 1) < NEAR_MAINS for mains in MAINS_HZ)


def _role(
    family: ToneFamily, shaft: ToneFamily | None, before: Sequence[ToneFamily], step: float
) -> tuple[Role, str]:
    if is_mains(family):
        return "mains", "hum of the mains, or a part that turns in step with them"
    if family is shaft:
        return "shaft", f"one shaft turning {rpm(family.hz):.0f} times a minute"
    if shaft is not None:
        return _role_on(family, shaft, before, step)
    for other in before:
        base = _slower_base(family, other)
        if base:
            return "repeats", f"something slower, {base:.2f} times a second, as a cage or a belt"
    if family.hz <= FASTEST_SHAFT_HZ:
        return "repeats", "a shaft, a belt or a cage"
    return "repeats", "something that strikes that often: a bearing, teeth, blades, a fast shaft"


def _role_on(
    family: ToneFamily, shaft: ToneFamily, before: Sequence[ToneFamily], step: float
) -> tuple[Role, str]:
    """The role of a family beside a shaft."""
    for other in before:
        if other is not shaft and _companion(family, other, shaft, step):
            return "companion", f"swelling of the {other.hz:.2f} Hz family once a turn of a shaft"
    turns = family.hz / shaft.hz
    if turns > 1 and abs(turns - round(turns)) * shaft.hz <= step:
        return "multiple", f"{round(turns)} teeth, blades or bars on the {shaft.hz:.2f} Hz shaft"
    if BROKEN_FROM <= turns <= BROKEN_TO:
        return "broken", "a rolling bearing, a belt or another shaft"
    return "repeats", "another shaft, a belt or a cage"


def _companion(family: ToneFamily, other: ToneFamily, shaft: ToneFamily, step: float) -> bool:
    """Whether a family lies up to three turns of the shaft beside a multiple of another."""
    for multiple in (1, 2):
        beside = abs(family.hz - multiple * other.hz)
        turns = round(beside / shaft.hz)
        if 1 <= turns <= 3 and abs(beside - turns * shaft.hz) <= step:
            return True
    return False


def _slower_base(family: ToneFamily, other: ToneFamily) -> float:
    """The rate of which both are multiples, when their ratio is simple and not whole; else 0."""
    ratio = family.hz / other.hz
    simple = Fraction(ratio).limit_denominator(LARGEST_PART)
    plain = min(simple.numerator, simple.denominator) < 2
    if plain or simple.numerator > LARGEST_PART or abs(ratio / float(simple) - 1) > SIMPLE:
        return 0.0
    return family.hz / simple.numerator
