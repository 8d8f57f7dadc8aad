"""Does something knock once a turn? Judged turn against turn, and tooth against tooth.

A turn of the rotor is cut into parts; each part's loudness is averaged over all turns. A broken
tooth makes one part stand out. Two things must be beaten: the scatter from turn to turn (chance),
and the scatter from part to part (healthy teeth are never all alike).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from vibecheck.diagnosis.readings.heard import BandEnvelope, Heard, turn_profiles

Floats = NDArray[np.float64]

PART_S = 0.004
"""About how long a blow rings in a casting; parts of a turn are made about this long."""
FEWEST_TURNS = 6
PLAIN_LEAD, PLAIN_HEIGHT = 1.5, 0.6
"""Lead, and height in a single turn (natural logarithm of power), from which single turns are
compared."""
WANDERS, UNEVEN = 0.015, 1.6
"""A tooth is struck at one angle, and alike, at every turn: its blows were not seen to wander
farther, nor to be less even than the other parts of the turn by more. What is loose does both."""
NORMAL = 1.4826
"""Standard deviation over median distance from the middle."""
REACH = 10
"""A blow is looked for in single turns within this part of a turn, either way."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Knock:
    """How one part of a rotor's turn stands out.

    Attributes
    ----------
    height : float
        Excess loudness of the loudest part, natural logarithm of power.
    against_parts : float
        The same in standard deviations of the other parts.
    against_turns : float
        The same in standard errors over the turns.
    log10_chance : float
        Chance that healthy scatter or noise does as well, bands and parts counted; logarithm.
    runner_up : float
        Height of the next loudest part that is not beside it.
    where : float
        Place in the turn, 0 to 1.
    low_hz, high_hz : float
        Band where it stands out most.
    turns : int
    profile : ndarray, shape (parts,)
        Loudness over the turn in that band, logarithm.
    lead : float
        How far the loudest part leads the runner-up, in the larger of the two scatters; mean over
        all bands, because a blow rings through many and the liveliness of one band does not.
    in_a_turn : float
        Height of the blow over the rest in the middle one of single turns.
    wander : float
        Scatter of the blow's place from turn to turn, in turns.
    unevenness : float
        Scatter of its loudness from turn to turn over that of the other parts of the turn.
    """

    height: float
    against_parts: float
    against_turns: float
    log10_chance: float
    runner_up: float
    where: float
    low_hz: float
    high_hz: float
    turns: int
    profile: Floats
    lead: float = 0.0
    in_a_turn: float = 0.0
    wander: float = 0.0
    unevenness: float = 1.0

    @property
    def plain(self) -> bool:
        """Whether it stands out enough for single turns to be compared."""
        return self.lead >= PLAIN_LEAD and self.in_a_turn >= PLAIN_HEIGHT

    @property
    def unsteady(self) -> bool:
        """Whether it strikes as it likes: now here, now there, or now hard, now hardly."""
        return self.wander >= WANDERS or self.unevenness >= UNEVEN


def parts_per_turn(rotor_hz: float) -> int:
    """Into how many parts a turn is cut: 4 ms each, 24 at least and 192 at most.

    >>> parts_per_turn(10.0), parts_per_turn(0.5), parts_per_turn(50.0)
    (25, 192, 24)
    """
    return int(np.clip(round(1.0 / (rotor_hz * PART_S)), 24, 192))


def knock(take: Heard, ratio: float) -> Knock | None:
    """The strongest once-a-turn knock of a rotor over all bands; None with too few turns.

    Parameters
    ----------
    take : Heard
    ratio : float
        Rotor speed over the track's.
    """
    parts = parts_per_turn(ratio * take.base_hz)
    logs = []
    for band in take.envelopes:
        if band.rate_hz < 1.5 * parts * ratio * take.base_hz and band.low_hz > 0:
            continue
        logs.append((band, _logged(turn_profiles(band, take.track, ratio, parts))))
    if not logs or len(logs[0][1]) < FEWEST_TURNS:
        return None
    tries: list[tuple[BandEnvelope, Floats]] = list(logs)
    least = min(len(log) for _, log in logs)
    tries.append((logs[-1][0], np.mean([log[:least] for _, log in logs], axis=0)))
    found = [_stands_out(band, log, len(tries)) for band, log in tries]
    index = min(range(len(found)), key=lambda k: found[k].log10_chance)
    lead = float(np.mean([_lead(each) for each in found]))
    return _compared(replace(found[index], lead=lead), tries[index][1])


