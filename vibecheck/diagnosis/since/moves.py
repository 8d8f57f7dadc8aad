"""How far the traces of sound parts move from one sweep of a machine to another.

The others of the same kind say it, in the same two sweeps; where there are few, what is usual.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

import numpy as np

from vibecheck.diagnosis.since.levels import Numbers, Trace
from vibecheck.diagnosis.since.rises import Rise

SOUND_DB: Mapping[str, float] = {
    "once": 0.6, "twice": 0.6, "thrice": 0.6, "mesh": 2.0, "sides": 0.8,
    "many": 0.4, "halves": 0.4, "knock": 0.3, "slow knock": 0.3, "blow": 0.5, "rest": 0.5,
    "outer": 0.3, "inner": 0.3, "roller": 0.3, "cage": 0.4,
    "once at work": 0.8, "many at work": 0.5, "halves at work": 0.5,
    "belt": 0.8, "vane": 0.8, "hum": 1.5, "buzz": 1.0, "tone": 1.5, "howl": 3.0, "strange": 0.8,
}  # fmt: skip
"""How far the mean of a trace of a sound part moves from one sweep to another, beyond what its
scatter from position to position explains."""
BY_CHOICE_DB: Mapping[str, float] = {"strange": 2.2}
"""What the best of many places rises by chance."""
SCATTER_DB: Mapping[str, float] = {
    "once": 3.5, "twice": 3.5, "thrice": 3.5, "tone": 3.0, "howl": 3.0, "hum": 3.5, "buzz": 2.5,
    "belt": 2.5, "vane": 2.5, "strange": 2.0, "cage": 2.0,
}  # fmt: skip
"""How far a sound trace scatters from position to position (1.5 where not listed)."""
COMPARED, MANY, MIDDLE, BY_THE_OTHERS = 6, 10, 0.4, (0.75, 3.0)
"""From so many traces of a kind on, what all of them do together says how far sound ones move;
where there are many, which of them in order of size is taken for the middle one, since a fault may
raise several; and how much less or more than usual they may seem to move."""
LOWER, LOWER_RMS = 0.67, 0.88
"""Share of the traces, from the lowest up, that says so, and what normal ones would scatter."""
AS_OTHERS: Mapping[str, str] = {
    "twice": "once", "thrice": "once", "once at work": "once", "slow knock": "knock",
    "many": "halves", "many at work": "halves", "halves at work": "halves",
}  # fmt: skip
"""Kinds that are one: a head has too few rotors for each to say by itself what sound ones do."""
FELL = 0.5
"""How much of what all of a kind have fallen counts as a rise of one that has not: a floor that is
higher that day is not equally so everywhere."""
AS_KNOCKS = ("blow", "rest")
"""The same knocks, at some positions only: what sound ones do the knocks of all rotors say."""
SINGLE = ("once", "twice", "thrice", "once at work")
NOISE_DB, IN_NOISE_DB = 5.6, 6.1
"""Kinds that one line tells of; how much one bin of plain noise scatters (standard deviation of the
logarithm of an exponential), and a line in noise of its own power: less the higher it stands."""
AS_USUAL = 3.0
"""How many positions the usual scatter is worth, beside a trace's own."""
SCATTERS = 1.3
"""How much more than most of its kind a sound trace scatters from position to position."""


def sound_moves(found: Mapping[Trace, Rise]) -> tuple[Numbers, Numbers]:
    """Rises with what all of their kind have in common taken out, and how far sound ones move.

    Faults only raise, so that the lower ones of a kind say what sound traces do.
    """
    kinds: dict[str, list[int]] = defaultdict(list)
    for number, (what, _) in enumerate(found):
        kinds[AS_OTHERS.get(what, what)].append(number)
    names = [what for what, _ in found]
    rose = np.array([rise.db - BY_CHOICE_DB.get(what, 0.0) for (what, _), rise in found.items()])
    error = np.zeros(rose.size)
    counts = np.array([len(rise.by_place) for rise in found.values()])
    scatter = np.array([rise.scatter_db for rise in found.values()])
    scatter *= np.sqrt(counts / np.maximum(counts - 1, 1))
    noise = np.array([_by_noise(what, rise) for (what, _), rise in found.items()])
    common: dict[str, tuple[float, float]] = {}
    for what in sorted(kinds, key=lambda each: each in AS_KNOCKS):
        numbers = kinds[what]
        # What is at fault scatters more than what is sound, and that does not excuse it.
        many = len(numbers) >= COMPARED
        scattering = [scatter[number] for number in numbers if counts[number] > 1]
        told = len(scattering) >= COMPARED
        usual = float(np.median(scattering)) if told else SCATTER_DB.get(what, 1.5)
        few = counts[numbers]
        scattered = np.sqrt(((few - 1) * scatter[numbers] ** 2 + AS_USUAL * usual**2) / (few + 2))
        scattered = np.minimum(scattered, SCATTERS * usual)
        floor = np.array([SOUND_DB[names[number]] for number in numbers])
        scattered = np.maximum(scattered, noise[numbers])
        error[numbers] = np.hypot(floor, scattered / np.sqrt(counts[numbers]))
        if many:
            common[what] = _in_common(rose[numbers], error[numbers])
        shift, times = common.get("knock" if what in AS_KNOCKS else what, (0.0, 1.0))
        shift *= FELL if shift < 0.0 else 1.0
        rose[numbers] -= shift
        error[numbers] *= times
    return rose, error


def _by_noise(what: str, rise: Rise) -> float:
    """How far a line scatters from position to position by the noise it stands in, dB."""
    if what not in SINGLE:
        return 0.0
    sides = [
        min(NOISE_DB, IN_NOISE_DB * 10.0 ** (-max(level, 0.0) / 20.0))
        for level in (rise.now_db, rise.now_db - rise.db)
    ]
    return float(np.hypot(*sides))


def _in_common(rose: Numbers, error: Numbers) -> tuple[float, float]:
    """How far the sound ones of a kind rise together, and how much more than usual they scatter."""
    middle = float(np.quantile(rose, MIDDLE if rose.size >= MANY else 0.5))
    lower = rose <= np.quantile(rose, LOWER)
    apart = float(np.sqrt(np.mean(((rose - middle) / error)[lower] ** 2))) / LOWER_RMS
    return middle, float(np.clip(apart, *BY_THE_OTHERS))
