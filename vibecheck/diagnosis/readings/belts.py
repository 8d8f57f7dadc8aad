"""Belts: their own turning rate and its multiples, over the whole sweep."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.chance.added_up import STEP
from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.surprise import MOST_PER_TAKE, TIE, surprise, tail_chance
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum, line_field
from vibecheck.machine.parts import Belt

WINDOW = 0.03
"""Belts stretch, ride up and down their grooves, and slip: their rate is known this well."""
REACH = 0.004
BESIDE = 0.02
CLEAR = 12.0
"""Power over floor at which a multiple counts as heard."""
FIRST, HIGHER = range(1, 5), range(5, 9)
"""A belt's first multiples; those that only a short lump or set makes, passing its pulleys as a
blow (a Fourier series: the shorter the blow, the more multiples)."""
SLOWEST_HZ = 2.0
FAINT = 5.0
"""Power over floor at which one of the higher ones does."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeltScore:
    """One belt over the sweep.

    ``belt`` is its name, or that of its first step; ``steps`` all its names: a belt that is moved
    between steps of its pulleys is one belt. ``level_db`` is the median level of its strongest
    multiple over the same takes' once-a-turn tones of its pulleys; ``hz`` its rate in each take
    (nan where not looked for); ``surprise`` decimal, per take; ``clear`` the share of the takes in
    which at least two of its first four multiples stand clear of the floor; ``higher`` the share in
    which two of the fifth to eighth do; ``of_all_db`` the median level of its strongest multiple
    over all that is heard above 2 Hz.
    """

    belt: str
    log10_chance: float
    hz: NDArray[np.float64]
    surprise: NDArray[np.float64]
    clear: float
    level_db: float
    resolution_hz: float
    higher: float = 0.0
    of_all_db: float = float("nan")
    steps: tuple[str, ...] = ()


def score_belts(takes: Sequence[Heard], spectra: Sequence[LineSpectrum]) -> list[BeltScore]:
    """Listen for every belt of known length at every position where it runs."""
    known = (work.belt for take in takes for work in take.turning.belts if work.order is not None)
    scores = (_score(names, takes, spectra) for names in belt_steps(known))
    return [score for score in scores if score is not None]


def belt_steps(belts: Iterable[Belt]) -> list[tuple[str, ...]]:
    """Names of some belts, all steps of one belt together."""
    found: dict[tuple[object, ...], set[str]] = {}
    for belt in belts:
        found.setdefault(_one_belt(belt), set()).add(belt.name)
    return [tuple(sorted(names)) for names in found.values()]


def _one_belt(belt: Belt) -> tuple[object, ...]:
    """What steps of one belt have in common: a length and two shafts; else its own name."""
    length = belt.length_mm.value
    if length is None or not belt.when:
        return (belt.name,)
    return (belt.driver, belt.driven, belt.toothed, length)


def expected_rate(take: Heard, names: Sequence[str]) -> float | None:
    """Belt rate over the track's speed, by the table."""
    for work in take.turning.belts:
        if work.belt.name not in names or work.order is None:
            continue
        driver = take.turning.nominal_hz(work.driver)
        base = take.turning.groups[take.group].nominal_hz
        if driver and base:
            return work.order * driver / base
    return None


def free_multiples(
    take: Heard, spectrum: LineSpectrum, rate: float, which: Sequence[int] = FIRST
) -> list[float]:
    """Orders of multiples of a belt's rate that no shaft's own tones lie on.

    A shaft that was not heard may be anywhere within reach of where it is expected.
    """
    shafts = [take.expected_ratio(name) for name in take.turning.rotors]
    tones = [
        (k * ratio, max(2.0 / spectrum.turns, k * ratio * reach))
        for ratio, reach in (each for each in shafts if each is not None)
        for k in (1, 2)
    ]
    multiples = [k * rate for k in which]
    return [at for at in multiples if all(abs(at - tone) > apart for tone, apart in tones)]


def _all_heard(spectrum: LineSpectrum) -> float:
    """Mean square of all that is heard above the slowest (Hann: its lines are 1.5 bins wide)."""
    low = int(SLOWEST_HZ / spectrum.base_hz * spectrum.turns)
    return float(spectrum.power[low:].sum()) / 1.5


