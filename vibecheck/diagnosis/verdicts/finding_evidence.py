"""Why a suspect is believed: the facts that its evidence is told by, one function a fault."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from vibecheck.diagnosis.findings import Fact, fact
from vibecheck.diagnosis.readings.belt_throbs import BeltThrob
from vibecheck.diagnosis.readings.belts import BeltScore
from vibecheck.diagnosis.readings.pump_readings import PumpTones
from vibecheck.diagnosis.readings.rolling import RollingScore
from vibecheck.diagnosis.readings.swells import Swell
from vibecheck.diagnosis.readings.turn_readings import RotorTones
from vibecheck.diagnosis.suspects.belts import BLOWS
from vibecheck.diagnosis.suspects.suspect import Suspect
from vibecheck.diagnosis.suspects.swells import LOUDER_DB
from vibecheck.diagnosis.suspects.turns import THROWN
from vibecheck.diagnosis.verdicts.evidence_table import state
from vibecheck.diagnosis.verdicts.finding_case import (
    HEARD,
    SURPRISING,
    Case,
    labels,
    loud_takes,
    rates_hz_of,
    working_takes,
)

ELEMENT_WORDS = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "ball or roller",
    "cage": "cage",
}

SLOW = 0.6
"""So much slower than at its fastest, a part strikes with a third of the power or less."""
ON_ANOTHER_STEP = 1.05
"""Rates of a belt that differ more than this are of different steps of its pulleys."""


def evidence_of(case: Case, suspect: Suspect) -> list[Fact]:
    """Why the suspect is believed, from the takes where it works and those where it is heard."""
    working, loud = working_takes(case, suspect), loud_takes(case, suspect)
    tell: dict[str, Callable[[], list[Fact]]] = {
        "broken or damaged tooth": lambda: _knock_facts(case, suspect, working, loud),
        "eccentric or worn gear": lambda: _swell_facts(case, suspect),
        "imbalance": lambda: _imbalance_facts(suspect),
        "bent or misaligned": lambda: _bent_facts(case, suspect, loud),
        "lumpy or set belt": lambda: _belt_facts(case, suspect, working, loud),
        "pump pulsation": lambda: _pump_facts(case, suspect),
        "loose on its shaft or in its seat": lambda: _loose_facts(case, suspect, working, loud),
    }
    return tell.get(suspect.fault, lambda: _rolling_facts(case, suspect))()


def _per_spindle_turn(case: Case, suspect: Suspect, numbers: Sequence[int]) -> dict[str, float]:
    found = {}
    for number in numbers:
        take = case.heard.takes[number]
        mine, turn = take.rotor_hz(suspect.rotor), take.rotor_hz(case.heard.machine.spindle)
        if mine is not None and turn:
            found[take.label] = mine / turn
    return found


def _knock_facts(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    part = suspect.parts[0]
    facts = [
        fact(
            "knock_once_per_turn",
            part=part,
            rotor=suspect.rotor,
            heard=len(labels(case, loud)),
            expected=len(labels(case, working)),
            per_spindle_turn=_per_spindle_turn(case, suspect, loud or working),
        )
    ]
    heights = {
        case.heard.takes[key[1]].label: case.heard.knocks.knocks[key]
        for key in suspect.claims
        if key in case.heard.knocks.knocks
    }
    if heights:
        strongest = max(heights, key=lambda label: heights[label].height)
        decibels = 10 * heights[strongest].height / float(np.log(10.0))
        facts.append(fact("stands_out", part=part, db=decibels, position=strongest))
    out = [take for take in case.heard.takes if state(suspect, take) == "out of mesh"]
    if out and suspect.part_kind == "gear" and loud:
        silent = [
            t for n, t in enumerate(case.heard.takes) if t in out and not _row(case, suspect, n)
        ]
        if len(silent) == len(out):
            facts.append(
                fact("silent_when_out_of_mesh", part=part, count=len({take.label for take in out}))
            )
    return facts + _slow_facts(case, suspect, working, loud)


def _slow_facts(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    """That silence clears nothing where the part turns slower than wherever it is heard."""
    speeds = {k: hz for k in working if (hz := case.heard.takes[k].rotor_hz(suspect.rotor))}
    heard = [speeds[k] for k in loud if k in speeds]
    if not heard:
        return []
    slow = [k for k, hz in speeds.items() if hz < min(heard) and hz <= SLOW * max(heard)]
    where = sorted(labels(case, slow) - labels(case, loud))
    return [fact("slow_blows_faint", rotor=suspect.rotor, positions=where)] if where else []


def _row(case: Case, suspect: Suspect, number: int) -> bool:
    """Whether the suspect's rotor knocks in a take, claimed or not."""
    from vibecheck.diagnosis.readings.keys import rate_key

    take = case.heard.takes[number]
    rotor = take.turning.rotors.get(suspect.rotor)
    if rotor is None:
        return False
    return case.readings.values.get(rate_key("knock", number, rotor.ratio), 0.0) > HEARD


def _swell_facts(case: Case, suspect: Suspect) -> list[Fact]:
    swell = suspect.detail.get("swell")
    if not isinstance(swell, Swell):
        return []
    mesh = next(
        mesh.name
        for take in case.heard.takes
        for mesh in take.turning.meshes
        if swell.gear in (mesh.mesh.driver, mesh.mesh.driven)
    )
    over = 20 * swell.excess.over / float(np.log(10.0))
    facts = [fact("sidebands_at", mesh=mesh, rotor=swell.rotor, db=over)]
    louder = suspect.detail.get("shakes_db")
    if isinstance(louder, float) and louder > LOUDER_DB:
        facts.append(fact("shaft_shakes_with", part=swell.gear, rotor=swell.rotor, db=louder))
    return facts


