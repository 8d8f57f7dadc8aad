"""Signatures that two sweeps cannot part are said together, with the probability of them all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vibecheck.diagnosis.since.levels import Trace
from vibecheck.diagnosis.since.signatures import NOT_KNOWN, Signature
from vibecheck.diagnosis.suspects.unknown_rolling import NEVER_SURER
from vibecheck.diagnosis.verdicts.grouping import (
    LIKELY,
    MEANT,
    OPEN,
    WORTH_SAYING,
    open_name,
)

MEMBER, SUREST, HELD, FEWEST, FEWEST_OF = 0.04, 0.97, 0.84, 2, 3
"""A signature belongs to a group from here on; no more than this is said, and of what is possible
at most: two recordings show what has changed, not why (three makers' invented machines); and from
how many positions on, of how many that both sweeps have, it may be more than possible."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One signature of a group, with its probability and every trace it may have touched.

    ``places`` is at how many positions both sweeps tell of it, ``of`` how many both have.
    """

    signature: Signature
    probability: float
    touches: frozenset[Trace]
    places: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Signatures that these sweeps cannot part, likeliest first."""

    members: tuple[Member, ...]

    @property
    def lead(self) -> Member:
        """The likeliest."""
        return self.members[0]

    @property
    def probability(self) -> float:
        """That one of them is at fault; of a bearing of unknown numbers never quite sure, and
        possible at most of what sings under cut, since no two cuts are quite alike, of what one
        position tells or a baseline of fewer than three, since a sensor is never put back quite as
        it was, and of a loose part that only heaves, hardly told from one out of balance."""
        lead = self.lead.signature
        held = lead.part_kind == "tool" or self.lead.places < FEWEST or self.lead.of < FEWEST_OF
        held = held or (lead.only_heaves and self.fault == lead.fault)
        most = HELD if held else SUREST
        most = NEVER_SURER if lead.fault == NOT_KNOWN else most
        return min(most, sum(member.probability for member in self.members))

    @property
    def parts(self) -> tuple[str, ...]:
        """Every part named."""
        return tuple(dict.fromkeys(p for m in self.members for p in m.signature.parts))

    @property
    def fault(self) -> str:
        """What is wrong; where that is open, the name for all it may be."""
        if self.lead.probability < LIKELY:
            name = open_name(
                (m.signature.fault for m in self.members if m.probability >= OPEN), MEANT
            )
            if name is not None:
                return name
        return self.lead.signature.fault


def grouped(members: Sequence[Member], alike: Mapping[Trace, Trace]) -> list[Group]:
    """Groups worth saying, likeliest first; ``alike`` maps traces to others read at one place."""
    left = sorted(members, key=lambda member: -member.probability)
    found = []
    while left and left[0].probability >= MEMBER:
        lead = left[0]
        mine = [
            member
            for member in left
            if member is lead
            or (
                member.probability >= MEMBER
                and (_alike(lead.signature, member.signature, alike) or _mixed_up(lead, member))
            )
        ]
        left = [member for member in left if member not in mine]
        found.append(Group(members=tuple(mine)))
    return sorted(
        (group for group in found if group.probability >= WORTH_SAYING),
        key=lambda group: -group.probability,
    )


def _mixed_up(one: Member, other: Member) -> bool:
    """Whether each of two parts with the same fault lies on the other's lines; or each of two
    bearings of one shaft, whatever is wrong with it."""
    alike = one.signature.fault == other.signature.fault
    kinds = {one.signature.part_kind, other.signature.part_kind}
    if not alike and (kinds != {"bearing"} or one.signature.rotor != other.signature.rotor):
        return False
    return all(
        trace in theirs.touches
        for mine, theirs in ((one, other), (other, one))
        for trace, size in mine.signature.raises.items()
        if size.sure
    )


def _alike(one: Signature, other: Signature, alike: Mapping[Trace, Trace]) -> bool:
    """Whether two rest on the same lines, or are two names for what is wrong with one part."""
    named = one.fault == other.fault or open_name((one.fault, other.fault), MEANT) is not None
    if named and set(one.parts) & set(other.parts):
        return True
    mine, theirs = (
        {alike.get(trace, trace) for trace, size in each.raises.items() if size.sure}
        for each in (one, other)
    )
    vague = NOT_KNOWN in (one.fault, other.fault)
    return (
        one.part_kind == other.part_kind and mine == theirs and (vague or one.fault == other.fault)
    )
