"""Single tones of an unknown machine: on a family, on none, and those that no speed moves."""

from __future__ import annotations

from collections.abc import Sequence
from math import log10

from vibecheck.diagnosis.findings import Fact, Finding, fact
from vibecheck.diagnosis.untabled.told import Told
from vibecheck.diagnosis.untabled.tone_families import MOST_TONES, TONES_UP_TO
from vibecheck.spectra.peaks import Peak

NO_FAULT = "heard, and by itself no fault"
UNSAID = 0.2
"""Probability written beside "cannot tell"."""
MOST_SAID = 4
STAYS, MOVES = 0.004, 0.02
"""Relative change of a rate from take to take within which it stays; beyond which it moves."""
FEWEST_TAKES = 3
SAME_SHARE = 0.75
FEWEST_TEETH = 12


def teeth_tones(one: Told) -> list[Fact]:
    """The loudest high whole multiple of the shaft, as teeth make it."""
    if one.shaft is None:
        return []
    on_shaft = [(tone, one.shaft.multiple(tone.place, step=one.step)) for tone in one.tones]
    high = [(tone, times) for tone, times in on_shaft if FEWEST_TEETH <= times <= 2 * TONES_UP_TO]
    if not high:
        return []
    tone, times = max(high, key=lambda pair: pair[0].significance)
    return [
        fact(
            "tone_on_family",
            hz=tone.place,
            db=10 * log10(tone.significance),
            times=times,
            base_hz=one.shaft.hz,
        )
    ]


def lone_tones(told: Sequence[Told]) -> Finding | None:
    """The loudest tones that are in no family."""
    rows = [(one, tone) for one in told for tone in _unplaced(one)[:MOST_TONES]]
    if not rows:
        return None
    loudest = sorted(rows, key=lambda row: -row[1].significance)[:MOST_SAID]
    return Finding(
        part="single tones",
        part_kind="unknown",
        fault=NO_FAULT,
        verdict="cannot tell",
        probability=UNSAID / 2,
        evidence=tuple(
            fact("tone_found", hz=tone.place, db=10 * log10(tone.significance))
            for _, tone in loudest
        ),
        next_test=fact("gear_table"),
        heard=tuple(dict.fromkeys(one.label for one, _ in rows)),
        expected=tuple(one.label for one in told),
        rates_hz={one.label: tone.place for one, tone in reversed(loudest)},
    )


def fixed_tone(told: Sequence[Told]) -> Finding | None:
    """The loudest tone that stays where it is while the shaft of the takes changes its speed."""
    shafts = [one.shaft.hz for one in told if one.shaft is not None]
    if len(told) < FEWEST_TAKES or not shafts or max(shafts) / min(shafts) - 1 < MOVES:
        return None
    best: tuple[float, float, list[Told]] | None = None
    for tone in (tone for one in told for tone in one.tones):
        near = [(one, _nearest(one, tone.place)) for one in told]
        rows = [(one, other) for one, other in near if other is not None]
        strength = min((other.significance for _, other in rows), default=0.0)
        if len(rows) >= SAME_SHARE * len(told) and (best is None or strength > best[1]):
            best = (tone.place, strength, [one for one, _ in rows])
    if best is None:
        return None
    place, _, rows_heard = best
    return Finding(
        part="something no speed moves",
        part_kind="structure",
        fault="fixed tone of structure or room",
        verdict="cannot tell",
        probability=UNSAID,
        evidence=(fact("fixed_hz", hz=place, count=len(rows_heard)),),
        next_test=fact("record_background", seconds=20.0),
        heard=tuple(one.label for one in rows_heard),
        expected=tuple(one.label for one in told),
        rates_hz={one.label: place for one in rows_heard},
    )


def _unplaced(one: Told) -> list[Peak]:
    """Loud tones that are in no family, the loudest first."""
    own = [each.family for each in one.families]
    free = [
        tone
        for tone in one.tones
        if not any(0 < f.multiple(tone.place, step=one.step) <= TONES_UP_TO for f in own)
    ]
    return sorted(free, key=lambda tone: -tone.significance)


def _nearest(one: Told, place: float) -> Peak | None:
    near = [tone for tone in one.tones if abs(tone.place / place - 1) < STAYS]
    return max(near, key=lambda tone: tone.significance, default=None)