def _compared(found: Knock, logged: Floats) -> Knock:
    """A knock with its single turns held against each other."""
    parts = logged.shape[1]
    top, reach = int(found.where * parts), max(2, parts // REACH)
    about = np.take(logged, range(top - reach, top + reach + 1), axis=1, mode="wrap")
    places = about.argmax(axis=1)
    wander = NORMAL * float(np.median(np.abs(places - np.median(places)))) / parts
    near = np.maximum.reduce([np.roll(logged, way, axis=1) for way in (-1, 0, 1)])
    scatter, usual = near.std(axis=0), np.median(near, axis=0)
    away = np.abs((np.arange(parts) - top + parts // 2) % parts - parts // 2) > 3
    return replace(
        found,
        in_a_turn=float(usual[top] - np.median(usual[away])),
        wander=wander,
        unevenness=float(scatter[top] / max(float(np.median(scatter[away])), 1e-6)),
    )


def _lead(found: Knock) -> float:
    """How far the loudest part leads the next, in the larger of the two scatters."""
    weakest = min(found.against_parts, found.against_turns)
    return weakest * max(0.0, 1.0 - found.runner_up / max(found.height, 1e-6))


def _logged(turns: NDArray[np.float32]) -> Floats:
    logged = np.log(turns.astype(np.float64) + 1e-3)
    return np.asarray(logged - np.median(logged, axis=1, keepdims=True))


def _stands_out(band: BandEnvelope, logged: Floats, tries: int) -> Knock:
    turns, parts = logged.shape
    mean, error = _trimmed(logged)
    rest = mean - _slow_part(mean)
    top = int(rest.argmax())
    others = np.delete(rest, [(top + k) % parts for k in (-1, 0, 1, 2)])
    spread = NORMAL * float(np.median(np.abs(others - np.median(others)))) + 1e-6
    height = float(rest[top] - np.median(others))
    against_parts, against_turns = height / spread, height / float(error[top])
    weakest = min(against_parts, against_turns)
    log10_p = float(log_ndtr(-weakest)) / np.log(10.0) + np.log10(parts * tries)
    return Knock(
        height=height,
        against_parts=against_parts,
        against_turns=against_turns,
        log10_chance=min(0.0, log10_p),
        runner_up=_runner_up(rest, top),
        where=(top + 0.5) / parts,
        low_hz=band.low_hz,
        high_hz=band.high_hz,
        turns=turns,
        profile=rest,
    )


def _runner_up(rest: Floats, top: int) -> float:
    away = np.abs((np.arange(rest.size) - top + rest.size // 2) % rest.size - rest.size // 2)
    return float(rest[away > max(2, rest.size // 24)].max() - np.median(rest))


def _trimmed(logged: Floats) -> tuple[Floats, Floats]:
    """Mean over turns with the loudest and quietest tenth left out, and its standard error."""
    turns = len(logged)
    cut = turns // 10
    ordered = np.sort(logged, axis=0)[cut : turns - cut]
    mean = ordered.mean(axis=0)
    held = np.clip(logged, ordered[0], ordered[-1])
    error = held.std(axis=0, ddof=1) * np.sqrt(turns) / max(turns - 2 * cut, 1)
    return mean, np.maximum(error, 1e-6)


def _slow_part(profile: Floats, harmonics: int = 2) -> Floats:
    """Once- and twice-a-turn swell (eccentric gears), fitted with the loudest parts held down."""
    parts = profile.size
    angle = 2 * np.pi * np.arange(parts) / parts
    basis = np.stack(
        [np.ones(parts)]
        + [f(k * angle) for k in range(1, harmonics + 1) for f in (np.cos, np.sin)],
        axis=1,
    )
    held = profile.copy()
    for _ in range(3):
        fit = basis @ np.linalg.lstsq(basis, held, rcond=None)[0]
        rest = profile - fit
        spread = NORMAL * float(np.median(np.abs(rest))) + 1e-9
        held = fit + np.clip(rest, -2.5 * spread, 2.5 * spread)
    return np.asarray(fit)
