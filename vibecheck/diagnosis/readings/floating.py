"""Speeds of what turns behind a slipping belt: the motor, a countershaft.

Their ratio to the tracked shafts is known to a few per cent only. One belt drives all takes, so the
ratio is sought over the whole sweep, like any family of lines; then in each take close by.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.ndimage import maximum_filter1d

from vibecheck.diagnosis.chance.added_up import STEP
from vibecheck.diagnosis.chance.families import Family
from vibecheck.diagnosis.chance.field import Field
from vibecheck.diagnosis.chance.surprise import MOST_PER_TAKE, surprise, tail_chance
from vibecheck.diagnosis.readings.heard import Heard
from vibecheck.diagnosis.readings.lines import LineSpectrum, line_field
from vibecheck.diagnosis.readings.rolling_fields import envelope_orders
from vibecheck.diagnosis.speeds.motor_turns import motor_bounds
from vibecheck.diagnosis.speeds.turn_takes import motor_group

WINDOW, NEAR = 0.035, 0.004
SURE = -2.0
"""Decimal logarithm of the chance at which a floating speed counts as found; else it is guessed."""
MULTIPLES = 6
IN_STEP, MOST_TIMES = 0.003, 8
"""A shaft this near a multiple, up to this one, of a belt's rate is the belt's multiple."""
FEWEST_TELL, MOST_ALIKE = 2, 0.8
"""So many takes that heard a group speak for the others, when this share of them agrees."""


def floating_ratios(
    takes: Sequence[Heard], spectra: Sequence[LineSpectrum]
) -> list[dict[str, float]]:
    """Speed of every further rigid group over the track's speed, take by take.

    Returns
    -------
    list of dict
        Group name to ratio, one dict per take, with what each take knew of itself; a further group
        that the sweep does not show is left out everywhere.
    """
    found = [dict(take.floating) for take in takes]
    names = sorted({g for t in takes for g in t.turning.groups if g != t.group})
    for name in names:
        rows = {
            number: expected
            for number, take in enumerate(takes)
            if (expected := _expected(take, name)) is not None
        }
        told = _told_by_others(name, takes)
        if told is None:
            ratios = _sought(name, rows, takes, spectra)
        else:
            ratios = {number: told * expected for number, expected in rows.items()}
        for number, ratio in ratios.items():
            found[number][name] = ratio
    return found


def apart_from_belts(takes: Sequence[Heard]) -> list[dict[str, float]]:
    """Floating speeds less those that are a multiple of a belt that was heard to throb.

    A belt's multiples lie as evenly as a shaft's turns; what keeps step with it is it.
    """
    names = {name for take in takes for name in take.floating}
    belts = {
        name
        for name in names
        if any(_keeps_step(name, belt, takes) for belt in {b for t in takes for b in t.belts})
    }
    return [{n: r for n, r in take.floating.items() if n not in belts} for take in takes]


def _keeps_step(name: str, belt: str, takes: Sequence[Heard]) -> bool:
    times = [
        t.floating[name] / t.belts[belt] for t in takes if name in t.floating and belt in t.belts
    ]
    multiple = round(float(np.median(times))) if times else 0
    near = [abs(each / multiple - 1.0) < IN_STEP for each in times] if multiple else []
    return 1 < multiple <= MOST_TIMES and bool(np.mean(near) >= MOST_ALIKE)


def guessed_ratios(takes: Sequence[Heard]) -> list[dict[str, tuple[float, float]]]:
    """What the table says of groups that were not heard: speed over the track's, and how far it may
    be off (relative), take by take."""
    guessed: list[dict[str, tuple[float, float]]] = []
    for take in takes:
        here: dict[str, tuple[float, float]] = {}
        for name in take.turning.groups:
            expected = None if name in take.floating else _computed(take, name)
            if expected is not None:
                low, high = _window(name, {0: expected}, [take])
                here[name] = expected * float(np.exp((low + high) / 2)), (high - low) / 2
        guessed.append(here)
    return guessed


def _told_by_others(group: str, takes: Sequence[Heard]) -> float | None:
    """True over computed ratio where other takes heard the group and all say much the same."""
    told = [
        take.floating[group] / computed
        for take in takes
        if group in take.floating and (computed := _computed(take, group)) is not None
    ]
    middle = float(np.median(told)) if len(told) >= FEWEST_TELL else 0.0
    alike = [abs(each / middle - 1.0) < NEAR for each in told] if middle else []
    return middle if alike and np.mean(alike) >= MOST_ALIKE else None


def _expected(take: Heard, group: str) -> float | None:
    """The group's speed over the track's by the table; None where it need not be sought, or was."""
    if group in take.floating or take.speed.by_turns:
        return None
    return _computed(take, group)


def _computed(take: Heard, group: str) -> float | None:
    """A group's speed over the track's, by the table."""
    if group not in take.turning.groups or group == take.group:
        return None
    there, here = take.turning.groups[group], take.turning.groups[take.group]
    if there.nominal_hz is None or here.nominal_hz is None:
        return None
    return there.nominal_hz / here.nominal_hz


def _sought(
    name: str,
    rows: Mapping[int, float],
    takes: Sequence[Heard],
    spectra: Sequence[LineSpectrum],
) -> dict[int, float]:
    trial = np.exp(np.arange(-0.25, 0.25, 2 * STEP))
    low, high = _window(name, rows, takes)
    inside = (np.log(trial) >= low) & (np.log(trial) <= high)
    free = np.abs(np.log(trial)) > 1.3 * WINDOW
    surprises = {}
    for number, expected in rows.items():
        family = Family(name=name, order=expected, harmonics=MULTIPLES)
        field = _field(takes[number], spectra[number], expected)
        surprises[number] = surprise(field, family, trial * expected, free)[0]
    if not surprises:
        return {}
    reach = 2 * int(NEAR / (2 * STEP)) + 1
    total = np.sum(
        [maximum_filter1d(np.minimum(s, MOST_PER_TAKE), reach) for s in surprises.values()], axis=0
    )
    best = int(np.argmax(np.where(inside, total, -1.0)))
    places = max(1.0, float(inside.sum()) / reach)
    if tail_chance(float(total[best]), total[free], places=places) > SURE:
        return {}
    near = slice(max(0, best - reach // 2), best + reach // 2 + 1)
    middle = float(trial[best])
    ratios = {}
    for number, expected in rows.items():
        heard = surprises[number][near]
        own = float(trial[near][int(np.argmax(heard))]) if heard.max() > 1.0 else middle
        ratios[number] = own * expected
    return ratios


def _window(name: str, rows: Mapping[int, float], takes: Sequence[Heard]) -> tuple[float, float]:
    """How far from the table's ratio it may lie (natural logarithm).

    Belts slip by a few per cent; and no motor runs far below its plate or above its mains.
    """
    low, high = -WINDOW, WINDOW
    for number, expected in rows.items():
        take = takes[number]
        turning = take.turning
        if name != motor_group(turning):
            continue
        nominal = turning.groups[name].nominal_hz
        assert nominal is not None, "only groups of known nominal speed are sought"
        loaded = take.ready.take.kind == "cutting"
        slowest, fastest = motor_bounds(turning, loaded=loaded)
        here = float(np.log(nominal / (expected * take.base_hz)))
        low, high = max(low, here + slowest - NEAR), min(high, here + fastest + NEAR)
    return (low, high) if low < high else (-WINDOW, WINDOW)


def _field(take: Heard, spectrum: LineSpectrum, order: float) -> Field:
    """Lines of the sound itself, and of the envelope of the whole band."""
    plain = line_field(take, spectrum, order, multiples=MULTIPLES + 1)
    envelope = envelope_orders(take, (MULTIPLES + 1.5) * order)[-1]
    mask = np.zeros(len(envelope.significance), dtype=bool)
    step = envelope.significance.step
    for rotor in take.rotors():
        for multiple in range(1, 13):
            middle = round(multiple * rotor.ratio / step)
            mask[max(0, middle - 2) : middle + 3] = True
    return Field([*plain.spectra, envelope], take.base_hz, 0.0, [*plain.masked, mask])
