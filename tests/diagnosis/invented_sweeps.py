"""Sweeps with known truth for the comparison: our own plain sums of tones and noise.

Nothing of the package's synthesis is used, so that the two cannot share a mistake.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.machine.parts import (
    Belt,
    Gear,
    Known,
    LeverGroup,
    Machine,
    Mesh,
    Motor,
    Position,
    Supply,
)
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Recording, Take

RATE_HZ = 8000.0


def eight_speed_lathe() -> Machine:
    """Motor, belt, three sliding groups: A 36/36 30/42, B 38/37 25/50, C 60/40 27/73."""
    pairs = (
        ("A1", 36, 36, "I", "II"),
        ("A2", 30, 42, "I", "II"),
        ("B1", 38, 37, "II", "III"),
        ("B2", 25, 50, "II", "III"),
        ("CH", 60, 40, "III", "spindle"),
        ("CL", 27, 73, "III", "spindle"),
    )
    gears, meshes = [], []
    for lever, driver, driven, one, other in pairs:
        first, second = f"{driver}T on {one} ({lever})", f"{driven}T on {other} ({lever})"
        gears += [
            Gear(name=first, shaft=one, teeth=Known.exactly(driver)),
            Gear(name=second, shaft=other, teeth=Known.exactly(driven)),
        ]
        when = {lever[0]: (lever[1],)}
        meshes.append(Mesh(driver=first, driven=second, when=when, style="sliding"))
    settings = [{"A": a, "B": b, "C": c} for c in "LH" for b in "21" for a in "21"]
    return Machine(
        name="eight-speed lathe",
        supply=Supply(hz=Known.exactly(60), kind="single-phase", mains_hz=60.0),
        motor=Motor(poles=Known.exactly(4), plate_rpm=Known.exactly(1725)),
        shafts=("motor", "I", "II", "III", "spindle"),
        gears=tuple(gears),
        meshes=tuple(meshes),
        belts=(
            Belt(
                name="V-belt",
                driver="motor",
                driven="I",
                driver_mm=Known.exactly(85),
                driven_mm=Known.exactly(170),
                length_mm=Known.exactly(1100),
                slip=Known.between(0.005, 0.025),
            ),
        ),
        groups=(
            LeverGroup(name="A", settings=("1", "2")),
            LeverGroup(name="B", settings=("1", "2")),
            LeverGroup(name="C", settings=("H", "L")),
        ),
        positions=tuple(Position(levers=levers) for levers in settings),
    )


@dataclass(frozen=True, kw_only=True)
class Sound:
    """What one take is made of; changes are decibels on an ordinary machine.

    ``line_db`` changes "spindle 1x" and the like; ``sidebands_db`` maps a pair's start ("25T") to
    a change of its first sidebands; ``knock`` is the height of a blow once a turn of the rotors
    named; ``seat_db`` is the take's own gain and ``ripple_db`` how far re-seating bends it over
    frequency; ``noise_db`` is on the noise.
    """

    line_db: Mapping[str, float] = field(default_factory=dict)
    sidebands_db: Mapping[str, float] = field(default_factory=dict)
    knock: Mapping[str, float] = field(default_factory=dict)
    seat_db: float = 0.0
    ripple_db: float = 0.4
    noise_db: float = 0.0
    speed: float = 1.0
    clipped: bool = False
    automatic_gain: bool = False


def heard(
    machine: Machine,
    label: str,
    sound: Sound,
    rng: np.random.Generator,
    *,
    seconds: float = 20.0,
    name: str = "",
    conditions: Mapping[str, str] | None = None,
) -> TakeAtSpeed:
    """A take of one lever position with its true speeds."""
    at = turning(machine, machine.position(label))
    speeds = {}
    for group in at.groups.values():
        assert group.nominal_hz is not None
        speeds[group.name] = group.nominal_hz * sound.speed * (1 + 1e-3 * rng.standard_normal())
    samples = _samples(at, speeds, sound, rng, int(seconds * RATE_HZ))
    recording = Recording(
        samples=samples, rate_hz=RATE_HZ, name=name or f"{label} take", quantity="acceleration"
    )
    take = Take(recording=recording, position=label, conditions=dict(conditions or {}))
    return TakeAtSpeed(take=take, speeds_hz=speeds)


def _samples(at, speeds, sound, rng, frames):  # type: ignore[no-untyped-def]
    time = np.arange(frames) / RATE_HZ
    total = 0.02 * 10 ** (sound.noise_db / 20) * rng.standard_normal(frames)

    def gain(name: str) -> float:
        return float(10 ** (sound.line_db.get(name, 0.0) / 20))

    def hz(rotor: str) -> float:
        turn = at.rotors[rotor]
        return float(speeds[turn.group] * turn.ratio)

    for rotor in at.rotors:
        phase = rng.uniform(0, 2 * np.pi)
        total += 0.02 * gain(f"{rotor} 1x") * np.cos(2 * np.pi * hz(rotor) * time + phase)
    for mesh in at.meshes:
        middle = speeds[mesh.group] * mesh.order
        pair = mesh.name.split(" ")[0]
        depth = 0.3 * 10 ** (sound.sidebands_db.get(pair, 0.0) / 20)
        swell = np.ones(frames)
        for rotor in (mesh.driver, mesh.driven):
            phase = rng.uniform(0, 2 * np.pi)
            swell *= 1 + depth * np.cos(2 * np.pi * hz(rotor) * time + phase)
        start = rng.uniform(0, 2 * np.pi)
        for harmonic, height in ((1, 0.1), (2, 0.05), (3, 0.03)):
            whine = np.cos(harmonic * (2 * np.pi * middle * time + start) + harmonic**2)
            total += height * swell * whine
    for rotor, height in sound.knock.items():
        _knocks(total, hz(rotor), height, rng)
    total = _reseated(total, sound, rng)
    if sound.automatic_gain:
        total = following_gain(total)
    if sound.clipped:
        top = 2.0 * float(np.std(total))
        total = np.clip(total, -top, top)
    return total.astype(np.float32)


def _reseated(total, sound, rng):  # type: ignore[no-untyped-def]
    """Another gain, and another response in every 100 Hz or so."""
    lines = np.fft.rfft(total)
    knots = np.arange(0, RATE_HZ / 2 + 100, 100)
    bend = np.interp(
        np.linspace(0, RATE_HZ / 2, lines.size), knots, rng.normal(0, sound.ripple_db, knots.size)
    )
    return np.fft.irfft(lines * 10 ** ((sound.seat_db + bend) / 20), total.size)


def _knocks(total, rate_hz, height, rng):  # type: ignore[no-untyped-def]
    """A ringing of 870 Hz, started once a turn."""
    time = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    ring = height * np.exp(-time / 0.006) * np.sin(2 * np.pi * 870 * time)
    starts = np.arange(rng.uniform(0, 1 / rate_hz), total.size / RATE_HZ - 0.06, 1 / rate_hz)
    for start in (starts * RATE_HZ).astype(int):
        total[start : start + ring.size] += ring


def following_gain(samples: np.ndarray, *, target: float = 0.25) -> np.ndarray:
    """An automatic gain: down within 10 ms, up in about a second, towards a fixed level."""
    block = int(0.01 * RATE_HZ)
    level = np.sqrt(
        np.mean(samples[: samples.size // block * block].reshape(-1, block) ** 2, axis=1)
    )
    held, now = np.empty(level.size), float(level.mean())
    for k, value in enumerate(level):
        now += (value - now) * (0.5 if value > now else 0.01)
        held[k] = now
    places = (np.arange(level.size) + 0.5) * block
    return samples * np.interp(np.arange(samples.size), places, target / (held + 1e-9))


def swaying_turns(
    hz: float, rng: np.random.Generator, *, rate_hz: float, seconds: float
) -> np.ndarray:
    """Turns since the start of a shaft that sways a little about its speed, and stands a little
    beside it."""
    times = np.arange(int(rate_hz * seconds)) / rate_hz
    sway = 1.0 + 8e-4 * np.sin(2 * np.pi * 0.09 * times + rng.uniform(0, 6))
    return np.asarray(np.cumsum(hz * (1 + 0.002 * rng.uniform(-1, 1)) * sway) / rate_hz)


def tooth_tones(where: Turning, shaft: str, turns: np.ndarray) -> np.ndarray:
    """Tones of all pairs that carry the load, by the turns of one shaft."""
    base_hz = where.nominal_hz(shaft)
    assert base_hz
    total = np.zeros(turns.size)
    for mesh in where.meshes:
        if mesh.loaded and mesh.order is not None:
            angle = turns * mesh.order * where.groups[mesh.group].nominal_hz / base_hz
            for k, level in ((1, 0.6), (2, 0.4), (3, 0.2)):
                total += level * np.cos(2 * np.pi * k * angle + k)
    return total


def ringing(struck: np.ndarray, *, rate_hz: float, fades: float) -> np.ndarray:
    """What blows sound like in a casting: a ring of 3100 Hz that ``fades`` over so many samples."""
    span = np.arange(120)
    ring = np.exp(-span / fades) * np.sin(2 * np.pi * 3100.0 / rate_hz * span)
    return np.asarray(np.convolve(struck, ring)[: struck.size])


def take_of(label: str, sound: np.ndarray, *, rate_hz: float) -> Take:
    """A sound as the take of one lever position."""
    samples = (0.05 * sound[None, :]).astype(np.float32)
    return Take(recording=Recording(name=label, samples=samples, rate_hz=rate_hz), position=label)
