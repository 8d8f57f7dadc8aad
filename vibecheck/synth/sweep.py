"""A whole sweep of takes from one invented machine, and the truth about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from vibecheck.machine.parts import Machine, Position
from vibecheck.recording import Take, TakeKind
from vibecheck.synth.conditions import Conditions, another_take, random_conditions
from vibecheck.synth.faults import PlantedFault
from vibecheck.synth.individual import Individual
from vibecheck.synth.sound import rendered


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeTruth:
    """What truly turned in one take: mean speed of every rigid group and rotor, turns a second."""

    position: str
    kind: TakeKind
    group_hz: Mapping[str, float]
    rotor_hz: Mapping[str, float]
    conditions: Conditions


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What was planted, and how everything turned.

    Attributes
    ----------
    machine : Machine
        The table the takes were made from.
    individual : Individual
        The machine's hidden traits.
    faults : tuple of PlantedFault
    conditions : Conditions
        Of the session; each take has its own beside.
    takes : tuple of TakeTruth
        In the order of the takes.
    """

    machine: Machine
    individual: Individual
    faults: tuple[PlantedFault, ...]
    conditions: Conditions
    takes: tuple[TakeTruth, ...]


def random_individual(rng: np.random.Generator, *, loud: bool | None = None) -> Individual:
    """Some machine of its kind; about one in six is loud without being ill."""
    loud = bool(rng.random() < 0.16) if loud is None else loud
    return Individual(
        seed=int(rng.integers(1 << 31)),
        loudness=float(rng.uniform(2.5, 5) if loud else rng.lognormal(0, 0.25)),
        roughness=float(rng.lognormal(0.0, 0.3)),
    )


def record_sweep(
    machine: Machine,
    faults: Sequence[PlantedFault] = (),
    *,
    rng: np.random.Generator,
    conditions: Conditions | None = None,
    individual: Individual | None = None,
    positions: Sequence[Position] | None = None,
    seconds: float | tuple[float, float] = (10.0, 16.0),
    rate_hz: float = 16000.0,
    special: Sequence[TakeKind] = (),
    kind: TakeKind = "idle",
) -> tuple[list[Take], Truth]:
    """One take at every lever position, then the special takes asked for.

    Parameters
    ----------
    machine : Machine
    faults : sequence of PlantedFault
    rng : Generator
    conditions : Conditions, optional
        Of the session; each take differs a little. Drawn when not given.
    individual : Individual, optional
    positions : sequence of Position, optional
        In the order they are recorded; the whole chart when not given.
    seconds : float or (float, float)
        Length of a take, or the range it is drawn from.
    rate_hz : float
    special : sequence of str
        Kinds of further takes, at the middle position.
    kind : str
        Of the takes of the sweep itself ("idle", or "cutting" for takes under load).

    Returns
    -------
    takes : list of Take
    truth : Truth
    """
    individual = individual or random_individual(rng)
    session = conditions or random_conditions(rng)
    where = tuple(positions) if positions is not None else machine.positions
    asked: list[tuple[Position, TakeKind]] = [(position, kind) for position in where]
    asked += [(where[len(where) // 2], one) for one in special]
    takes, truths = [], []
    for position, one in asked:
        own = another_take(session, rng)
        length = seconds if isinstance(seconds, float | int) else float(rng.uniform(*seconds))
        length = float(np.round(length * 4) / 4)
        made = rendered(
            machine,
            position,
            faults=faults,
            conditions=own,
            rng=rng,
            seconds=length,
            rate_hz=rate_hz,
            individual=individual,
            kind=one,
        )
        label = None if one in ("background", "tap", "motor alone") else position.label
        takes.append(Take(recording=made.recording, position=label, kind=one))
        ran = made.motion
        truths.append(
            TakeTruth(
                position=position.label,
                kind=one,
                group_hz={g: ran.speed_hz(g) for g in ran.group_turns} if ran else {},
                rotor_hz={r: ran.speed_hz(r) for r in ran.turning.rotors} if ran else {},
                conditions=own,
            )
        )
    truth = Truth(
        machine=machine,
        individual=individual,
        faults=tuple(faults),
        conditions=session,
        takes=tuple(truths),
    )
    return takes, truth
