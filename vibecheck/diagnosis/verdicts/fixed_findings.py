"""Findings about tones that no lever moves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vibecheck.diagnosis.findings import Finding, fact, verdict_for
from vibecheck.diagnosis.readings.fixed_tones import APART_HZ, SAME_STEADY, FixedTone, train_lines
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.verdicts.carriers import (
    SHARP_MAINS,
    at_true_mains,
    carried,
    electric,
    mains_multiple,
    may_be_the_motors,
)
from vibecheck.diagnosis.verdicts.inspections import inspection
from vibecheck.diagnosis.verdicts.still_there import Meter

FEWEST = 4
STEADY, STEADY_LEAN = 1.5e-4, 6.0
"""Relative scatter at which a tone is as likely tied to some turning part as not: what a fan or a
standing structure scatters is ten times finer, what follows a motor's slip ten times coarser; and
natural log odds per natural log of it."""
UNLIKE_THE_MOTOR = 6e-4
"""The same of a tone that no multiple of the motor comes near: it is tied to nothing, and chance
meetings of lines scatter more."""
FINE = 6e-5
"""Relative scatter finer than any shaft's."""
UNTIED, UNTIED_LEAN = 1.3, 4.0
"""The same of its scatter over the speed of the rotor it fits best, in times its own scatter."""
WANDERS_UNTIED, WANDER_LEAN = 2.0, 3.0
"""Chatter wanders; it must keep its hertz that much better than any rotor's multiple."""
NEWS_DB, HOWL_DB, NEWS_SPREAD_DB = -26.0, -16.0, 2.0
"""A tone further below the strongest line of the train is no news; and no howl."""
HUM_DB, SINGLE_PHASE_DB, HUM_LEAN = 2.5, 0.5, 0.8
"""Share of all sound, every multiple of the mains together, at which a hum is a fault as often as
not: sound machines of five makers reach as much where little else is heard; a single-phase motor's
torque swells at twice the mains by nature; and natural log odds a decibel."""
RULES_DB, RULING = -7.0, 0.75
"""A tone that makes up this much of all sound but wanders may be a tool's or a loose panel's:
possible, no more."""
SCATTERED, CHANCE_LEAN, MEANT_LEAN = 0.003, 5.0, 0.8
"""What chance meetings of unlike lines scatter, relative; the lean that so many places tried must
be beaten by; and the weight of what is left, as takes are not quite independent."""
KNOWN = 0.7
"""Part of the takes whose speeds must be known before a wandering tone is held to follow none."""
SHARE_EVEN, SHARE_SPREAD = 0.80, 0.025
SUREST = 0.98
GONE_DB, GONE_SPREAD_DB = 9.0, 1.5
"""A tone under cut that is this much weaker in every take in air needs the cut; the cut's own hiss
lifts all of a casing's resonances by less."""
WANDERS = 3.0
"""A tone is looked for in air within so many times its scatter under cut."""
SUNG_DB, COMPARED = -22.0, 0.95
"""Level under the strongest line of the train at which such a tone is no news; and the most that
takes in air leave of doubt: a tap would remove it."""
UNCOMPARED = 0.8
"""Most that takes under cut say of chatter by themselves: an idle take might hold the tone too."""


def fixed_findings(heard: Listened) -> list[Finding]:
    """At most one finding for the mains and one for anything else; modest tones are no finding."""
    found: list[Finding] = []
    for tone in heard.fixed:
        if len(tone.takes) < FEWEST:
            continue
        kind, probability = _judged(heard, tone)
        if probability < 0.3:
            continue
        rival = next((f for f in found if f.part == kind), None)
        if rival is not None and rival.probability >= probability:
            continue
        found = [f for f in found if f is not rival]
        found.append(_finding(heard, tone, kind, probability))
    sung = {n: _only_under_cut(heard, tone) for n, tone in enumerate(heard.cut)}
    surest = max(sung, key=lambda n: sung[n], default=-1)
    if sung.get(surest, 0.0) >= 0.3:
        found = [f for f in found if f.part != "tool"]
        found.append(_finding(heard, heard.cut[surest], "tool", sung[surest]))
    return found


