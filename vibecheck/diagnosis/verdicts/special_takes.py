"""What special takes add to the findings of a sweep, each kind by its own physics.

Machine off: what is heard then is the room's. Motor alone, or a lever in neutral: what is still
heard lies before it. Power cut: gone at once is electrical, a falling pitch mechanical. Chuck off:
what is gone was the chuck's. Reverse: the other side of the teeth carries. Taps: how the structure
rings of itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecheck.diagnosis.findings import Fact, Finding, TakeReport, fact, verdict_for
from vibecheck.diagnosis.readings.heard import Heard, heard
from vibecheck.diagnosis.readings.lines import line_spectrum, turn_lines
from vibecheck.diagnosis.readings.listened import Listened
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds.followed import fit_alone
from vibecheck.diagnosis.verdicts.coasting import ending
from vibecheck.diagnosis.verdicts.cutting_lines import tapped_modes
from vibecheck.diagnosis.verdicts.still_there import (
    CLEAR_TONE,
    FIXED_KINDS,
    NO_TONE,
    Meter,
    fixed_hz,
    still_there,
)
from vibecheck.diagnosis.verdicts.take_reports import sound_remarks
from vibecheck.errors import RecordingError
from vibecheck.machine.parts import Machine, Position
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Take

SAME_ROOM_DB, ROOM_APART_DB = 6.0, 12.0
"""A tone this near its level with the machine off is the room's; further below it is not."""
MUCH, SOME, LITTLE = 8.0, 3.0, 1.5
"""Odds for a finding that a test upholds; their reciprocals where it speaks against."""
REFUTED = 0.03
HIGHEST = 0.995
BELT_UNTIL_ALONE = 0.97
"""A belt's rate is known to a few per cent only; until it is heard gone with the belt off, another
slow thing may be meant."""
HELD_AT = {"bearing_shallow": 0.0, "belt_may_be_sound": 0.84}
"""Most that a special take makes of a finding which a sound part may make as well, by the fact that
says so: it tells whose the sound is (a bearing's lines tell that by themselves), not how bad."""
CHUCK_DB, SAME_DB, REVERSE_DB = 6.0, 3.0, 6.0
WORTH_SAYING = 0.10
NO_PART = 0.84
"""A tone of structure or room is no part's fault: it never stands before a part likely at fault."""


@dataclass(slots=True, eq=False)
class _Scene:
    """The sweep, one special take, and what it is measured with."""

    heard: Listened
    take: Ready
    meter: Meter
    notes: list[Fact]

    @property
    def machine(self) -> Machine:
        """Whose takes these are."""
        return self.heard.machine

    def usual_db(self, hz: float) -> float:
        """Median level of a tone over the ordinary takes."""
        levels = [self.meter.tone(take, hz).level_db for take in self.heard.ready]
        return float(np.median(levels)) if levels else -200.0

    @property
    def levels_compare(self) -> bool:
        """Whether loud and quiet may be compared with the sweep's takes."""
        recordings = [self.take.take.recording, *(r.take.recording for r in self.heard.ready[:1])]
        return all(each.support.levels for each in recordings)


def with_specials(
    heard_sweep: Listened, findings: Sequence[Finding], specials: Sequence[Take]
) -> tuple[list[Finding], list[Fact]]:
    """The findings as the special takes leave them, and what the takes say besides.

    Returns
    -------
    findings : list of Finding
        Likeliest first; those a test refuted are gone.
    notes : list of Fact
        Sentences for the warnings.
    """
    meter, notes = Meter(), list[Fact]()
    kept = list(findings)
    for kind, weigh in _WEIGHERS.items():
        for take in specials:
            if take.kind == kind:
                scene = _Scene(heard=heard_sweep, take=made_ready(take), meter=meter, notes=notes)
                kept = [new for old in kept if (new := _weighed(weigh, scene, old)) is not None]
    alone = any(take.kind == "motor alone" for take in specials)
    kept = [finding if alone else _held(finding) for finding in kept]
    kept.sort(key=lambda finding: -_rank(finding))
    return kept, notes


