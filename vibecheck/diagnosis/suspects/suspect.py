"""Suspects: every part with a way to go wrong, and which readings it would explain.

A reading is known by what was listened to (a rate in a take, a bearing element ...). Two suspects
that would explain the very same readings are one suspect with two names.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.machine.parts import Gear, Machine


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One part and fault, or several parts that sound the same wherever they were recorded.

    Attributes
    ----------
    parts : tuple of str
    part_kind, fault : str
    rotor : str
        What turns once for every strike.
    claims : frozenset of Key
        Readings it would raise.
    raises : frozenset of Key
        Readings it may raise too, but need not.
    prior : float
        Prior odds.
    evidence : float
        Natural log odds from evidence that is no shared reading (bearing families ...).
    """

    parts: tuple[str, ...]
    part_kind: str
    fault: str
    rotor: str = ""
    claims: frozenset[Key] = frozenset()
    raises: frozenset[Key] = frozenset()
    prior: float = 2e-3
    evidence: float = 0.0
    detail: Mapping[str, object] = field(default_factory=dict)


def gear_suspects(machine: Machine, takes: Sequence[Heard], prior: float) -> list[Suspect]:
    """One suspect per gear (or group of gears that work in the same takes at the same rate)."""
    found: dict[frozenset[Key], list[tuple[str, str, frozenset[Key]]]] = {}
    for gear in machine.gears:
        claims, raises, rotor = _knock_claims(gear, takes)
        if claims:
            found.setdefault(claims, []).append((gear.name, rotor, raises))
    return [
        Suspect(
            parts=tuple(name for name, _, _ in members),
            part_kind="gear",
            fault="broken or damaged tooth",
            rotor=members[0][1],
            claims=claims,
            raises=frozenset[Key]().union(*(raises for _, _, raises in members)),
            prior=prior * len(members),
        )
        for claims, members in found.items()
    ]


def _knock_claims(gear: Gear, takes: Sequence[Heard]) -> tuple[frozenset[Key], frozenset[Key], str]:
    """Readings of the takes where a gear works, of those where it idles along, and its rotor."""
    claims: set[Key] = set()
    raises: set[Key] = set()
    where = gear.shaft
    for number, take in enumerate(takes):
        for mesh in take.turning.meshes:
            if gear.name not in (mesh.mesh.driver, mesh.mesh.driven):
                continue
            rotor = mesh.driver if gear.name == mesh.mesh.driver else mesh.driven
            turn = take.turning.rotors[rotor]
            if turn.group != take.group:
                continue
            (claims if mesh.loaded else raises).add(rate_key("knock", number, turn.ratio))
            where = rotor if mesh.loaded else where
    return frozenset(claims), frozenset(raises - claims), where


def shaft_suspects(takes: Sequence[Heard], prior: float) -> list[Suspect]:
    """Something that knocks once a turn of a rotor wherever the rotor turns: key, pin, chuck."""
    found: dict[frozenset[Key], list[str]] = {}
    shafts = dict.fromkeys(name for take in takes for name in take.turning.machine.shafts)
    for name in shafts:
        claims = frozenset(
            rate_key("knock", number, take.turning.rotors[name].ratio)
            for number, take in enumerate(takes)
            if name in take.turning.rotors and take.turning.rotors[name].group == take.group
        )
        if claims:
            found.setdefault(claims, []).append(name)
    return [
        Suspect(
            parts=tuple(names),
            part_kind="shaft",
            fault="loose on its shaft or in its seat",
            rotor=names[0],
            claims=claims,
            prior=prior * len(names),
        )
        for claims, names in found.items()
    ]
