"""Teeth nobody counted: the chart leaves a few counts possible, and the sound tells which it is.

What a pair with one unknown gear turns into is pinned by everything behind it: the right count lays
the tooth tones of all pairs at a position on one comb, a wrong one does not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.followed import fit_against
from vibecheck.diagnosis.speeds.found import SweepSpeeds
from vibecheck.diagnosis.speeds.track import Frames, short_spectra
from vibecheck.machine.missing_teeth import possible_teeth, with_teeth
from vibecheck.machine.parts import Machine, Mesh
from vibecheck.machine.turning import turning

MOST_TRIED, MOST_TAKES = 9, 4
"""Counts tried, beyond which the chart says too little; and takes each is held against."""
SURE, LEAD = 5.0, 4.0
"""Standard deviations over the decoys that takes must reach (median) with a count that is believed,
and the lead, in mean summed log power, over the next best count."""
MOST_OF_THEM = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class EarCount:
    """A gear of unknown teeth, counted by ear; ``takes`` is how many takes say so."""

    gear: str
    teeth: int
    takes: int


def counted_by_ear(
    machine: Machine, takes: Sequence[Ready], speeds: SweepSpeeds
) -> tuple[Machine, tuple[EarCount, ...]]:
    """The machine with every unknown count that chart and sound together tell.

    Parameters
    ----------
    machine : Machine
    takes : sequence of Ready
    speeds : SweepSpeeds
        What was found with the table as it is: the common scale is taken from there.

    Returns
    -------
    Machine
        With the counts found put in; itself when there are none.
    tuple of EarCount
    """
    found: list[EarCount] = []
    if speeds.scale_sureness <= 0.0:
        return machine, ()
    frames: dict[int, Frames] = {}
    while True:
        made = _first(_counts(machine, takes, speeds.scale, frames))
        if made is None:
            return machine, tuple(found)
        found.append(made)
        machine = with_teeth(machine, made.gear, made.teeth)


def _first(counts: Iterable[EarCount | None]) -> EarCount | None:
    return next((count for count in counts if count is not None), None)


def _counts(
    machine: Machine, takes: Sequence[Ready], scale: float, frames: dict[int, Frames]
) -> Iterable[EarCount | None]:
    """What is found of each pair in which one count is missing; lazily, one after the other."""
    for mesh in machine.meshes:
        gear = _uncounted(machine, mesh)
        if gear is None:
            continue
        trials = {z: with_teeth(machine, gear, z) for z in possible_teeth(machine, gear)}
        if 0 < len(trials) <= MOST_TRIED:
            yield _told(gear, mesh, trials, takes, scale, frames)


def _uncounted(machine: Machine, mesh: Mesh) -> str | None:
    """The one gear of a pair whose teeth are not known."""
    names = [n for n in (mesh.driver, mesh.driven) if machine.gear(n).teeth.value is None]
    return names[0] if len(names) == 1 else None


def _told(
    gear: str,
    mesh: Mesh,
    trials: Mapping[int, Machine],
    takes: Sequence[Ready],
    scale: float,
    frames: dict[int, Frames],
) -> EarCount | None:
    """The count whose takes fit clearly best, if one does."""
    some = next(iter(trials.values()))
    numbers = [n for n, take in enumerate(takes) if _rests_on(some, mesh, take)]
    if not numbers:
        return None
    places = np.linspace(0, len(numbers) - 1, MOST_TAKES).round().astype(int)
    numbers = [numbers[k] for k in sorted(set(places.tolist()))]
    sure, support = {}, {}
    for teeth, machine in trials.items():
        fits = np.array([_fit(takes[n], n, machine, scale, frames) for n in numbers])
        sure[teeth], support[teeth] = float(np.median(fits[:, 0])), fits[:, 1]
    best = max(support, key=lambda z: float(support[z].mean()))
    others = [each for teeth, each in support.items() if teeth != best]
    beaten = all(
        (support[best] - other).mean() >= LEAD and np.mean(support[best] > other) >= MOST_OF_THEM
        for other in others
    )
    if sure[best] < SURE or not beaten:
        return None
    return EarCount(gear=gear, teeth=best, takes=len(numbers))


def _rests_on(machine: Machine, mesh: Mesh, take: Ready) -> bool:
    """Whether a take was made where the pair drives and every other pair at work is counted."""
    label = take.take.position
    if label is None or all(place.label != label for place in machine.positions):
        return False
    if take.take.kind != "idle":
        return False
    at_work = [work for work in turning(machine, machine.position(label)).meshes if work.loaded]
    counted = all(work.driver_teeth and work.driven_teeth for work in at_work)
    return counted and any(work.name == mesh.name for work in at_work) and len(at_work) > 1


def _fit(
    take: Ready, number: int, machine: Machine, scale: float, frames: dict[int, Frames]
) -> tuple[float, float]:
    if number not in frames:
        frames[number] = short_spectra(take.slow, take.slow_hz, machine.supply.mains_hz)
    here = turning(machine, machine.position(str(take.take.position)))
    return fit_against(take, frames[number], here, scale)
