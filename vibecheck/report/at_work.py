"""Which parts of a machine have anything to do at some position of its chart."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from vibecheck.machine.parts import Machine
from vibecheck.machine.turning import sweep


@dataclass(frozen=True, slots=True, kw_only=True)
class AtWork:
    """Names of what turns or meets somewhere on the chart."""

    rotors: frozenset[str]
    pairs: frozenset[str]
    gears: frozenset[str]


def at_work(machine: Machine, positions: Collection[str | None] | None = None) -> AtWork:
    """Everything between motor and spindle; a feed train that no position drives is left out.

    Parameters
    ----------
    positions : collection of str, optional
        Only at these lever positions; at all of the chart without it.
    """
    every = [t for t in sweep(machine) if positions is None or t.label in positions]
    meshes = [work.mesh for turning in every for work in turning.meshes]
    return AtWork(
        rotors=frozenset(name for turning in every for name in turning.rotors),
        pairs=frozenset(mesh.name for mesh in meshes),
        gears=frozenset(name for mesh in meshes for name in (mesh.driver, mesh.driven)),
    )
