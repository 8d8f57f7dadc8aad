"""Sound files for the stories: plain sums of tones, rings and noise written to disk.

Nothing of the package's own synthesis is used, so that the two cannot share a mistake; only the
gear tables are the package's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile

from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning

RATE_HZ = 8000


@dataclass(frozen=True, kw_only=True)
class Strikes:
    """Blows that ring: how often (a turn of ``rotor``), how hard, at what pitch."""

    rotor: str
    order: float = 1.0
    height: float = 0.3
    ring_hz: float = 870.0
    scatter: float = 0.0
    when: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Voice:
    """How one machine sounds, and what is wrong with it.

    ``fixed`` are (hertz, level); ``belt`` the level of the first three multiples of a belt's rate;
    ``mesh`` the level of tooth tones, ``loud`` a factor on it by pair; ``deep`` the depth to which
    a gear's tooth tone swells once a turn; ``scale`` true speeds over the table's, ``uneven`` their
    scatter from take to take.
    """

    seed: int = 1
    scale: float = 1.012
    mesh: float = 0.06
    noise: float = 0.02
    drift: float = 1e-3
    uneven: float = 5e-4
    fixed: Sequence[tuple[float, float]] = ()
    belt: tuple[float, float, float] = (0.0, 0.0, 0.0)
    strikes: Sequence[Strikes] = ()
    deep: Mapping[str, float] = field(default_factory=dict)
    loud: Mapping[str, float] = field(default_factory=dict)


def sound(
    machine: Machine,
    label: str,
    voice: Voice,
    *,
    seconds: float = 10.0,
    take: int = 0,
    rate_hz: int = RATE_HZ,
    alive: np.ndarray | None = None,
) -> tuple[np.ndarray, dict[str, float]]:
    """Samples of one take, and the true mean speed of every rotor, turns a second."""  # fmt: skip
    at = turning(machine, machine.position(label))
    rng = np.random.default_rng([voice.seed, take])
    frames = round(seconds * rate_hz)
    time = np.arange(frames) / rate_hz
    pace = voice.scale * (1 + voice.uneven * rng.standard_normal())
    pace = pace * (1 + voice.drift * (time / seconds - 0.5)) * np.ones(frames)
    if alive is not None:
        pace = pace * alive
    turns = np.cumsum(pace) / rate_hz
    total = np.zeros(frames)
    loud = np.ones(frames) if alive is None else alive
    total += loud * _train(at, voice, turns, rng)
    total += loud * _belts(at, voice, turns)
    for strike in voice.strikes:
        if strike.rotor in at.rotors and at.position.fits(
            {g: (s,) for g, s in strike.when.items()}
        ):
            total += loud * _struck(at, strike, turns, rate_hz, rng)
    for hz, level in voice.fixed:
        total += level * np.sin(2 * np.pi * hz * time + rng.uniform(0, 6))
    total += voice.noise * (0.3 + 0.7 * loud) * _coloured(rng, frames, rate_hz)
    speeds = {name: float(np.mean(pace)) * (at.nominal_hz(name) or 0.0) for name in at.rotors}
    return total, speeds


def _train(at: Turning, voice: Voice, turns: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    total = np.zeros(turns.size)
    for rotor in at.rotors:
        total += 0.004 * np.cos(
            2 * np.pi * (at.nominal_hz(rotor) or 0.0) * turns + rng.uniform(0, 6)
        )
    for mesh in at.meshes:
        if mesh.order is None:
            continue
        own = np.random.default_rng([voice.seed, *map(ord, mesh.name)])
        level = voice.mesh * (1.0 if mesh.loaded else 0.15) * own.uniform(0.5, 1.5)
        level *= voice.loud.get(mesh.name, 1.0)
        swell = np.ones(turns.size)
        for gear, rotor in ((mesh.mesh.driver, mesh.driver), (mesh.mesh.driven, mesh.driven)):
            depth = voice.deep.get(gear, own.uniform(0.05, 0.2))
            hz = at.nominal_hz(rotor) or 0.0
            swell += depth * np.cos(2 * np.pi * hz * turns + own.uniform(0, 6))
        middle = mesh.order * (at.groups[mesh.group].nominal_hz or 0.0)
        for harmonic, height in ((1, 1.0), (2, 0.5), (3, 0.3), (4, 0.15)):
            if harmonic * middle < 0.45 * RATE_HZ:
                total += level * height * swell * np.cos(
                    2 * np.pi * harmonic * middle * turns + own.uniform(0, 6)
                )  # fmt: skip
    return total


def _belts(at: Turning, voice: Voice, turns: np.ndarray) -> np.ndarray:
    total = np.zeros(turns.size)
    for belt in at.belts:
        if belt.order is None:
            continue
        rate = belt.order * (at.nominal_hz(belt.driver) or 0.0)
        for multiple, level in enumerate(voice.belt, start=1):
            wander = 1 + 0.3 * np.sin(2 * np.pi * 0.21 * turns + multiple)
            total += level * wander * np.cos(2 * np.pi * multiple * rate * turns)
    return total


def _struck(
    at: Turning, strike: Strikes, turns: np.ndarray, rate_hz: int, rng: np.random.Generator
) -> np.ndarray:
    rate = strike.order * (at.nominal_hz(strike.rotor) or 0.0)
    count = int(turns[-1] * rate)
    places = (np.arange(count) + rng.uniform(0.1, 0.9)) / rate
    places = places + strike.scatter / rate * rng.standard_normal(count)
    starts = np.interp(places, turns, np.arange(turns.size))
    train = np.zeros(turns.size)
    np.add.at(train, starts.astype(int), rng.uniform(0.8, 1.2, count))
    span = np.arange(int(0.03 * rate_hz)) / rate_hz
    ring = strike.height * np.exp(-span / 0.005) * np.sin(2 * np.pi * strike.ring_hz * span)
    return np.convolve(train, ring)[: turns.size]


def _coloured(rng: np.random.Generator, frames: int, rate_hz: int) -> np.ndarray:
    """Noise that falls with pitch, with two broad swells, as a casting makes it."""
    lines = np.fft.rfft(rng.standard_normal(frames))
    hz = np.fft.rfftfreq(frames, 1 / rate_hz)
    shape = 1 / np.sqrt(1 + (hz / 400) ** 2)
    for middle, width in ((650, 120), (1700, 400)):
        shape = shape + 0.6 * np.exp(-(((hz - middle) / width) ** 2))
    return np.fft.irfft(lines * shape, frames)


def write(folder: Path, name: str, samples: np.ndarray, *, flac: bool = False) -> Path:
    """One take on disk, named by its lever position; 24 bits, no clipping."""
    path = folder / f"{'_'.join(name.split())}.{'flac' if flac else 'wav'}"
    soundfile.write(path, 0.5 * samples, RATE_HZ, subtype="PCM_24")
    return path


def write_sweep(
    folder: Path,
    machine: Machine,
    voice: Voice,
    *,
    labels: Sequence[str] = (),
    seconds: float = 10.0,
    suffix: str = "",
    rpm: bool = False,
    flac: bool = False,
) -> dict[str, dict[str, float]]:
    """A take for every lever position; returns the true speeds by position."""  # fmt: skip
    speeds = {}
    rows = ["file,position,kind,rpm"]
    folder.mkdir(parents=True, exist_ok=True)
    for number, label in enumerate(labels or [p.label for p in machine.positions]):
        samples, speeds[label] = sound(machine, label, voice, seconds=seconds, take=number)
        path = write(folder, f"{label}{suffix}", samples, flac=flac)
        measured = f"{60 * speeds[label][machine.spindle]:.1f}" if rpm else ""
        rows.append(f"{path.name},{label},{suffix.strip() or 'idle'},{measured}")
    if rpm:
        (folder / "takes.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return speeds