def _only_under_cut(heard: Listened, tone: FixedTone) -> float:
    """How surely a tone of the takes under cut is chatter, others having been made in air."""
    if mains_multiple(at_true_mains(heard), tone.hz) or electric(heard, tone):
        return 0.0
    if carried(heard, tone) and not tied_to_none(tone):
        return 0.0
    meter = Meter()
    wander = max(SAME_STEADY, WANDERS * tone.spread)
    free = [n for n in range(len(heard.ready)) if not _under_a_line(heard, n, tone.hz, wander)]
    cut, air = (
        [meter.tone(heard.ready[n], tone.hz, wander=wander).level_db for n in numbers]
        for numbers in (
            tone.takes,
            [n for n in free if heard.ready[n].take.kind != "cutting"],
        )
    )
    if not air:
        return 0.0
    gone_db = float(np.median(cut)) - max(air)
    loose = (
        UNTIED_LEAN * float(np.log(tone.tied / tone.spread / UNTIED))
        if np.isfinite(tone.tied)
        else 0.0
    )
    meant = len(tone.takes) * float(np.log(SCATTERED / tone.spread)) - CHANCE_LEAN
    gone = (gone_db - GONE_DB) / GONE_SPREAD_DB
    all_three = -float(np.logaddexp.reduce([-gone, -loose, -MEANT_LEAN * meant]))
    return COMPARED * _sigmoid(all_three) * _news(tone, SUNG_DB)


def _judged(heard: Listened, tone: FixedTone) -> tuple[str, float]:
    """What a fixed tone is, and how surely it is that and matters."""
    cutting = all(take.take.kind == "cutting" for take in heard.ready)
    if mains_multiple(at_true_mains(heard), tone.hz):
        return "mains", 0.0 if carried(heard, tone) else _hum(heard, tone)
    if electric(heard, tone) or (carried(heard, tone) and not tied_to_none(tone)):
        return "structure", 0.0
    still = standing(tone, motor=may_be_the_motors(heard.machine, tone.hz))
    sung = _sung(heard, tone) if cutting else 0.0
    if sung > still:
        return "tool", sung
    return "structure", max(still, _ruling(tone))


def _under_a_line(heard: Listened, number: int, hz: float, wander: float) -> bool:
    """Whether a tooth tone of the take lies where the tone is looked for."""
    take = next((t for n, t in zip(heard.numbers, heard.takes, strict=True) if n == number), None)
    if take is None:
        return False
    lines = train_lines(take, take.ready.top_hz)
    return bool(np.any(np.abs(lines / hz - 1.0) < wander + APART_HZ / hz))


def tied_to_none(tone: FixedTone) -> bool:
    """Whether it keeps its hertz far better than it keeps any ratio to what turns."""
    return tone.spread < FINE and tone.tied > 3.0 * tone.spread


def _hum(heard: Listened, tone: FixedTone) -> float:
    """A hum is a fault where it makes up most of the sound at nearly every position."""
    even = HUM_DB
    if heard.machine.supply.kind == "single-phase":
        even += SINGLE_PHASE_DB
    loud = max(tone.of_all_db, _hum_of_all_db(heard))
    return SUREST * _sigmoid(HUM_LEAN * (loud - even)) * min(1.0, tone.share / 0.9)


