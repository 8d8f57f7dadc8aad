"""From two sweeps of one machine to what has changed, and which fault explains it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.readings.belts import belt_steps
from vibecheck.diagnosis.readings.fixed_tones import FixedTone
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import coupled_rotors
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.hertz import new_tones
from vibecheck.diagnosis.since.levels import Trace, levels_of
from vibecheck.diagnosis.since.moves import sound_moves
from vibecheck.diagnosis.since.overlaps import explained, one_line, overlapped
from vibecheck.diagnosis.since.rises import Rise, rises
from vibecheck.diagnosis.since.signatures import Signature, signatures, tone_signatures
from vibecheck.diagnosis.since.weighed import Weighed, weighed
from vibecheck.diagnosis.suspects.unknown_rolling import NEVER_SURER
from vibecheck.diagnosis.verdicts.grouping import OPEN_NAMES

WORTH_SAYING, MEMBER, SUREST, CUT = 0.30, 0.04, 0.97, 0.84
"""A group is spoken of from here on; a signature belongs to it from here on; and no more than this
is said: two recordings show what has changed, not why (three makers' invented machines)."""
LIKELY, OPEN = 0.85, 0.1
SAME_TONE, SLIPS = 0.008, 0.03
NOT_KNOWN = "bearing worn, race not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One signature of a group, with its probability and every trace it may have touched."""

    signature: Signature
    probability: float
    touches: frozenset[Trace]


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
        """That one of them is at fault; of a bearing of unknown numbers never quite sure, and of
        what sings under cut less, since no two cuts are quite alike."""
        lead = self.lead.signature
        most = CUT if lead.part_kind == "tool" else SUREST
        most = NEVER_SURER if lead.fault == NOT_KNOWN else most
        return min(most, sum(member.probability for member in self.members))

    @property
    def parts(self) -> tuple[str, ...]:
        """Every part named."""
        return tuple(dict.fromkeys(p for m in self.members for p in m.signature.parts))

    @property
    def fault(self) -> str:
        """What is wrong; where that is open, the name for all it may be."""
        faults = {m.signature.fault for m in self.members if m.probability >= OPEN}
        if self.lead.probability < LIKELY and len(faults) > 1:
            for name, meant in OPEN_NAMES.items():
                if faults <= {name, *meant}:
                    return name
        return self.lead.signature.fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What has changed from one sweep to another of the same machine.

    ``found`` are the rises, ``moved`` the same in dB with what a kind of trace has in common taken
    out; ``weighed`` every fault considered; ``groups`` those worth saying; ``places`` the lever
    positions that both sweeps have.
    """

    found: Mapping[Trace, Rise]
    moved: Mapping[Trace, float]
    weighed: tuple[Weighed, ...]
    groups: tuple[Group, ...]
    places: tuple[str, ...]


def changes(now: Listened, sound: Listened) -> Changes:
    """What has changed since the machine was sound.

    Parameters
    ----------
    now, sound : Listened
        Two sweeps of one machine, heard by one sensor at one place.
    """
    tones = followed(now, sound)
    hertz = [float(name) for name in tones]
    found = rises(levels_of(now, hertz), levels_of(sound, hertz))
    known = explained(found, now.takes)
    coupled = coupled_rotors([*now.takes, *sound.takes])
    suspects = [
        *signatures(
            now.machine, found, coupled, belt_steps(now.machine.belts), in_step(now.takes), known
        ),
        *tone_signatures(now, tones, found),
    ]
    touched = overlapped(suspects, found, now.takes)
    judged = weighed(suspects, touched, found)
    moved, _ = sound_moves(found)
    alike = one_line(found, now.takes)
    alike |= {strange: alike.get(other, other) for strange, other in known.items()}
    members = [
        Member(
            signature=each.signature,
            probability=each.probability,
            touches=frozenset(each.signature.raises) | beside,
        )
        for each, beside in zip(judged, touched, strict=True)
    ]
    both = {label for rise in found.values() for label, _ in rise.by_place}
    return Changes(
        found=found,
        moved=dict(zip(found, (float(each) for each in moved), strict=True)),
        weighed=tuple(judged),
        groups=tuple(_grouped(members, alike)),
        places=tuple(label for label in dict.fromkeys(t.label for t in now.takes) if label in both),
    )


def in_step(takes: Sequence[Heard]) -> dict[str, frozenset[str]]:
    """Rotors that keep one ratio over all takes, but for what belts slip, by the name of each."""
    rows: dict[str, list[float]] = {}
    for take in takes:
        for name, ratio in take.expected_ratios().items():
            rows.setdefault(name, []).append(ratio)
    whole = {name: np.array(row) for name, row in rows.items() if len(row) == len(takes)}
    return {
        name: frozenset(
            other
            for other, theirs in whole.items()
            if np.ptp(theirs / mine) < SLIPS * float(np.mean(theirs / mine))
        )
        for name, mine in whole.items()
    }


def followed(now: Listened, sound: Listened) -> dict[str, FixedTone]:
    """Tones that no lever moves, by the name of their trace: those heard now, and new ones."""
    heard = [*now.fixed, *now.cut]
    for kind in ("idle", "cutting"):
        heard += [
            tone
            for tone in new_tones(now.takes, sound.takes, kind)
            if all(abs(tone.hz / other.hz - 1.0) > SAME_TONE for other in heard)
        ]
    return {f"{tone.hz:.2f}": tone for tone in heard}


def _grouped(members: Sequence[Member], alike: Mapping[Trace, Trace]) -> list[Group]:
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
    if one.fault == other.fault and set(one.parts) & set(other.parts):
        return True
    named = any({one.fault, other.fault} <= {n, *meant} for n, meant in OPEN_NAMES.items())
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