def special_reports(specials: Sequence[Take]) -> tuple[TakeReport, ...]:
    """A report for every special take."""
    made = []
    for take in specials:
        ready = made_ready(take)
        made.append(
            TakeReport(
                name=take.name,
                position=take.position,
                kind=take.kind,
                seconds=ready.seconds,
                remarks=tuple(sound_remarks(ready)),
            )
        )
    return tuple(made)


def told(
    finding: Finding,
    odds: float,
    *,
    evidence: Sequence[Fact] = (),
    ruled_out: Sequence[Fact] = (),
    next_test: Fact | None = None,
) -> Finding:
    """A finding with its odds multiplied and the reason beside it."""
    most = min([HELD_AT.get(each.kind, HIGHEST) for each in finding.evidence], default=HIGHEST)
    p = float(np.clip(finding.probability, 1e-6, 1.0 - 1e-6))
    new = p / (1.0 - p) * odds
    probability = min(new / (1.0 + new), max(most, finding.probability))
    return replace(
        finding,
        probability=probability,
        verdict=verdict_for(probability),
        evidence=(*finding.evidence, *evidence),
        ruled_out=(*finding.ruled_out, *ruled_out),
        next_test=next_test or finding.next_test,
    )


Weigher = Callable[[_Scene, Finding], Finding | None]


def _weighed(weigh: Weigher, scene: _Scene, finding: Finding) -> Finding | None:
    if finding.verdict == "cannot tell":
        return finding
    new = weigh(scene, finding)
    if new is not None and new is not finding and new.probability < WORTH_SAYING:
        return None
    return new


def _rank(finding: Finding) -> float:
    return min(finding.probability, NO_PART if finding.part_kind == "structure" else 1.0)


def _held(finding: Finding) -> Finding:
    if finding.part_kind != "belt" or finding.probability <= BELT_UNTIL_ALONE:
        return finding
    return replace(
        finding,
        probability=BELT_UNTIL_ALONE,
        verdict=verdict_for(BELT_UNTIL_ALONE),
        next_test=fact("belt_off"),
    )


def _background(scene: _Scene, finding: Finding) -> Finding | None:
    """The room's own tones are no fault of the machine."""
    hz = fixed_hz(finding)
    if hz is None:
        return finding
    off = scene.meter.tone(scene.take, hz)
    below = scene.usual_db(hz) - off.level_db
    if off.over_floor >= CLEAR_TONE and below < SAME_ROOM_DB:
        scene.notes.append(fact("in_the_room", take=scene.take.take.name, hz=hz))
        return None
    if finding.part_kind not in FIXED_KINDS:
        return finding
    if off.over_floor <= NO_TONE or below > ROOM_APART_DB:
        return told(finding, LITTLE, evidence=[fact("gone_with_machine_off", hz=hz)])
    return finding


def _coast_down(scene: _Scene, finding: Finding) -> Finding | None:
    hz = fixed_hz(finding)
    if hz is None:
        return finding
    what = ending(scene.take, hz)
    electrical = finding.part_kind == "mains"
    if what == "stops":
        evidence = [fact("stops_at_power_off")]
        if electrical:
            return told(finding, MUCH, evidence=evidence, next_test=fact("motor_feet"))
        mechanical = finding.part_kind in ("shaft", "belt", "gear", "bearing")
        return told(finding, REFUTED if mechanical else 1.0, evidence=evidence)
    if what == "glides":
        evidence = [fact("glides_at_power_off")]
        return told(
            finding, REFUTED if finding.part_kind in FIXED_KINDS else SOME, evidence=evidence
        )
    if what == "stays":
        scene.notes.append(fact("in_the_room", take=scene.take.take.name, hz=hz))
        return None
    return finding


