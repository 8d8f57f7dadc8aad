"""The tones by which a finding could mark the work at one cut."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from vibecheck import units
from vibecheck.diagnosis.faults import FAULTS
from vibecheck.diagnosis.findings import Diagnosis, Finding, TakeReport
from vibecheck.finish.marks import Cut
from vibecheck.finish.naming import Candidate
from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import turning

MULTIPLES = {"knock": 3, "modulation": 3, "turn": 3, "turns": 3, "belt": 3}
"""How many multiples of its rate a fault can mark the work with; 1 for the rest (judgement)."""
SLIP = 0.02
"""Relative limit of error of a rate that no teeth tie to the spindle."""
FIXED_ERROR, MAINS_ERROR = 0.005, 0.001
NO_LEVER = ("mains", "structure")
NEAR_SPEED = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Tones of a finding at a cut; ``unknown`` says why there is no telling, else it is empty.

    No tones and nothing unknown means that the part does not work at that lever position.
    """

    tones: tuple[Candidate, ...] = ()
    unknown: str = ""


def lines_of(finding: Finding, diagnosis: Diagnosis, cut: Cut, machine: Machine | None) -> Lines:
    """What a finding would sound like while a cut was taken.

    Parameters
    ----------
    finding, diagnosis
        The finding and the whole it belongs to.
    cut : Cut
        Lever position and speed of the cut; rates heard in air are carried over to its speed.
    machine : Machine or None
        Tells what is geared to the spindle.
    """
    if not finding.rates_hz:
        return Lines(unknown="how often it strikes was not heard")
    if finding.part_kind in NO_LEVER:
        return Lines(tones=_fixed(finding))
    here = heard_at(diagnosis, cut)
    if not here:
        return Lines(unknown=f"no take was made {where(cut)}")
    label = next((key for take in here for key in _keys(take) if key in finding.rates_hz), None)
    if label is None:
        return Lines()
    if finding.part_kind == "tool":
        return Lines(tones=(_tone(finding, finding.rates_hz[label], 1, FIXED_ERROR),))
    order = _order(finding, label, here)
    if order is None:
        return Lines(unknown=f"the speed of the take {where(cut)} was not found")
    return Lines(tones=_turning(finding, order * cut.turns_hz, cut, machine))


def heard_at(diagnosis: Diagnosis, cut: Cut) -> tuple[TakeReport, ...]:
    """The takes made as the cut was: at its lever position, without one at its speed."""
    if cut.position:
        return tuple(take for take in diagnosis.takes if take.position == cut.position)
    if len(diagnosis.takes) == 1:
        return diagnosis.takes
    return tuple(
        take
        for take in diagnosis.takes
        if take.spindle_rpm and abs(take.spindle_rpm / cut.rpm - 1) <= NEAR_SPEED
    )


def where(cut: Cut) -> str:
    """ "at A1 B2 CH", or the speed when no lever position was told."""
    return f"at {cut.position}" if cut.position else f"at {cut.rpm:g} rpm"


def _keys(take: TakeReport) -> tuple[str, ...]:
    return tuple(key for key in (take.position, take.name, "") if key is not None)


def _order(finding: Finding, label: str, here: tuple[TakeReport, ...]) -> float | None:
    """Strikes a turn of the spindle, as heard in air."""
    order = finding.per_spindle_turn.get(label)
    if order is not None:
        return order
    rpm = next((take.spindle_rpm for take in here if take.spindle_rpm), None)
    return None if rpm is None else finding.rates_hz[label] / units.hz(rpm)


def _fixed(finding: Finding) -> tuple[Candidate, ...]:
    hz = median(finding.rates_hz.values())
    if finding.part_kind != "mains":
        return (_tone(finding, hz, 1, FIXED_ERROR),)
    twice = min((100.0, 120.0), key=lambda base: abs(hz / base - round(hz / base)))
    found = [_tone(finding, hz, 1, MAINS_ERROR)]
    if round(hz / twice) > 1:
        found.append(_tone(finding, hz / round(hz / twice), 1, MAINS_ERROR, "twice the mains"))
    return tuple(found)


def _turning(
    finding: Finding, rate_hz: float, cut: Cut, machine: Machine | None
) -> tuple[Candidate, ...]:
    geared = _geared(finding, cut, machine)
    carrier = next((kind.carrier for kind in FAULTS if kind.name == finding.fault), "turns")
    most = 1 if finding.part_kind == "unknown" else MULTIPLES.get(carrier, 1)
    error = 0.0 if geared else SLIP
    found = [_tone(finding, rate_hz, k, error, geared=geared) for k in range(1, most + 1)]
    teeth = _teeth(finding, machine) if carrier == "modulation" else None
    if teeth:
        found += [
            _tone(finding, rate_hz, teeth + side, error, said, geared=geared)
            for side, said in ((-1, "teeth less a turn"), (0, "teeth"), (1, "teeth and a turn"))
        ]
    return tuple(found)


def _tone(
    finding: Finding, rate_hz: float, times: float, error: float, said: str = "",
    *, geared: bool = False,
) -> Candidate:  # fmt: skip
    hz = rate_hz * times
    return Candidate(
        name=f"{finding.part}, {said or f'{times:g} x'}",
        hz=hz,
        uncertainty_hz=hz * error,
        geared=geared,
    )


def _geared(finding: Finding, cut: Cut, machine: Machine | None) -> bool:
    """Whether teeth alone tie the finding's rate to the spindle; bearings and belts slip."""
    if machine is None or finding.part_kind not in ("gear", "shaft"):
        return False
    if finding.part == machine.spindle:
        return True
    shafts = {gear.name: gear.shaft for gear in machine.gears}
    try:
        rotors = turning(machine, machine.position(cut.position or "")).rotors
    except KeyError:
        return False
    rotor = rotors.get(finding.part) or rotors.get(shafts.get(finding.part, ""))
    return rotor is not None and rotor.group == rotors[machine.spindle].group


def _teeth(finding: Finding, machine: Machine | None) -> float | None:
    gears = machine.gears if machine else ()
    return next((gear.teeth.value for gear in gears if gear.name == finding.part), None)