def _imbalance_facts(suspect: Suspect) -> list[Fact]:
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return []
    known = {"growth": tones.growth, "db": tones.above_db}
    told = {name: value for name, value in known.items() if np.isfinite(value)}
    facts = [fact("one_turn_tone", rotor=tones.rotor, **told)]
    if "growth" not in told:
        facts.append(fact("one_speed", rotor=tones.rotor))
    elif not tones.others:
        facts.append(fact("none_beside"))
    return facts


def _bent_facts(case: Case, suspect: Suspect, loud: Sequence[int]) -> list[Fact]:
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return []
    turns = [hz for k in loud if (hz := case.heard.takes[k].rotor_hz(tones.rotor))]
    where = {"low_hz": 2.0 * min(turns), "high_hz": 2.0 * max(turns)} if turns else {}
    turned = fact("two_turn_tone", rotor=tones.rotor, db=tones.twice_db, **where)
    return [turned, *_thrown_facts(suspect)]


def _thrown_facts(suspect: Suspect) -> list[Fact]:
    """That a shaft throws all its gears, where that counted."""
    thrown = suspect.detail.get("thrown")
    if not isinstance(thrown, float) or not thrown > THROWN:
        return []
    return [fact("gears_thrown", rotor=suspect.rotor, db=20 * thrown / float(np.log(10.0)))]


def _belt_facts(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    sound = [fact("belt_may_be_sound")] if suspect.detail.get("may_be_sound") else []
    if isinstance(suspect.detail.get("throb"), BeltThrob):
        found = list(rates_hz_of(case, suspect, loud or working).values())
        return [
            fact(
                "belt_throb",
                low_hz=min(found),
                high_hz=max(found),
                belt=suspect.parts[0],
                heard=len(labels(case, loud)),
                expected=len(labels(case, working)),
            ),
            *sound,
        ]
    score = suspect.detail.get("score")
    if not isinstance(score, BeltScore):
        return []
    low, high = float(np.nanmin(score.hz)), float(np.nanmax(score.hz))
    several = high > ON_ANOTHER_STEP * low
    short = [fact("belt_lump_short", belt=score.belt)] if score.higher >= BLOWS else []
    return [
        fact(
            "belt_rate",
            low_hz=low if several else float(np.nanmedian(score.hz)),
            high_hz=high if several else None,
            belt=score.belt,
        ),
        *short,
        *sound,
        fact(
            "engine_note", text=f"lines {score.resolution_hz:.2f} Hz apart can be told apart here"
        ),
    ]


def _pump_facts(case: Case, suspect: Suspect) -> list[Fact]:
    pump = suspect.detail.get("pump")
    rates = [hz for take in case.heard.takes if (hz := take.rotor_hz(suspect.rotor)) is not None]
    if not isinstance(pump, PumpTones) or not rates:
        return []
    hz = pump.vanes * float(np.median(rates))
    return [fact("pump_rate", hz=hz, vanes=pump.vanes, rotor=pump.rotor, part=pump.pump)]


def _loose_facts(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    if any(key[0] == "knock" for key in suspect.claims):
        return [*_knock_facts(case, suspect, working, loud), *_unsteady_facts(case, suspect)]
    return [
        fact(
            "half_turns",
            rotor=suspect.rotor,
            heard=len(labels(case, loud)),
            expected=len(labels(case, working)),
        ),
        *_thrown_facts(suspect),
        *_slow_facts(case, suspect, working, loud),
    ]


def _unsteady_facts(case: Case, suspect: Suspect) -> list[Fact]:
    """That blows come as they like, where single turns could be compared."""
    knocks = case.heard.knocks
    plain = [key for key in suspect.claims if any(each.plain for each in knocks.own([key]))]
    unsteady = labels(case, [key[1] for key in plain if knocks.knocks[key].unsteady])
    if not unsteady:
        return []
    count, of = len(unsteady), len(labels(case, [key[1] for key in plain]))
    return [fact("blows_unsteady", count=count, of=of)]


def _rolling_facts(case: Case, suspect: Suspect) -> list[Fact]:
    score = suspect.detail.get("score")
    if not isinstance(score, RollingScore):
        return []
    heard, of = int(np.nansum(score.surprise > SURPRISING)), int(np.isfinite(score.surprise).sum())
    element = ELEMENT_WORDS[score.family.name]
    if score.reach:
        rates = rates_hz_of(case, suspect, loud_takes(case, suspect))
        return [
            fact(
                "bearing_expected",
                heard=heard,
                of=of,
                low_hz=min(rates.values()),
                high_hz=max(rates.values()),
                element=element,
                bearing=score.bearing,
                rotor=score.shaft,
                reach=100 * score.reach,
            ),
            *_shallow(suspect),
        ]
    facts = [
        fact(
            "bearing_heard",
            heard=heard,
            of=of,
            order=score.order,
            element=element,
            bearing=score.bearing,
            order_error=100 * score.slip,
        )
    ]
    fastest = max(
        (t for t in case.heard.takes if t.rotor_hz(score.shaft)),
        key=lambda t: t.rotor_hz(score.shaft) or 0.0,
        default=None,
    )
    apart = abs(score.order - round(score.order))
    if fastest is not None and round(score.order) >= 1 and apart > 0.005:
        facts.append(
            fact(
                "order_not_whole",
                order=score.order,
                rotor=score.shaft,
                apart_hz=apart * (fastest.rotor_hz(score.shaft) or 0.0),
                position=fastest.label,
            )
        )
    return [*facts, *_shallow(suspect)]


def _shallow(suspect: Suspect) -> list[Fact]:
    """That a sound bearing may be heard so."""
    depth = suspect.detail.get("shallow")
    return [fact("bearing_shallow", depth=100 * depth)] if isinstance(depth, float) else []