def _motor_alone(scene: _Scene, finding: Finding) -> Finding | None:
    """With the belts off (or only the clutch out, which must then be said) the motor is left."""
    hz = fixed_hz(finding)
    motor = scene.machine.motor
    if hz is None or motor is None:
        return finding
    alone = scene.meter.tone(scene.take, hz)
    clutch = any("clutch" in f"{k} {v}".lower() for k, v in scene.take.take.conditions.items())
    what = "the clutch out" if clutch else "the belts off"
    if finding.part_kind in FIXED_KINDS or finding.part == motor.shaft:
        if alone.over_floor >= CLEAR_TONE:
            return told(finding, LITTLE, evidence=[fact("heard_with_motor_alone", hz=hz)])
        if alone.over_floor <= NO_TONE:
            return told(finding, 1.0 / SOME, evidence=[fact("gone_with_motor_alone", hz=hz)])
        return finding
    if clutch and finding.part_kind == "belt":
        return finding
    if alone.over_floor >= CLEAR_TONE:
        fallen = fact("still_there_without", part=finding.part, without=what)
        return told(finding, REFUTED, ruled_out=[fallen])
    if alone.over_floor <= NO_TONE:
        test = fact("belt_look", part=finding.part) if finding.part_kind == "belt" else None
        evidence = [fact("gone_with_motor_alone", hz=hz)]
        return told(finding, MUCH, evidence=evidence, next_test=test)
    return finding


def _neutral(scene: _Scene, finding: Finding) -> Finding | None:
    """What is still heard with a lever in neutral lies before that lever."""
    place = _neutral_turning(scene.machine, scene.take.take)
    if place is None:
        return finding
    here, lever = place
    hz = fixed_hz(finding)
    if hz is not None and finding.part_kind in FIXED_KINDS:
        return finding
    take = _laid_on_angle(scene, here)
    ratio = _ratio(scene, finding)
    if take is None or ratio is None:
        return finding
    there = still_there(scene.machine, finding, take, ratio)
    works = _works(finding, here)
    if there is None:
        return finding
    if works:
        evidence = [fact("still_in_neutral", lever=lever)] if there else []
        return told(finding, LITTLE if there else 1.0 / LITTLE, evidence=evidence)
    if there:
        without = f"lever {lever} in neutral"
        fallen = fact("still_there_without", part=finding.part, without=without)
        return told(finding, REFUTED, ruled_out=[fallen])
    return told(finding, SOME, evidence=[fact("gone_in_neutral", lever=lever)])


def _neutral_turning(machine: Machine, take: Take) -> tuple[Turning, str] | None:
    """What turns with one lever in neutral, and which; the last lever when nobody says."""
    label = take.position or (machine.positions[0].label if machine.positions else "")
    known = [place for place in machine.positions if place.label == label]
    groups = [group.name for group in machine.groups]
    if not known or not groups:
        return None
    said = take.conditions.get("neutral") or take.conditions.get("lever") or groups[-1]
    lever = said if said in groups else groups[-1]
    levers = {**known[0].levers, lever: "0"}
    first = machine.motor.shaft if machine.motor else machine.spindle
    return turning(replace(machine, spindle=first), Position(levers=levers)), lever


def _chuck_off(scene: _Scene, finding: Finding) -> Finding | None:
    machine = scene.machine
    if finding.part != machine.spindle or finding.fault != "imbalance":
        return finding
    usual = [t for t in scene.heard.takes if t.label == scene.take.take.position]
    here = usual[0].turning if usual else None
    off = _laid_on_angle(scene, here) if here else None
    if not usual or off is None or not scene.levels_compare:
        return finding
    drop = _once_db(usual[0], machine.spindle) - _once_db(off, machine.spindle)
    if drop >= CHUCK_DB:
        test = fact("turn_chuck")
        return told(finding, MUCH, evidence=[fact("gone_with_chuck_off")], next_test=test)
    if drop <= SAME_DB:
        fallen = fact("still_there_without", part="chuck", without="the chuck off")
        test = fact("dial_runout", part=finding.part)
        return told(finding, 1.0, ruled_out=[fallen], next_test=test)
    return finding


