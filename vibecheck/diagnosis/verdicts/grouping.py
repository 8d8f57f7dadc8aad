"""From judged suspects to findings: who is named, who else sounds the same, who fell and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from vibecheck.diagnosis.suspects.joint import Judged
from vibecheck.diagnosis.suspects.suspect import Suspect

ALIKE = 0.5
"""Suspects that share at least this part of their readings may stand for one another."""
WORTH_SAYING = 0.30
LIKELY, OPEN = 0.85, 0.1
"""Below ``LIKELY``, what is wrong with a part is open when another fault of it is at least so
probable."""
OPEN_NAMES: Mapping[str, tuple[str, ...]] = {
    "gear worn or damaged": ("broken or damaged tooth", "eccentric or worn gear"),
    "bearing worn, race not known": ("outer race", "inner race", "rolling element", "cage"),
}
"""What a part is said to have when it is open which of these it is."""
MEANT: Mapping[str, tuple[str, ...]] = {
    **OPEN_NAMES,
    "shaft out of balance, bent or loose": (
        "imbalance",
        "bent or misaligned",
        "loose on its shaft or in its seat",
    ),
    "gear worn, damaged or loose": (
        "broken or damaged tooth",
        "eccentric or worn gear",
        "loose on its shaft or in its seat",
    ),
}
"""Only what has risen since a baseline leaves the last two open: there each of them is likely to be
it, while a single sweep weighs them as rivals."""


def faults_meant(fault: str) -> tuple[str, ...]:
    """The faults that a fault as named may stand for.

    >>> faults_meant("gear worn or damaged")
    ('broken or damaged tooth', 'eccentric or worn gear')
    """
    return MEANT.get(fault, (fault,))


def open_name(
    faults: Iterable[str], names: Mapping[str, tuple[str, ...]] = OPEN_NAMES
) -> str | None:
    """The name for several faults of one part together, when they have one."""
    several = set(faults)
    for name, meant in names.items():
        if len(several) > 1 and several <= {name, *meant}:
            return name
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A suspect worth naming, with those that these takes cannot part from it.

    ``probability`` is that of the whole group: one of ``members`` is at fault.
    """

    members: tuple[Judged, ...]
    probability: float

    @property
    def lead(self) -> Judged:
        """The likeliest of them."""
        return self.members[0]

    @property
    def fault(self) -> str:
        """What is wrong with it; where that is as open as it is which, both."""
        if self.lead.probability < LIKELY:
            name = open_name(m.suspect.fault for m in self.members if m.probability >= OPEN)
            if name is not None:
                return name
        return self.lead.suspect.fault

    @property
    def rival(self) -> Suspect:
        """The likeliest of another fault than the lead's; else the lead."""
        others = (m.suspect for m in self.members if m.suspect.fault != self.lead.suspect.fault)
        return next(others, self.lead.suspect)

    @property
    def parts(self) -> tuple[str, ...]:
        """Every part in the group, likeliest first."""
        return tuple(dict.fromkeys(p for m in self.members for p in m.suspect.parts))


def named(judged: Sequence[Judged]) -> list[Named]:
    """Suspects with a probability worth saying, alike ones gathered, likeliest first."""
    ranked = sorted(judged, key=lambda j: -j.probability)
    taken: set[int] = set()
    found: list[Named] = []
    for index, lead in enumerate(ranked):
        if index in taken or lead.probability < 0.5 * WORTH_SAYING:
            continue
        members, total = [lead], lead.probability
        for other_index in range(index + 1, len(ranked)):
            other = ranked[other_index]
            if total >= 0.97 or other.probability < 0.04:
                break
            if other_index not in taken and _alike(lead, other):
                members.append(other)
                taken.add(other_index)
                total += other.probability
        taken.add(index)
        total = min(total, 0.995) if len(members) > 1 else total
        if total >= WORTH_SAYING:
            found.append(Named(members=tuple(members), probability=total))
    return sorted(found, key=lambda n: -n.probability)


def _alike(one: Judged, other: Judged) -> bool:
    """Whether two suspects would explain much the same readings, so that one excludes the other.

    A gear's tooth may knock and its tone swell for one and the same reason, and the lines of one
    race be taken for another's.
    """
    a, b = one.suspect, other.suspect
    if open_name((a.fault, b.fault)) is not None:
        return bool(set(a.parts) & set(b.parts))
    if a.claims and b.claims:
        shared = len(a.claims & b.claims) / min(len(a.claims), len(b.claims))
        return shared >= ALIKE
    return a.fault == b.fault and bool(set(a.parts) & set(b.parts))
