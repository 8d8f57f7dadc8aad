"""Tones of a machine as suspects for marks on the work."""

from __future__ import annotations

from collections.abc import Sequence

from vibecheck import units
from vibecheck.errors import SpeedError
from vibecheck.finish.carriage import Carriage
from vibecheck.finish.marks import Cut
from vibecheck.finish.naming import Candidate
from vibecheck.finish.second_cut import SecondCut, second_cut
from vibecheck.machine.parts import Machine
from vibecheck.machine.tones import Tone, tones
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning

MULTIPLES = {"turn": 3, "mesh": 2, "belt": 3, "outer": 1, "inner": 1, "roller": 2}
"""How many multiples of each kind of tone are taken as able to move the tool; 1 for the rest."""
SLOWEST_HZ = 0.2
BELT_UNCERTAINTY = 0.02
"""Relative limit of error of a shaft that only a slipping belt ties to the spindle."""
MAINS_UNCERTAINTY = 0.001
CHART_RPM_UNCERTAINTY = 0.03
OFF_CHART = 0.15


def spindle_rpm(machine: Machine, position: str) -> float | None:
    """What the gear table promises the spindle at a lever position; None when it cannot say."""
    hertz = _at(machine, position).nominal_hz(machine.spindle)
    return None if hertz is None else units.rpm(hertz)


def candidates(machine: Machine, position: str, rpm: float) -> tuple[Candidate, ...]:
    """Tones the machine can make at a lever position with the spindle at a measured speed.

    Parameters
    ----------
    machine : Machine
        Its gear table.
    position : str
        Lever position label.
    rpm : float
        Measured spindle speed. What teeth tie to the spindle follows it exactly; what a belt ties
        to it follows within 2 %.

    Raises
    ------
    SpeedError
        When the position is not on the chart, or the speed is more than 15 % off what the
        table gives for it.
    """
    turn = _at(machine, position)
    nominal = turn.nominal_hz(machine.spindle)
    if nominal is not None and abs(units.hz(rpm) / nominal - 1) > OFF_CHART:
        raise SpeedError(
            f"{rpm:.1f} rpm at {position}, where the gear table gives {units.rpm(nominal):.1f} rpm",
            "Check the lever position, the measured speed and the gear table.",
        )
    scale = units.hz(rpm) / nominal if nominal else 1.0
    found = [c for tone in tones(turn) for c in _multiples(tone, turn, units.hz(rpm), scale)]
    return tuple({c.name: c for c in found}.values())


def _at(machine: Machine, position: str) -> Turning:
    try:
        return turning(machine, machine.position(position))
    except KeyError:
        labels = ", ".join(p.label for p in machine.positions)
        raise SpeedError(
            f"no lever position {position!r} on {machine.name}", f"It has {labels}."
        ) from None


def _multiples(tone: Tone, turn: Turning, spindle_hz: float, scale: float) -> list[Candidate]:
    spindle = turn.rotors[turn.machine.spindle]
    geared = tone.group == spindle.group
    if geared:
        base: float | None = spindle_hz * tone.order / spindle.ratio
    else:
        base = tone.hz(turn)
        base = base * scale if base is not None and tone.group is not None else base
    if base is None:
        return []
    slip = max(abs(tone.slip_low), abs(tone.slip_high))
    error = MAINS_UNCERTAINTY if tone.group is None else 0.0 if geared else BELT_UNCERTAINTY
    return [
        Candidate(
            name=_name(tone, multiple),
            hz=multiple * base,
            uncertainty_hz=multiple * base * max(error, slip),
            geared=geared,
        )
        for multiple in range(1, MULTIPLES.get(tone.nature, 1) + 1)
        if multiple * base >= SLOWEST_HZ
    ]


WORDS = {"outer": "outer race", "inner": "inner race"}


def _name(tone: Tone, multiple: int) -> str:
    """ "motor, 2 a turn", "25/50 (B2), teeth meeting": part first, so that sorting groups them."""
    if tone.nature == "mains":
        return "twice mains (magnetic hum)"
    if tone.nature in ("turn", "belt"):
        often = "once" if multiple == 1 else f"{multiple} times"
        return f"{tone.part}, {often} a turn"
    what = "teeth meeting" if tone.nature == "mesh" else WORDS.get(tone.nature, tone.nature)
    return f"{tone.part}, {what}" if multiple == 1 else f"{tone.part}, {multiple} x {what}"


def carriage(machine: Machine) -> Carriage:
    """What the carriage rides on, from the gear table; the apron from its worm onward."""
    feed = machine.feed
    return Carriage(
        rack_module_mm=feed.rack_module_mm.middle,
        pinion_teeth=feed.rack_pinion_teeth.middle,
        rod_mm_per_turn=feed.feed_rod_mm_per_turn.middle,
        screw_pitch_mm=feed.leadscrew_pitch_mm.middle,
        apron=_apron(machine),
    )


def _apron(machine: Machine) -> tuple[tuple[float, float], ...]:
    found: list[tuple[float, float]] = []
    mesh = next((m for m in machine.meshes if m.worm), None)
    while mesh is not None and len(found) < 10:
        driver, driven = machine.gear(mesh.driver), machine.gear(mesh.driven)
        if not (driver.teeth.value and driven.teeth.value):
            return ()
        found.append((driver.teeth.value, driven.teeth.value))
        shaft = driven.shaft
        mesh = next((m for m in machine.meshes if machine.gear(m.driver).shaft == shaft), None)
    return tuple(found)


def next_cut(
    machine: Machine, suspects: Sequence[str], taken: Sequence[Cut], rpm_uncertainty: float
) -> SecondCut | None:
    """The chart position whose marks would part the suspects best; None when none would."""
    options = []
    for position in machine.positions:
        rpm = spindle_rpm(machine, position.label)
        if rpm is None:
            continue
        last = taken[-1]
        cut = Cut(
            rpm=rpm,
            feed_mm=last.feed_mm,
            rpm_uncertainty=rpm_uncertainty,
            diameter_mm=last.diameter_mm,
            direction=last.direction,
            spindle=last.spindle,
            position=position.label,
        )
        listed = {c.name: c.hz for c in candidates(machine, position.label, rpm)}
        options.append((cut, {name: listed[name] for name in suspects if name in listed}))
    return second_cut(options, taken)
