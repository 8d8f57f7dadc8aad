"""The faults the tool knows, one line each: what goes wrong, and where it is told.

``carrier`` says which quantity the fault is heard in:

* "knock": one impact a turn of the part's rotor, while the part works;
* "modulation": mesh tones of the gear rise and fall once a turn of its rotor;
* "rolling": a bearing family (slips, not a whole multiple of the shaft);
* "turn": a tone at 1x of the rotor, growing with speed;
* "turns": many multiples of the rotor, or halves;
* "belt": multiples of the belt's own turning rate;
* "fixed": the same hertz at every lever position;
* "cutting": there only while cutting.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Carrier = Literal[
    "knock", "modulation", "rolling", "turn", "turns", "belt", "fixed", "cutting", "vane", "mesh"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultKind:
    """One way a part goes wrong: its name, the kind of part, and where it is heard."""

    name: str
    part_kind: str
    carrier: Carrier
    prior: float
    """Prior odds for one such part of a used machine that somebody complains of (judgement)."""


FAULTS: tuple[FaultKind, ...] = (
    FaultKind(name="broken or damaged tooth", part_kind="gear", carrier="knock", prior=5e-3),
    FaultKind(name="eccentric or worn gear", part_kind="gear", carrier="modulation", prior=6e-3),
    FaultKind(name="gear worn or damaged", part_kind="gear", carrier="modulation", prior=6e-3),
    FaultKind(name="gear worn, damaged or loose", part_kind="gear", carrier="knock", prior=6e-3),
    FaultKind(name="outer race", part_kind="bearing", carrier="rolling", prior=3e-3),
    FaultKind(name="inner race", part_kind="bearing", carrier="rolling", prior=3e-3),
    FaultKind(name="rolling element", part_kind="bearing", carrier="rolling", prior=2e-3),
    FaultKind(name="cage", part_kind="bearing", carrier="rolling", prior=1.5e-3),
    FaultKind(
        name="bearing worn, race not known", part_kind="bearing", carrier="rolling", prior=3e-3
    ),
    FaultKind(name="imbalance", part_kind="shaft", carrier="turn", prior=1.2e-2),
    FaultKind(name="bent or misaligned", part_kind="shaft", carrier="turns", prior=6e-3),
    FaultKind(
        name="loose on its shaft or in its seat", part_kind="shaft", carrier="turns", prior=5e-3
    ),
    FaultKind(
        name="shaft out of balance, bent or loose", part_kind="shaft", carrier="turns", prior=1.2e-2
    ),
    FaultKind(name="lumpy or set belt", part_kind="belt", carrier="belt", prior=5e-3),
    FaultKind(name="mains hum", part_kind="mains", carrier="fixed", prior=5e-3),
    FaultKind(
        name="fixed tone of structure or room", part_kind="structure", carrier="fixed", prior=5e-3
    ),
    FaultKind(name="chatter", part_kind="tool", carrier="cutting", prior=5e-3),
    FaultKind(name="pump pulsation", part_kind="pump", carrier="vane", prior=2e-3),
    FaultKind(name="something not in the table", part_kind="unknown", carrier="turns", prior=1e-2),
    FaultKind(
        name="heard, and by itself no fault", part_kind="unknown", carrier="turns", prior=1e-2
    ),
)


def fault(name: str) -> FaultKind:
    """The fault of that name; KeyError when there is none."""
    for kind in FAULTS:
        if kind.name == name:
            return kind
    raise KeyError(name)
