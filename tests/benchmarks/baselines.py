"""Two simpler ways to name a fault, for comparison. Both are told the true speeds.

*Nearest line*: the biggest peaks of each take's spectrum, each given to whichever part has a line
next to it; the part with most votes over the sweep is named. *Best envelope*: of the one take with
the most spiky sound, the envelope spectrum; the part whose rate stands highest is named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from vibecheck.machine.bearings import orders_of
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Take

Hertz = NDArray[np.float64]
PEAKS = 20
NEAR, NEAR_HZ = 0.004, 0.3
ENOUGH_VOTES = 0.5
"""Share of the takes in which a part must have a peak to be named."""
ENOUGH_OVER_FLOOR = 5.0
"""Height of an envelope line over its floor to be named."""
ELEMENTS = {"outer": "outer race", "inner": "inner race", "roller": "rolling element"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """A part (or several at the same rate) and a fault, with the score that ranks it."""

    parts: tuple[str, ...]
    fault: str
    score: float


def lines_of(turn: Turning, group_hz: Mapping[str, float]) -> dict[tuple[str, str], list[float]]:
    """Lines that a handbook expects of every part and fault, hertz, for one take."""
    machine = turn.machine
    speed = {r.name: group_hz[r.group] * r.ratio for r in turn.rotors.values()}
    lines: dict[tuple[str, str], list[float]] = {}
    for mesh in turn.meshes:
        if mesh.order is None or not mesh.loaded:
            continue
        middle = mesh.order * group_hz[mesh.group]
        for gear, rotor in ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven)):
            side = [m * middle + k * speed[rotor] for m in (1, 2) for k in (-1, 1)]
            lines[gear, "eccentric or worn gear"] = side
            lines[gear, "broken or damaged tooth"] = [
                m * middle + k * speed[rotor] for m in (1, 2) for k in (-3, -2, 2, 3)
            ]
    for rotor, hz in speed.items():
        if rotor in machine.shafts:
            lines[rotor, "imbalance"] = [hz]
            lines[rotor, "bent or misaligned"] = [2 * hz]
            lines[rotor, "loose on its shaft or in its seat"] = [0.5 * hz, 1.5 * hz, 2.5 * hz]
    for bearing, element, rate in _rolling(machine, speed):
        lines[bearing, ELEMENTS[element]] = [rate, 2 * rate]
    for belt in turn.belts:
        if belt.order is not None and belt.driver in speed:
            rate = belt.order * speed[belt.driver]
            lines[belt.belt.name, "lumpy or set belt"] = [rate, 2 * rate, 3 * rate]
    for pump in machine.pumps:
        if pump.shaft in speed and pump.vanes.value:
            lines[pump.name, "pump pulsation"] = [pump.vanes.value * speed[pump.shaft]]
    twice = 2 * machine.supply.mains_hz
    lines["mains", "mains hum"] = [twice, 2 * twice]
    return lines


def _rolling(machine: Machine, speed: Mapping[str, float]) -> list[tuple[str, str, float]]:
    found = []
    for bearing in machine.bearings:
        orders = orders_of(bearing)
        if orders is not None and bearing.shaft in speed:
            for element in ELEMENTS:
                found.append(
                    (bearing.name, element, getattr(orders, element) * speed[bearing.shaft])
                )
    return found


def nearest_line(
    machine: Machine, takes: Sequence[Take], group_hz: Sequence[Mapping[str, float]]
) -> list[Guess]:
    """Parts by the votes of the biggest peaks, most first; only those heard in half their takes."""
    votes: dict[tuple[str, str], float] = {}
    present: dict[tuple[str, str], int] = {}
    possible: dict[tuple[str, str], int] = {}
    for take, speeds in zip(takes, group_hz, strict=True):
        lines = lines_of(turning(machine, machine.position(str(take.position))), speeds)
        peaks, heights = _biggest(take)
        keys = [(key, hz) for key, rates in lines.items() for hz in rates if hz > 2]
        rates = np.array([hz for _, hz in keys])
        hit = set()
        for peak, height in zip(peaks, heights, strict=True):
            best = int(np.argmin(np.abs(rates - peak)))
            if abs(rates[best] - peak) < max(NEAR_HZ, NEAR * peak):
                key = keys[best][0]
                votes[key] = votes.get(key, 0.0) + height
                hit.add(key)
        for key in lines:
            possible[key] = possible.get(key, 0) + 1
            present[key] = present.get(key, 0) + (key in hit)
    named = [k for k in votes if present[k] >= ENOUGH_VOTES * possible[k]]
    return [
        Guess(parts=(part,), fault=fault, score=votes[part, fault])
        for part, fault in sorted(named, key=lambda k: -votes[k])
    ]


def _biggest(take: Take) -> tuple[Hertz, Hertz]:
    """The biggest peaks of a take's spectrum: hertz, and decibels over the median."""
    samples = take.recording.channel(0)
    power = np.abs(scipy.fft.rfft(samples * np.hanning(samples.size).astype(np.float32))) ** 2
    step = take.recording.rate_hz / samples.size
    power[: int(3 / step)] = 0
    level = 10 * np.log10(power / np.median(power) + 1e-9)
    places, _ = scipy.signal.find_peaks(level, distance=max(1, int(0.5 / step)))
    best = places[np.argsort(-level[places])][:PEAKS]
    return best * step, level[best]


