"""From judged suspects to findings: who is named, who else sounds the same, who fell and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from vibecheck.diagnosis.joint import Judged

ALIKE = 0.5
"""Suspects that share at least this part of their readings may stand for one another."""
WORTH_SAYING = 0.30
LIKELY = 0.85


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
    """Whether two suspects would explain much the same readings, so that one excludes the other."""
    a, b = one.suspect, other.suspect
    if a.claims and b.claims:
        shared = len(a.claims & b.claims) / min(len(a.claims), len(b.claims))
        return shared >= ALIKE
    return a.fault == b.fault and bool(set(a.parts) & set(b.parts))
