"""The statistic matched to a fault, for someone told the true angle, part and fault.

For the oracle only; it shares nothing with the code that diagnoses.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from vibecheck.synth.faults import BEARING_FAULTS, PlantedFault, same_belt
from vibecheck.synth.individual import Individual
from vibecheck.synth.listening import OCTAVES_HZ, band, low_part, order_spectrum
from vibecheck.synth.motion import Motion
from vibecheck.synth.rolling import cage_order, strike_order
from vibecheck.synth.sound import Rendered
from vibecheck.synth.waves import Turns


def statistic_db(made: Rendered, fault: PlantedFault, individual: Individual) -> float:
    """The statistic matched to a fault, in one rendered take."""
    ran = made.motion
    assert ran is not None
    if fault.fault == "broken or damaged tooth":
        return _knock_db(made, _carrier(ran, fault.part))
    if fault.fault == "eccentric or worn gear":
        return _sidebands_db(made, ran, fault)
    if fault.fault in BEARING_FAULTS:
        return _rolling_db(made, ran, fault, individual)
    if fault.fault == "loose on its shaft or in its seat":
        return _looseness_db(made, ran, fault.part)
    return _low_lines_db(made, ran, fault)


def _carrier(ran: Motion, gear_name: str) -> str:
    gear = ran.turning.machine.gear(gear_name)
    return gear_name if gear_name in ran.turning.rotors else gear.shaft


def _recorded(ran: Motion, frames: int, turns: Turns) -> Turns:
    """Angle at the samples of the recording, when that is slower than the rendering."""
    times = max(1, ran.frames // frames)
    return turns[::times][:frames]


def _knock_db(made: Rendered, rotor: str, over_turns: float = 1.0) -> float:
    """Best octave's squared envelope folded over a turn or two: its peak over its usual scatter."""
    assert made.motion is not None
    samples, rate = made.recording.channel(), made.recording.rate_hz
    turns = _recorded(made.motion, samples.size, made.motion.turns(rotor) / over_turns)
    best = 0.0
    for low, high in pairwise(OCTAVES_HZ):
        if high > 0.5 * rate * 1.01:
            break
        envelope, angle = band(samples, rate, low, high, turns)
        best = max(best, _fold_peak(np.abs(envelope) ** 2, angle))
    return float(10 * np.log10(max(best, 1e-3)))


def _fold_peak(power: Turns, angle: Turns, parts: int = 90) -> float:
    where = ((angle - np.floor(angle)) * parts).astype(int) % parts
    total = np.bincount(where, weights=power, minlength=parts)
    profile = total / np.maximum(np.bincount(where, minlength=parts), 1)
    middle = float(np.median(profile))
    scatter = float(np.median(np.abs(profile - middle)))
    return (float(profile.max()) - middle) / max(scatter, 1e-30)


def _impacts_db(made: Rendered, rotor: str, orders: list[float], slack: float = 0.0) -> float:
    """Best octave's squared-envelope lines over their floor."""
    assert made.motion is not None
    samples, rate = made.recording.channel(), made.recording.rate_hz
    turns = _recorded(made.motion, samples.size, made.motion.turns(rotor))
    best = 0.0
    for low, high in pairwise(OCTAVES_HZ):
        if high > 0.5 * rate * 1.01:
            break
        envelope, angle = band(samples, rate, low, high, turns)
        spectrum = order_spectrum(np.abs(envelope) ** 2, angle)
        best = max(best, spectrum.above(orders, slack))
    return best


def _rolling_db(made: Rendered, ran: Motion, fault: PlantedFault, individual: Individual) -> float:
    bearing = next(b for b in ran.turning.machine.bearings if b.name == fault.part)
    orders = individual.bearing_orders(bearing)
    assert orders is not None
    order, cage = strike_order(orders, fault), cage_order(orders, fault)
    lines = [order * k for k in (1, 2, 3)]
    if fault.fault == "inner race":
        lines += [order - 1, order + 1]
    if fault.fault == "rolling element":
        lines += [order - cage, order + cage]
    slack = 0.3 * fault.jitter / np.sqrt(max(ran.speed_hz(bearing.shaft) * order, 1.0))
    return _impacts_db(made, bearing.shaft, lines, float(slack))