def best_envelope(
    machine: Machine, takes: Sequence[Take], group_hz: Sequence[Mapping[str, float]]
) -> list[Guess]:
    """Parts by the height of their line in the envelope spectrum of the spikiest take."""
    bands = [(*_spikiest(take), number) for number, take in enumerate(takes)]
    _, envelope, rate_hz, number = max(bands, key=lambda band: band[0])
    turn = turning(machine, machine.position(str(takes[number].position)))
    speed = {r.name: group_hz[number][r.group] * r.ratio for r in turn.rotors.values()}
    power = np.abs(scipy.fft.rfft((envelope - envelope.mean()) * np.hanning(envelope.size))) ** 2
    step = rate_hz / envelope.size
    found = []
    for rotor, hz in speed.items():
        gears = tuple(
            gear
            for mesh in turn.meshes
            if mesh.loaded
            for gear, on in ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven))
            if on == rotor
        )
        if gears:
            found.append(
                Guess(parts=gears, fault="broken or damaged tooth", score=_over(power, step, hz))
            )
    for bearing, element, rate in _rolling(machine, speed):
        score = _over(power, step, rate, slack=0.02)
        found.append(Guess(parts=(bearing,), fault=ELEMENTS[element], score=score))
    found = [guess for guess in found if guess.score > ENOUGH_OVER_FLOOR]
    return sorted(found, key=lambda guess: -guess.score)


def _spikiest(take: Take) -> tuple[float, Hertz, float]:
    """Kurtosis, envelope and its rate of the spikiest octave of a take."""
    samples, rate_hz = take.recording.channel(0), take.recording.rate_hz
    lines, step = scipy.fft.rfft(samples), rate_hz / samples.size
    found = []
    for low in (500.0, 1000.0, 2000.0, 4000.0):
        first, last = int(low / step), min(int(2 * low / step), lines.size)
        if last - first < 64:
            continue
        analytic = scipy.fft.ifft(lines[first:last].astype(np.complex128))
        squared = np.abs(analytic) ** 2
        kurtosis = float(np.mean(squared**2) / np.mean(squared) ** 2)
        found.append((kurtosis, squared, (last - first) * step))
    return max(found, key=lambda one: one[0])


def _over(power: Hertz, step: float, hz: float, slack: float = 0.0) -> float:
    """Mean over the first three multiples of the line's height over the median beside it."""
    heights = []
    for times in (1, 2, 3):
        middle, reach = times * hz / step, max(2.0, slack * times * hz / step)
        line = power[max(1, int(middle - reach)) : int(middle + reach) + 2]
        wide = power[max(1, int(middle - 60)) : int(middle + 60)]
        if line.size and wide.size:
            heights.append(np.sqrt(line.max() / max(float(np.median(wide)), 1e-30)))
    return float(np.mean(heights)) if heights else 0.0