def _has_higher(take: Heard, spectrum: LineSpectrum, rate: float) -> bool:
    """Whether two of the higher multiples stand out of the floor where no shaft's tone lies."""
    free = free_multiples(take, spectrum, rate, HIGHER)
    return sum(spectrum.tone(place)[1] > FAINT for place in free) >= 2


def _loudest(
    found: float,
    takes: Sequence[Heard],
    spectra: Sequence[LineSpectrum],
    orders: Sequence[float | None],
) -> float:
    """Rate over the expected one at which all multiples together are loudest, near where found.

    The strongest line has no say in whether a belt is there, so that found may sit on the flanks
    of an unsteady one.
    """
    trial = found * np.exp(np.linspace(-BESIDE, BESIDE, 161))
    total = np.zeros(trial.size)
    for take, spectrum, order in zip(takes, spectra, orders, strict=True):
        if order is None:
            continue
        for n, rate in enumerate(trial * order):
            free = free_multiples(take, spectrum, rate)
            total[n] += np.log(sum(spectrum.tone(place)[0] for place in free) + 1e-30)
    return float(trial[total > total.max() - 0.1 * len(takes)].mean())


def _score(
    names: tuple[str, ...], takes: Sequence[Heard], spectra: Sequence[LineSpectrum]
) -> BeltScore | None:
    trial = np.exp(np.arange(-0.28, 0.28, STEP * 4))
    inside = np.abs(np.log(trial)) <= WINDOW
    free = np.abs(np.log(trial)) > 1.4 * WINDOW
    rows: list[NDArray[np.float64] | None] = []
    orders: list[float | None] = []
    for take, spectrum in zip(takes, spectra, strict=True):
        order = expected_rate(take, names)
        orders.append(order)
        if order is None:
            rows.append(None)
            continue
        family = Family(name="belt", order=order, slip_low=-WINDOW, slip_high=WINDOW, harmonics=4)
        field = line_field(take, spectrum, order, multiples=6)
        rows.append(surprise(field, family, trial * order, free)[0])
    known = [row for row in rows if row is not None]
    if not known:
        return None
    reach = 2 * int(REACH / (STEP * 4)) + 1
    held = [maximum_filter1d(np.minimum(row, MOST_PER_TAKE), reach) for row in known]
    total = np.sum(held, axis=0)
    uncapped = np.sum(known, axis=0)
    best = int(np.argmax(np.where(inside, total + TIE * uncapped, -1.0)))
    near = slice(max(0, best - reach // 2), best + reach // 2 + 1)
    centre = _loudest(float(trial[best]), takes, spectra, orders)
    hz, level, clear, higher, of_all = [], [], [], [], []
    for take, spectrum, order, row in zip(takes, spectra, orders, rows, strict=True):
        if order is None or row is None:
            hz.append(np.nan)
            continue
        at = centre * order
        hz.append(at * take.base_hz)
        lines = [spectrum.tone(place) for place in free_multiples(take, spectrum, at)]
        if not lines:
            continue
        clear.append(sum(over > CLEAR for _, over in lines) >= min(2, len(lines)))
        higher.append(_has_higher(take, spectrum, at))
        pulleys = [spectrum.tone(r.ratio)[0] for r in take.rotors()]
        loudest = max(power for power, _ in lines)
        level.append(10 * np.log10((loudest + 1e-30) / (max(pulleys) + 1e-30)))
        of_all.append(10 * np.log10((loudest + 1e-30) / (_all_heard(spectrum) + 1e-30)))
    return BeltScore(
        belt=names[0],
        steps=names,
        log10_chance=tail_chance(
            float(total[best]), total[free], places=max(1.0, inside.sum() / reach)
        ),
        hz=np.array(hz),
        surprise=np.array([np.nan if r is None else float(r[near].max()) for r in rows]),
        clear=float(np.mean(clear)) if clear else 0.0,
        level_db=float(np.median(level)) if level else float("nan"),
        higher=float(np.mean(higher)) if higher else 0.0,
        of_all_db=float(np.median(of_all)) if of_all else float("nan"),
        resolution_hz=float(
            np.max([t.base_hz / s.turns for t, s in zip(takes, spectra, strict=True)])
        ),
    )
