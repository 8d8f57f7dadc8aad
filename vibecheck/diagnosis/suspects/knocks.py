"""What knocks once a turn: a gear's tooth, or something loose on a shaft, as suspects."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.keys import Key, rate_key
from vibecheck.diagnosis.readings.knock_readings import KnockReadings
from vibecheck.diagnosis.readings.knocks import Knock
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.machine.parts import Gear, Machine

UNSTEADY_TOOTH, UNSTEADY_LOOSE = 0.06, 0.6
"""How often a tooth's plain blow passes for unsteady, and that of half of the loose parts, as seen
on four makers' invented machines."""
TOO_UNSTEADY = 2.0
"""Natural log odds against a tooth from which no sound one will do either."""
AGAINST_TOOTH, FOR_LOOSE, MOST_TAKES = 8.0, 1.0, 3
"""Most that unsteady blows say against a tooth; and each for something loose, up to so many: one
was seen in one sound machine in eighty, two in none."""


def gear_suspects(
    machine: Machine, takes: Sequence[Heard], knocks: KnockReadings, prior: float
) -> list[Suspect]:
    """One suspect per gear (or group of gears that work in the same takes at the same rate)."""
    found = _by_claims(machine, takes)
    return [
        Suspect(
            parts=tuple(name for name, _, _ in members),
            part_kind="gear",
            fault="broken or damaged tooth",
            rotor=members[0][1],
            claims=claims,
            raises=frozenset[Key]().union(*(raises for _, _, raises in members)),
            prior=prior * len(members),
            evidence=min(0.0, max(-AGAINST_TOOTH, -_unsteady(knocks.own(claims)))),
        )
        for claims, members in found.items()
    ]


def steady_readings(
    machine: Machine, takes: Sequence[Heard], knocks: KnockReadings
) -> list[frozenset[Key]]:
    """The readings that a gear makes wherever it works, for every gear but those whose blows are
    too unsteady to be a tooth's, however proud it stands."""
    every = _by_claims(machine, takes)
    return [claims for claims in every if _unsteady(knocks.own(claims)) < TOO_UNSTEADY]


def _by_claims(
    machine: Machine, takes: Sequence[Heard]
) -> dict[frozenset[Key], list[tuple[str, str, frozenset[Key]]]]:
    """Readings where a gear works -> gears, each with its rotor and where it idles along."""
    found: dict[frozenset[Key], list[tuple[str, str, frozenset[Key]]]] = {}
    for gear in machine.gears:
        claims, raises, rotor = _knock_claims(gear, takes)
        if claims:
            found.setdefault(claims, []).append((gear.name, rotor, raises))
    return found


def _unsteady(knocks: Sequence[Knock]) -> float:
    """Log odds that a part is loose against a tooth, by its turns held against each other.

    Half of the loose parts strike as steadily as a tooth does.
    """
    plain = [knock for knock in knocks if knock.plain]
    count = sum(knock.unsteady for knock in plain)
    as_loose = count * np.log(UNSTEADY_LOOSE / UNSTEADY_TOOTH)
    as_loose += (len(plain) - count) * np.log((1.0 - UNSTEADY_LOOSE) / (1.0 - UNSTEADY_TOOTH))
    return float(np.logaddexp(0.0, as_loose) - np.log(2.0))


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


def _loosely(knocks: Sequence[Knock]) -> float:
    """What unsteady blows say for something loose."""
    count = sum(knock.plain and knock.unsteady for knock in knocks)
    return max(0.0, min(FOR_LOOSE * min(count, MOST_TAKES), _unsteady(knocks)))


def shaft_suspects(takes: Sequence[Heard], knocks: KnockReadings, prior: float) -> list[Suspect]:
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
            evidence=_loosely(knocks.own(claims)),
        )
        for claims, names in found.items()
    ]