def _hum_of_all_db(heard: Listened) -> float:
    """All that hums at multiples of twice the mains over all other power.

    Each tone's power is counted with its double's, so even multiples count where their half is
    missing. What a sensor's cable picks up, the mains themselves, is no sound and does not count.
    """
    machine = at_true_mains(heard)
    shares = {
        times: _part_of_all(tone)
        for tone in heard.fixed
        if (times := mains_multiple(machine, tone.hz)) and tone.share >= SHARE_EVEN
    }
    total = sum(part for times, part in shares.items() if times % 2 or times // 2 not in shares)
    mains_hz = machine.supply.mains_hz
    picked_up = [_part_of_all(t) for t in heard.fixed if abs(t.hz / mains_hz - 1.0) < SHARP_MAINS]
    rest = 1.0 - total - max(picked_up, default=0.0)
    return float(10.0 * np.log10(max(total, 1e-6) / max(rest, 1e-3)))


def _part_of_all(tone: FixedTone) -> float:
    """A tone's share of all power."""
    return float(1.0 / (1.0 + 10.0 ** (-tone.of_all_db / 10.0)))


def standing(tone: FixedTone, *, motor: bool = True) -> float:
    """How surely a tone stands still while everything that turns does not, and is news.

    ``motor`` says whether it may be one of the motor, whose own speed is not always heard.
    """
    still = STEADY if motor or not np.isfinite(tone.tied) else UNLIKE_THE_MOTOR
    steady = -STEADY_LEAN * float(np.log(tone.spread / still))
    loose = 2.0
    if np.isfinite(tone.tied):
        loose = UNTIED_LEAN * float(np.log(tone.tied / tone.spread / UNTIED))
    return SUREST * _sigmoid(-float(np.logaddexp(-steady, -loose))) * _news(tone)


def _sung(heard: Listened, tone: FixedTone) -> float:
    """How surely a tone of cutting takes is chatter: it wanders, but follows nothing."""
    if not np.isfinite(tone.tied) or len(heard.takes) < KNOWN * len(heard.ready):
        return 0.0
    wanders = WANDER_LEAN * float(np.log(tone.spread / STEADY))
    loose = UNTIED_LEAN * float(np.log(tone.tied / tone.spread / WANDERS_UNTIED))
    meant = len(tone.takes) * float(np.log(SCATTERED / tone.spread)) - CHANCE_LEAN
    all_three = -float(np.logaddexp.reduce([-wanders, -loose, -MEANT_LEAN * meant]))
    return UNCOMPARED * _sigmoid(all_three) * _news(tone, HOWL_DB)


def _ruling(tone: FixedTone) -> float:
    """A wandering tone that makes up much of all sound must be spoken of."""
    if not np.isfinite(tone.tied) or tone.tied < 0.5 * tone.spread or tone.share < 0.9:
        return 0.0
    return RULING * _sigmoid(2.0 * (tone.of_all_db - RULES_DB))


def _news(tone: FixedTone, even_db: float = NEWS_DB) -> float:
    """Whether it is loud enough to speak of, and there wherever it could be heard."""
    loud = _sigmoid((tone.upper_db - even_db) / NEWS_SPREAD_DB)
    return loud * _sigmoid((tone.share - SHARE_EVEN) / SHARE_SPREAD)


def _sigmoid(lean: float) -> float:
    return float(1.0 / (1.0 + np.exp(-np.clip(lean, -50.0, 50.0))))


def _finding(heard: Listened, tone: FixedTone, kind: str, probability: float) -> Finding:
    fault = {
        "mains": "mains hum",
        "tool": "chatter",
        "structure": "fixed tone of structure or room",
    }[kind]
    evidence = [fact("fixed_hz", hz=tone.hz, count=len(tone.takes))]
    if kind == "mains":
        evidence.append(fact("twice_mains", hz=tone.hz))
    test = inspection(kind, kind, fault, heard.machine.spindle)
    if kind == "structure" and tone.spread > 2.0 * STEADY:
        test = fact("idle_and_cutting")
    labels = [_label(heard, number) for number in tone.takes]
    gears = [gear.name for gear in heard.machine.gears]
    return Finding(
        part=kind,
        parts=(kind,),
        part_kind=kind,
        fault=fault,
        verdict=verdict_for(probability),
        probability=probability,
        evidence=tuple(evidence),
        ruled_out=tuple(fact("rate_does_not_move", part=name) for name in gears[:2]),
        next_test=test,
        heard=tuple(dict.fromkeys(labels)),
        expected=tuple(dict.fromkeys(_label(heard, n) for n in range(len(heard.ready)))),
        rates_hz=dict.fromkeys(labels, tone.hz),
        per_spindle_turn={
            take.label: tone.hz / hz
            for take in heard.takes
            if (hz := take.rotor_hz(heard.machine.spindle))
        },
    )


def _label(heard: Listened, number: int) -> str:
    speed = heard.speeds.takes[number]
    if speed.turning is not None:
        return speed.turning.label
    return heard.ready[number].take.position or heard.ready[number].take.name


def modest_hum(heard: Listened, findings: Sequence[Finding]) -> FixedTone | None:
    """The hum at twice the mains, where it is plainly there and no finding speaks of it."""
    if any(finding.part_kind == "mains" for finding in findings):
        return None
    machine = at_true_mains(heard)
    return next(
        (
            tone
            for tone in heard.fixed
            if mains_multiple(machine, tone.hz, within=SHARP_MAINS) == 1
            and len(tone.takes) >= FEWEST
            and tone.share >= SHARE_EVEN
        ),
        None,
    )


def modest_tones(heard: Listened, findings: Sequence[Finding]) -> list[FixedTone]:
    """Fixed tones that are there but rule nothing; multiples of a named tone are not new ones."""
    roots = [f.rates_hz[label] for f in findings for label in f.rates_hz]
    machine, left = at_true_mains(heard), list[FixedTone]()
    for tone in sorted(heard.fixed, key=lambda each: each.hz):
        if carried(heard, tone) or mains_multiple(machine, tone.hz):
            continue
        if not any(_multiple_of(tone.hz, root) for root in roots):
            left.append(tone)
            roots.append(tone.hz)
    return sorted(left, key=lambda tone: -tone.above_mesh_db)


def _multiple_of(hz: float, root: float) -> bool:
    times = hz / root
    return times > 0.9 and abs(times - round(times)) < 0.01 * times
