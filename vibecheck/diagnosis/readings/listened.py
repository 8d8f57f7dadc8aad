"""Everything measured of a sweep, before anyone is suspected."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TypeVar

from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.readings.belt_throbs import BeltThrob, belt_throbs, with_belts
from vibecheck.diagnosis.readings.belts import BeltScore, score_belts
from vibecheck.diagnosis.readings.fixed_tones import FixedTone, fixed_tones
from vibecheck.diagnosis.readings.floating import apart_from_belts, floating_ratios, guessed_ratios
from vibecheck.diagnosis.readings.heard import Heard, heard
from vibecheck.diagnosis.readings.knock_readings import KnockReadings, knock_readings
from vibecheck.diagnosis.readings.lines import (
    LineSpectrum,
    TurnLines,
    coupled_rotors,
    line_spectrum,
    turn_lines,
)
from vibecheck.diagnosis.readings.rattles import rattles
from vibecheck.diagnosis.readings.rolling import RollingScore, score_rolling
from vibecheck.diagnosis.readings.rolling_fields import rolling_fields
from vibecheck.diagnosis.readings.shared_turns import with_shared
from vibecheck.diagnosis.ready import Ready, made_ready
from vibecheck.diagnosis.speeds.counted_by_ear import EarCount, counted_by_ear
from vibecheck.diagnosis.speeds.fit import fit_speeds
from vibecheck.diagnosis.speeds.found import SweepSpeeds
from vibecheck.diagnosis.speeds.table_doubts import Doubt, set_aside, table_doubts
from vibecheck.machine.parts import Machine
from vibecheck.machine.train import Turning
from vibecheck.machine.turning import turning
from vibecheck.recording import Take

Progress = Callable[[str, float], None]
CORES = 2

Given = TypeVar("Given")
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listened:
    """A sweep as heard.

    ``takes`` holds the takes whose speed was found, in the order they were given; ``numbers`` their
    places among all takes; ``spectra`` and ``turns`` run alongside ``takes``.
    ``counted`` are gears whose teeth the table does not give and the sound does: ``machine`` and
    ``turnings`` have them in. ``fixed`` are tones that no lever moves; ``cut`` those of the takes
    under cut alone, where others were made in air. ``doubts`` are pairs of the table that the takes
    contradict; takes that use them are left out.
    """

    machine: Machine
    ready: tuple[Ready, ...]
    speeds: SweepSpeeds
    takes: tuple[Heard, ...]
    numbers: tuple[int, ...]
    spectra: tuple[LineSpectrum, ...]
    turns: tuple[Mapping[str, TurnLines], ...]
    knocks: KnockReadings
    rolling: tuple[RollingScore, ...]
    belts: tuple[BeltScore, ...]
    throbs: tuple[BeltThrob, ...]
    fixed: tuple[FixedTone, ...]
    cut: tuple[FixedTone, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    counted: tuple[EarCount, ...] = ()
    turnings: Mapping[str, Turning] = field(default_factory=dict)


def listen(
    machine: Machine,
    turnings: Mapping[str, Turning],
    takes: Sequence[Take],
    progress: Progress,
) -> Listened:
    """Measure all takes of one sweep."""
    progress("reading the takes", 0.0)
    ready = tuple(_side_by_side(made_ready, takes))
    progress("finding the speeds", 0.1)
    speeds = fit_speeds(turnings, ready)
    machine, counted = counted_by_ear(machine, ready, speeds)
    if counted:
        turnings = {place.label: turning(machine, place) for place in machine.positions}
        speeds = fit_speeds(turnings, ready)
    doubts = table_doubts(machine, turnings, ready, speeds)
    speeds = set_aside(speeds, ready, doubts)
    progress("laying them on shaft angle", 0.35)
    maybe = _side_by_side(lambda pair: heard(*pair), zip(ready, speeds.takes, strict=True))
    known = [(number, take) for number, take in enumerate(maybe) if take is not None]
    found = tuple(take for _, take in known)
    progress("lines and turns", 0.5)
    spectra = tuple(_side_by_side(line_spectrum, found))
    further = floating_ratios(found, spectra)
    found = tuple(replace(take, floating=more) for take, more in zip(found, further, strict=True))
    found = _with_guesses(found)
    throbs = belt_throbs(found)
    rates = with_belts(found, throbs)
    found = tuple(replace(take, belts=of) for take, of in zip(found, rates, strict=True))
    further = apart_from_belts(found)
    found = tuple(replace(take, floating=of) for take, of in zip(found, further, strict=True))
    found = _with_guesses(found)
    progress("knocks", 0.6)
    knocks = knock_readings(found)
    progress("bearings", 0.75)
    bearings = machine.bearings
    fields = rolling_fields(found, bearings)
    rolling = score_rolling(found, bearings, fields) if bearings else []
    progress("belts and fixed tones", 0.92)
    return Listened(
        machine=machine,
        ready=ready,
        speeds=speeds,
        takes=found,
        numbers=tuple(number for number, _ in known),
        spectra=spectra,
        turns=_turns(found, spectra, fields),
        knocks=knocks,
        rolling=tuple(rolling),
        belts=tuple(score_belts(found, spectra)),
        throbs=tuple(throbs),
        fixed=tuple(fixed_tones(ready, maybe)),
        cut=tuple(_cut_tones(ready, maybe)),
        doubts=doubts,
        counted=counted,
        turnings=turnings,
    )


def portion(progress: Progress, low: float, high: float) -> Progress:
    """Progress of a part of the work, from one share of all of it to another."""
    return lambda what, share: progress(what, low + (high - low) * share)


def _turns(
    takes: Sequence[Heard],
    spectra: Sequence[LineSpectrum],
    fields: Sequence[Mapping[str, Field]],
) -> tuple[Mapping[str, TurnLines], ...]:
    """Tones of every rotor once, twice and half times a turn, one mapping a take."""
    coupled = coupled_rotors(takes)
    apart = [
        {
            name: turn_lines(take, spectrum, name, rattle=loud, coupled=coupled[name])
            for name, loud in rattling.items()
        }
        for take, spectrum, rattling in zip(takes, spectra, rattles(takes, fields), strict=True)
    ]
    return tuple(with_shared(takes, spectra, apart, coupled))


def _with_guesses(takes: Sequence[Heard]) -> tuple[Heard, ...]:
    guesses = guessed_ratios(takes)
    return tuple(replace(take, guessed=of) for take, of in zip(takes, guesses, strict=True))


def _cut_tones(ready: Sequence[Ready], found: Sequence[Heard | None]) -> list[FixedTone]:
    """Tones that no lever moves in the takes under cut; none where all or no takes are."""
    cut = [number for number, take in enumerate(ready) if take.take.kind == "cutting"]
    if len(cut) == len(ready):
        return []
    tones = fixed_tones([ready[n] for n in cut], [found[n] for n in cut])
    return [replace(tone, takes=tuple(cut[n] for n in tone.takes)) for tone in tones]


def _side_by_side(make: Callable[[Given], Made], things: Iterable[Given]) -> list[Made]:
    """Both cores at once: transforms let go of the interpreter while they run."""
    with ThreadPoolExecutor(CORES) as pool:
        return list(pool.map(make, things))