def _once_db(take: Heard, rotor: str) -> float:
    return turn_lines(take, line_spectrum(take), rotor).once_db


def _reverse(scene: _Scene, finding: Finding) -> Finding | None:
    """The other flank of every tooth carries in reverse; a shaft does not mind."""
    if finding.part_kind not in ("gear", "shaft"):
        return finding
    usual = [t for t in scene.heard.takes if t.label == scene.take.take.position]
    here = usual[0].turning if usual else None
    back = _laid_on_angle(scene, here) if here else None
    ratio = _ratio(scene, finding)
    if not usual or back is None or ratio is None or usual[0].label not in finding.expected:
        return finding
    forward = still_there(scene.machine, finding, usual[0], ratio)
    reverse = still_there(scene.machine, finding, back, ratio)
    gear = finding.part_kind == "gear"
    if forward and reverse is False:
        evidence = [fact("gone_in_reverse")]
        return told(finding, SOME if gear else 1.0 / SOME, evidence=evidence)
    if forward and reverse:
        evidence = [fact("same_in_reverse")]
        return told(finding, 1.0 if gear else LITTLE, evidence=evidence)
    return finding


def _tap(scene: _Scene, finding: Finding) -> Finding | None:
    """A fixed tone at which the structure rings when tapped is the structure's."""
    hz = fixed_hz(finding)
    if hz is None or finding.part_kind not in ("structure", "tool"):
        return finding
    if any(known.kind == "rings_when_tapped" for known in finding.evidence):
        return finding
    try:
        modes = tapped_modes(scene.take.take.recording)
    except RecordingError:
        return finding
    for mode in modes:
        if mode.hz * (1 - 2 * mode.damping) <= hz <= mode.hz * (1 + max(0.15, 3 * mode.damping)):
            evidence = [fact("rings_when_tapped", hz=mode.hz, damping=100.0 * mode.damping)]
            return told(finding, SOME, evidence=evidence)
    return told(finding, 1.0 / LITTLE) if modes else finding


def _laid_on_angle(scene: _Scene, here: Turning) -> Heard | None:
    speed = fit_alone(scene.take, here, scene.heard.speeds.scale)
    return heard(scene.take, speed)


def _rotor(machine: Machine, finding: Finding) -> str | None:
    gears = {gear.name: gear.shaft for gear in machine.gears}
    bearings = {bearing.name: bearing.shaft for bearing in machine.bearings}
    part = finding.part
    return gears.get(part) or bearings.get(part) or (part if part in machine.shafts else None)


def _ratio(scene: _Scene, finding: Finding) -> float | None:
    """Speed of a finding's rotor over the track's, as at the take's lever position."""
    rotor = _rotor(scene.machine, finding)
    label = scene.take.take.position
    usual = [t for t in scene.heard.takes if label in (None, t.label)]
    for take in usual or scene.heard.takes:
        if rotor in take.turning.rotors:
            return take.turning.rotors[rotor].ratio
    return None


def _works(finding: Finding, here: Turning) -> bool:
    if finding.part_kind == "gear":
        pairs = [{m.mesh.driver, m.mesh.driven} for m in here.meshes if m.loaded]
        return any(set(finding.parts) & pair for pair in pairs)
    if finding.part_kind == "bearing":
        shafts = {b.name: b.shaft for b in here.machine.bearings}
        return any(shafts.get(part) in here.rotors for part in finding.parts)
    return any(part in here.rotors for part in finding.parts)


_WEIGHERS: dict[str, Weigher] = {
    "background": _background,
    "coast-down": _coast_down,
    "motor alone": _motor_alone,
    "neutral": _neutral,
    "chuck off": _chuck_off,
    "reverse": _reverse,
    "tap": _tap,
}