def _looseness_db(made: Rendered, ran: Motion, rotor: str) -> float:
    """Knocks at some angles of two turns, and the share of all sound below eleven turns.

    Both in dB; their mean, since a loose part knocks, or only heaves, or does both.
    """
    knocking = _knock_db(made, rotor, over_turns=2.0)
    samples, rate = made.recording.channel(), made.recording.rate_hz
    power = np.abs(np.fft.rfft(samples * np.hanning(samples.size))) ** 2
    hz = np.arange(power.size) * (rate / samples.size)
    speed = ran.speed_hz(rotor)
    low = power[(hz > 0.4 * speed) & (hz < 10.6 * speed)].sum()
    heaving = 10 * np.log10(max(float(low / power.sum()), 1e-9))
    return 0.5 * (knocking + float(heaving))


def _sidebands_db(made: Rendered, ran: Motion, fault: PlantedFault) -> float:
    """Sidebands at one and two turns of the gear around its mesh, over the mesh, in dB."""
    rotor = _carrier(ran, fault.part)
    samples = made.recording.channel()
    turns = _recorded(ran, samples.size, ran.turns(rotor))
    teeth = ran.turning.machine.gear(fault.part).teeth.value
    assert teeth is not None
    top = min(3.5 * teeth * ran.speed_hz(rotor), 0.49 * made.recording.rate_hz)
    low, angle = low_part(samples, made.recording.rate_hz, top, turns)
    spectrum = order_spectrum(low, angle)
    carriers, sides = 1e-30, 1e-30
    for multiple in (1, 2, 3):
        mesh = multiple * teeth
        if (mesh + 3) * ran.speed_hz(rotor) > top:
            break
        sides += sum(spectrum.line(mesh + k) for k in (-2, -1, 1, 2))
        carriers += spectrum.line(mesh)
    return float(10 * np.log10(sides / carriers))


def _low_lines_db(made: Rendered, ran: Motion, fault: PlantedFault) -> float:
    """Lines of shafts, belts, pumps, mains and fixed tones over the floor beside them, in dB."""
    samples, rate = made.recording.channel(), made.recording.rate_hz
    turns, lines, slack = _course(ran, fault)
    turns = _recorded(ran, samples.size, turns)
    speed = (turns[-1] - turns[0]) * rate / turns.size
    top = min(max(1.2 * max(lines) * speed, 60.0), 0.49 * rate)
    low, angle = low_part(samples, rate, top, turns)
    return order_spectrum(low, angle).above(lines, slack)


def _course(ran: Motion, fault: PlantedFault) -> tuple[Turns, list[float], float]:
    """The angle a fault follows, the multiples to look at, and how far they may stray."""
    machine = ran.turning.machine
    seconds = np.arange(ran.frames) / ran.rate_hz
    if fault.part == "mains":
        return ran.mains_turns, [2.0, 4.0], 0.0
    if fault.part in ("structure", "tool"):
        return seconds * fault.hz, [1.0], 0.006
    belts = {belt.name for belt in machine.belts}
    alike = same_belt(machine, fault.part) if fault.part in belts else ()
    for work in ran.turning.belts:
        if work.belt.name in alike:
            return ran.turns(work.driver) * (work.order or 0.3), [1.0, 2.0, 3.0], 0.012
    for pump in machine.pumps:
        if pump.name == fault.part:
            vanes = pump.vanes.value or 7
            return ran.turns(pump.shaft), [vanes * k for k in (1.0, 2.0, 3.0)], 0.0
    shaft = ran.turns(fault.part)
    if fault.fault == "imbalance":
        return shaft, [1.0], 0.0
    return shaft, [1.0, 2.0, 3.0], 0.0
