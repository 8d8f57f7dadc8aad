"""Teeth nobody counted: the chart leaves a few counts possible, and the sound tells which it is.

What a pair with one unknown gear turns into is pinned by everything behind it: the right count lays
the tooth tones of all pairs at a position on one comb, a wrong one does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.speeds.found import SweepSpeeds
from vibecheck.diagnosis.speeds.trial_fits import TrialFits, some_of
from vibecheck.machine.missing_teeth import Counts, possible_counts, uncounted, with_counts
from vibecheck.machine.parts import Machine, Mesh
from vibecheck.machine.turning import turning
from vibecheck.machine.wrong_numbers import without_chart

MOST_TRIED = 12
"""Counts tried, beyond which the chart says too little."""
SURE, LEAD = 5.0, 4.0
"""Standard deviations over the decoys that takes must reach (median) with a count that is believed,
and the lead, in mean summed log power, over the next best count."""
MOST_OF_THEM = 0.6
FEWEST, ALIKE = 2, 0.03
"""Takes that must tell how fast the machine runs by its table, and how far they may be apart: a
motor labours, but a tooth more or less is three parts in a hundred."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarCount:
    """A pair whose missing counts (gear -> teeth) are told by ear; by how many takes."""

    counts: Counts
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
        What was found with the table as it is: how far from it the machine runs is taken from
        there. A count and the speed of its shaft stand for one another, so that this must be known.

    Returns
    -------
    Machine
        With the counts found put in; itself when there are none.
    tuple of EarCount
    """
    found: list[EarCount] = []
    scale = _table_scale(machine, speeds)
    fits = TrialFits(takes=takes, scale=scale or 1.0)
    while scale is not None:
        each = (_told(machine, mesh, fits) for mesh in machine.meshes)
        made = next((count for count in each if count is not None), None)
        if made is None:
            break
        found.append(made)
        machine = with_counts(machine, made.counts)
    return machine, tuple(found)


def _table_scale(machine: Machine, speeds: SweepSpeeds) -> float | None:
    """Speed over the table's, where the table gives it by itself; a chart's slip is another."""
    bare, scales = without_chart(machine), []
    for speed in speeds.takes:
        if not speed.found or speed.misfiled or speed.turning is None or speed.sureness < SURE:
            continue
        groups = turning(bare, bare.position(speed.turning.label)).groups
        nominal = {name: group.nominal_hz for name, group in groups.items()}
        scales += [t.mean_hz / hz for g, t in speed.tracks.items() if (hz := nominal.get(g))]
    if len(scales) < FEWEST or np.ptp(scales) > ALIKE:
        return None
    return float(np.median(scales))


def _told(machine: Machine, mesh: Mesh, fits: TrialFits) -> EarCount | None:
    """The counts of a pair whose takes fit clearly best, if some do."""
    possible = possible_counts(machine, mesh) if uncounted(machine, mesh) else []
    if not 0 < len(possible) <= MOST_TRIED:
        return None
    trials = [with_counts(machine, counts) for counts in possible]
    numbers = [n for n, take in enumerate(fits.takes) if _rests_on(trials[0], mesh, take)]
    if not numbers:
        return None
    found = np.array([[fits.fit(trial, n) for n in some_of(numbers)] for trial in trials])
    sure, support = np.median(found[:, :, 0], axis=1), found[:, :, 1]
    best = int(support.mean(axis=1).argmax())
    lead = np.delete(support[best] - support, best, axis=0)
    beaten = np.all(lead.mean(axis=1) >= LEAD) and np.all((lead > 0).mean(axis=1) >= MOST_OF_THEM)
    if sure[best] < SURE or not beaten:
        return None
    return EarCount(counts=possible[best], takes=found.shape[1])


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
