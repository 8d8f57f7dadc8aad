"""A named group becomes a finding: its evidence, its fallen rivals, the next test."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.belts import BeltScore
from vibecheck.diagnosis.evidence_table import state
from vibecheck.diagnosis.findings import Fact, Finding, fact, verdict_for
from vibecheck.diagnosis.grouping import Named
from vibecheck.diagnosis.heard import Heard
from vibecheck.diagnosis.joint import Judged, Readings
from vibecheck.diagnosis.listened import Listened
from vibecheck.diagnosis.pump_readings import PumpTones
from vibecheck.diagnosis.rolling import RollingScore
from vibecheck.diagnosis.suspects import Suspect
from vibecheck.diagnosis.swells import Swell
from vibecheck.diagnosis.turn_readings import RotorTones
from vibecheck.machine.signature import indistinguishable

HEARD = 1.3
"""Size of a knock reading at which a position counts as "heard"."""
SURPRISING = 1.0
PUMP_HEARD_DB = -15.0
"""Level of a pump's pulses, against a usual working pair, at which they count as heard."""
ELEMENT_WORDS = {
    "outer": "outer race",
    "inner": "inner race",
    "roller": "ball or roller",
    "cage": "cage",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What findings are written from."""

    heard: Listened
    readings: Readings
    judged: Sequence[Judged]


def finding_of(case: Case, group: Named) -> Finding:
    """The finding for one named group."""
    suspect = group.lead.suspect
    working, loud = _working(case, suspect), _loud(case, suspect)
    evidence = [*_evidence(case, suspect, working, loud), *_alikes(case, group)]
    if group.fault != suspect.fault:
        evidence += _evidence(case, group.rival, working, _loud(case, group.rival))
    rates = _rates(case, suspect, working)
    spindle = case.heard.machine.spindle
    per_turn = {
        label: hz / turn
        for label, hz in rates.items()
        if (turn := _rotor_hz(case, label, spindle)) is not None and turn > 0
    }
    return Finding(
        part=suspect.parts[0],
        parts=group.parts,
        part_kind=suspect.part_kind,
        fault=group.fault,
        verdict=verdict_for(group.probability),
        probability=group.probability,
        evidence=tuple(evidence),
        ruled_out=tuple(_ruled_out(case, suspect, group, loud)),
        next_test=_next_test(case, group),
        heard=tuple(dict.fromkeys(case.heard.takes[k].label for k in loud)),
        expected=tuple(dict.fromkeys(case.heard.takes[k].label for k in working)),
        rates_hz=rates,
        per_spindle_turn=per_turn,
    )


def _working(case: Case, suspect: Suspect) -> list[int]:
    """Takes in which the suspect works, and that can tell."""
    return [
        k
        for k, take in enumerate(case.heard.takes)
        if state(suspect, take) == "working" and _can_tell(suspect, k)
    ]


def _loud(case: Case, suspect: Suspect) -> list[int]:
    """Those of them in which it is heard."""
    return [k for k in _working(case, suspect) if _is_heard(case, suspect, k)]


def _can_tell(suspect: Suspect, number: int) -> bool:
    """Whether a take's silence would be silence: not where another line lies there."""
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return True
    told = tones.telling(suspect.fault)
    return number in told.above_db or number in told.at_most_db


def _is_heard(case: Case, suspect: Suspect, number: int) -> bool:
    score = suspect.detail.get("score")
    if isinstance(score, RollingScore | BeltScore):
        return bool(score.surprise[number] > SURPRISING)
    swell = suspect.detail.get("swell")
    if isinstance(swell, Swell):
        return swell.shares.get(number, 0.0) > 0.5 * swell.share
    pump = suspect.detail.get("pump")
    if isinstance(pump, PumpTones):
        return pump.levels_db.get(number, -200.0) > PUMP_HEARD_DB
    keys = [key for key in suspect.claims if key[1] == number]
    if keys and keys[0] in case.readings.values:
        value = case.readings.values[keys[0]]
        law = case.readings.law(keys[0][0])
        return value > (
            HEARD if keys[0][0] == "knock" else float(np.sqrt(law.healthy * law.faulty))
        )
    tones = suspect.detail.get("tones")
    return isinstance(tones, RotorTones) and number in tones.telling(suspect.fault).above_db


def _rotor_hz(case: Case, label: str, rotor: str) -> float | None:
    for take in case.heard.takes:
        if take.label == label:
            return take.rotor_hz(rotor)
    return None


def _rates(case: Case, suspect: Suspect, working: Sequence[int]) -> dict[str, float]:
    score = suspect.detail.get("score")
    rates = {}
    for number in working:
        take = case.heard.takes[number]
        if isinstance(score, BeltScore):
            rate: float | None = float(score.hz[number])
        else:
            rate = take.rotor_hz(suspect.rotor)
            if rate is not None and isinstance(score, RollingScore):
                rate *= score.order
            pump = suspect.detail.get("pump")
            if rate is not None and isinstance(pump, PumpTones):
                rate *= pump.vanes
        if rate is not None and np.isfinite(rate):
            rates[take.label] = rate
    return rates


def _evidence(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    tell: dict[str, Callable[[], list[Fact]]] = {
        "broken or damaged tooth": lambda: _knock_facts(case, suspect, working, loud),
        "eccentric or worn gear": lambda: _swell_facts(case, suspect),
        "imbalance": lambda: _imbalance_facts(suspect),
        "bent or misaligned": lambda: _bent_facts(case, suspect, loud),
        "lumpy or set belt": lambda: _belt_facts(suspect),
        "pump pulsation": lambda: _pump_facts(case, suspect),
        "loose on its shaft or in its seat": lambda: _loose_facts(case, suspect, working, loud),
    }
    facts = tell.get(suspect.fault, lambda: _rolling_facts(case, suspect))()
    if len(case.heard.takes) == 1:
        facts.append(fact("one_take_only"))
    return facts


def _per_spindle_turn(case: Case, suspect: Suspect, numbers: Sequence[int]) -> dict[str, float]:
    found = {}
    for number in numbers:
        take = case.heard.takes[number]
        mine, turn = take.rotor_hz(suspect.rotor), take.rotor_hz(case.heard.machine.spindle)
        if mine is not None and turn:
            found[take.label] = mine / turn
    return found


def _labels(case: Case, numbers: Sequence[int]) -> set[str]:
    """Lever positions of some takes; repeats of one position count once."""
    return {case.heard.takes[number].label for number in numbers}


def _knock_facts(
    case: Case, suspect: Suspect, working: Sequence[int], loud: Sequence[int]
) -> list[Fact]:
    part = suspect.parts[0]
    facts = [
        fact(
            "knock_once_per_turn",
            part=part,
            rotor=suspect.rotor,
            heard=len(_labels(case, loud)),
            expected=len(_labels(case, working)),
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
    return facts


def _row(case: Case, suspect: Suspect, number: int) -> bool:
    """Whether the suspect's rotor knocks in a take, claimed or not."""
    from vibecheck.diagnosis.suspects import rate_key

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
    return [fact("sidebands_at", mesh=mesh, rotor=swell.rotor, db=over)]


def _imbalance_facts(suspect: Suspect) -> list[Fact]:
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return []
    known = {"growth": tones.growth, "db": tones.above_db}
    told = {name: value for name, value in known.items() if np.isfinite(value)}
    return [fact("one_turn_tone", rotor=tones.rotor, **told)]


def _bent_facts(case: Case, suspect: Suspect, loud: Sequence[int]) -> list[Fact]:
    tones = suspect.detail.get("tones")
    if not isinstance(tones, RotorTones):
        return []
    turns = [hz for k in loud if (hz := case.heard.takes[k].rotor_hz(tones.rotor))]
    if not turns:
        return [fact("two_turn_tone", rotor=tones.rotor, db=tones.twice_db)]
    low, high = 2.0 * min(turns), 2.0 * max(turns)
    return [fact("two_turn_tone", rotor=tones.rotor, db=tones.twice_db, low_hz=low, high_hz=high)]


def _belt_facts(suspect: Suspect) -> list[Fact]:
    score = suspect.detail.get("score")
    if not isinstance(score, BeltScore):
        return []
    hz = float(np.nanmedian(score.hz))
    return [
        fact("belt_rate", hz=hz, belt=score.belt),
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
        return _knock_facts(case, suspect, working, loud)
    return [
        fact(
            "many_turn_tones",
            rotor=suspect.rotor,
            count=max(3, len(loud)),
            halves="halves of a turn among them",
        )
    ]


def _rolling_facts(case: Case, suspect: Suspect) -> list[Fact]:
    score = suspect.detail.get("score")
    if not isinstance(score, RollingScore):
        return []
    facts = [
        fact(
            "bearing_family",
            lines=int(np.nansum(score.surprise > SURPRISING)),
            order=score.order,
            element=ELEMENT_WORDS[score.family.name],
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
    return facts


def _alikes(case: Case, group: Named) -> list[Fact]:
    if len(group.parts) < 2:
        return []
    machine = case.heard.machine
    every = indistinguishable(machine, machine.positions)
    together = any(set(group.parts) <= set(one) for one in every)
    return [fact("same_by_design" if together else "same_everywhere", parts=group.parts)]


def _ruled_out(case: Case, suspect: Suspect, group: Named, loud: Sequence[int]) -> list[Fact]:
    """Other gears of the same rotor, and the mating gears, each with its reason."""
    if suspect.part_kind != "gear" or suspect.fault != "broken or damaged tooth":
        return []
    facts: list[Fact] = []
    mine = {case.heard.takes[k].label for k in loud}
    for gear in case.heard.machine.gears:
        if gear.name in group.parts:
            continue
        works = {t.label for t in case.heard.takes if _works(gear.name, t)}
        if gear.shaft == suspect.rotor and works:
            missing = sorted(mine - works)
            silent = sorted(works - mine)
            if missing:
                facts.append(fact("not_in_mesh", part=gear.name, positions=missing))
            elif silent:
                facts.append(fact("silent_where_it_works", part=gear.name, positions=silent))
        elif works and _mates(case, suspect.parts[0], gear.name) and loud:
            take = case.heard.takes[loud[0]]
            would, heard = take.rotor_hz(gear.shaft), take.rotor_hz(suspect.rotor)
            if would and heard:
                facts.append(
                    fact(
                        "turns_elsewhere",
                        part=gear.name,
                        rotor=gear.shaft,
                        would_hz=would,
                        heard_hz=heard,
                    )
                )
    return facts


def _works(gear: str, take: Heard) -> bool:
    return any(gear in (m.mesh.driver, m.mesh.driven) and m.loaded for m in take.turning.meshes)


def _mates(case: Case, one: str, other: str) -> bool:
    return any({m.driver, m.driven} == {one, other} for m in case.heard.machine.meshes)


def _next_test(case: Case, group: Named) -> Fact:
    suspect = group.lead.suspect
    labels = [take.label for take in case.heard.takes]
    if group.probability < 0.85:
        missing = [p.label for p in case.heard.machine.positions if p.label not in labels]
        if missing:
            return fact("record_positions", positions=missing[:4], seconds=30.0)
    if len(group.parts) > 1:
        return fact("inspect_both", parts=group.parts)
    part = suspect.parts[0]
    if suspect.fault == "imbalance":
        if part == case.heard.machine.spindle:
            return fact("turn_chuck")
        return fact("dial_runout", part=part)
    if suspect.fault == "bent or misaligned":
        return fact("dial_runout", part=part)
    if suspect.fault == "lumpy or set belt":
        return fact("belt_off")
    if suspect.part_kind == "bearing":
        if group.probability < 0.98:
            fast = sorted(case.heard.takes, key=lambda t: -(t.rotor_hz(suspect.rotor) or 0.0))
            return fact("record_longer", positions=[t.label for t in fast[:2]], seconds=60.0)
        return fact("inspect", part=part, what="pitting of the race and rollers, and its end play")
    if suspect.fault == "loose on its shaft or in its seat":
        return fact("pulley_key", parts=[part])
    if suspect.fault == "pump pulsation":
        return fact("inspect", part=part, what="oil level, its strainer, and air or wear in it")
    if suspect.fault == "eccentric or worn gear":
        return fact("dial_runout", part=part)
    return fact("inspect", part=part, what="a broken, chipped or bruised tooth")
