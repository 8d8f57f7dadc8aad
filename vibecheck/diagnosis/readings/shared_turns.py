"""Shafts that turn as one at some lever positions and apart at others: whose is the tone there?

A spindle clutched to its cone, or to the last shaft of its head, has the very same lines. What the
other one says where it turns by itself tells how much of a shared tone can be its own.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum, TurnLines, own_tone, tone_limit_db
from vibecheck.diagnosis.readings.turn_pushes import CLEAR, Owner, Push, all_pushes

AS_ONE = 1e-6
"""Two rotors this near in speed are coupled."""
ACQUITS_DB = 9.0
"""How far a shared tone must stand over what a sharer makes by itself, the square of speed taken
out, to be none of its doing: tones of one shaft scatter by half as much (judgement)."""

ABOUT = (1 / 3, 3.0)
"""What a rotor makes at a speed so near tells of it, as it does by the square of speed."""


def with_shared(
    takes: Sequence[Heard],
    spectra: Sequence[LineSpectrum],
    rows: Sequence[Mapping[str, TurnLines]],
    coupled: Mapping[str, Collection[str]],
) -> list[dict[str, TurnLines]]:
    """Tones of every rotor, with those that it shares at some positions only.

    A shared tone counts for the rotor whose sharers are all too quiet where they turn apart;
    for any other it only says how loud that rotor is at most there.

    Parameters
    ----------
    takes, spectra : sequence
        One each a take.
    rows : sequence of mapping
        Rotor to its tones, shared ones left out.
    coupled : mapping of str to collection of str
        Rotors that turn just alike in every take, by the name of each.
    """
    found, pushes = [dict(row) for row in rows], all_pushes(rows)
    for take, spectrum, row in zip(takes, spectra, found, strict=True):
        known = take.turning_ratios()
        for sharers in _sharing(known, [name for name in row if name in known], coupled):
            for multiple in (1, 2):
                _tell(take, spectrum, row, sharers, multiple, pushes)
    return found


def _sharing(
    known: Mapping[str, float], names: Sequence[str], coupled: Mapping[str, Collection[str]]
) -> list[list[str]]:
    """Groups of rotors that turn as one here, and not everywhere."""
    groups: list[list[str]] = []
    for name in names:
        group = next((g for g in groups if abs(known[name] / known[g[0]] - 1.0) < AS_ONE), None)
        if group is None:
            groups.append([name])
        else:
            group.append(name)
    return [g for g in groups if any(b not in coupled[a] for a, b in combinations(g, 2))]


def _at_most_db(pushes: Sequence[Push], owner: Owner, hz: float) -> float:
    """Loudest that a rotor is by itself where it turns about as fast, the square of speed taken
    out; nan where nothing tells."""
    near = [
        push
        for push in pushes
        if push.owner == owner and ABOUT[0] < push.hz / (push.multiple * hz) < ABOUT[1]
    ]
    heard = [push.db for push in near if not push.silent]
    return max(heard) if heard else min((push.db for push in near), default=float("nan"))


def _tell(
    take: Heard,
    spectrum: LineSpectrum,
    row: dict[str, TurnLines],
    sharers: Sequence[str],
    multiple: int,
    pushes: Sequence[Push],
) -> None:
    """Give a shared tone to whom it belongs, and its level as a bound to the others."""
    power, over = own_tone(take, spectrum, sharers[0], multiple, sharers)
    if over <= 0.0:
        return
    level = float(10.0 * np.log10(power + 1e-30))
    bound = tone_limit_db(spectrum, multiple * take.turning_ratios()[sharers[0]])
    hz = row[sharers[0]].hz
    push = level - 40.0 * float(np.log10(hz))
    most = {name: _at_most_db(pushes, (name, multiple), hz) for name in sharers}
    quiet = {name for name in sharers if push - most[name] > ACQUITS_DB}
    left = [name for name in sharers if name not in quiet]
    owner = left[0] if over > CLEAR and len(left) == 1 else None
    for name in sharers:
        limit_db = max(level, bound) if over > CLEAR else bound
        row[name] = _replaced(row[name], multiple, level, over if name == owner else 1.0, limit_db)


def _replaced(
    line: TurnLines, multiple: int, level: float, over: float, limit_db: float
) -> TurnLines:
    if multiple == 1:
        return replace(line, once_db=level, over_floor=over, limit_db=limit_db)
    return replace(line, twice_db=level, twice_over_floor=over, twice_limit_db=limit_db)
