"""From two sweeps of one machine to what has changed, and which fault explains it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.readings.belts import belt_steps
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import coupled_rotors
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.since.groups import Group, Member, grouped
from vibecheck.diagnosis.since.hertz import followed
from vibecheck.diagnosis.since.levels import Trace, levels_of
from vibecheck.diagnosis.since.moves import sound_moves
from vibecheck.diagnosis.since.overlaps import explained, one_line, overlapped
from vibecheck.diagnosis.since.rises import Rise, rises
from vibecheck.diagnosis.since.signatures import signatures
from vibecheck.diagnosis.since.tones import tone_signatures
from vibecheck.diagnosis.since.weighed import Weighed, weighed

SLIPS = 0.03
"""How far the ratio of two rotors may vary with what belts slip (relative)."""


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
    both = {label for rise in found.values() for label, _ in rise.by_place}
    members = [
        Member(
            signature=each.signature,
            probability=each.probability,
            touches=frozenset(each.signature.raises) | beside,
            places=min(
                len({label for label, _ in found[trace].by_place})
                for trace, size in each.signature.raises.items()
                if size.sure
            ),
            of=len(both),
        )
        for each, beside in zip(judged, touched, strict=True)
    ]
    return Changes(
        found=found,
        moved=dict(zip(found, (float(each) for each in moved), strict=True)),
        weighed=tuple(judged),
        groups=tuple(grouped(members, alike)),
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
