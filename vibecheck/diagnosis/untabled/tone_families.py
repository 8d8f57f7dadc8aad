"""Families of evenly spaced tones in one recording, with nothing known about the machine.

Whatever repeats so many times a second, a shaft, a ball passing a flaw, the mains, makes tones at
whole multiples of its rate, in the sound itself or in its loudness. They are found one family
after another: the most surprising comb first, its tones taken out, then the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from vibecheck.diagnosis.single.shaft_lines import hann_power
from vibecheck.spectra.combs import HARMONICS, Lines, comb_lines, slow_signals
from vibecheck.spectra.envelope import Transform
from vibecheck.spectra.peaks import Peak, peaks
from vibecheck.spectra.speed import BELIEVED, SpeedFound, comb_speed

LOWEST_HZ, HIGHEST_HZ = 3.0, 260.0
FASTEST_SHAFT_HZ = 70.0
"""A rate above this is rarely the turning of a shaft by itself (4,200 a minute; judgement)."""
SPAN = 0.1
MOST_FAMILIES = 6
FEWEST_LINES = 20
FEWEST_CYCLES = 18.0
"""A family must repeat this often within the recording before its spacing means anything."""
BETWEEN, NEARLY_AS_GOOD = 3, 100.0
"""Half or a third of a rate is believed where this many tones lie between those of the whole, and
the family gets no more likely by chance than this many times."""
LOUD = 100.0
"""Power over the local floor (20 dB) from which a tone is worth a line of its own."""
MOST_TONES = 3
TONES_UP_TO = 40
TONES_TOP_HZ = 3200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneFamily:
    """Tones at whole multiples of one rate.

    Attributes
    ----------
    hz, uncertainty_hz : float
        The rate, which is also the spacing.
    chance : float
        Probability that tones lying anywhere would make a family as good as this.
    tones : tuple of int
        Which multiples were heard.
    """

    hz: float
    uncertainty_hz: float
    chance: float
    tones: tuple[int, ...]

    def multiple(self, hz: float, *, step: float) -> int:
        """Which multiple a tone is; 0 for none. ``step`` is how finely it was measured."""
        times = round(hz / self.hz)
        allowed = 1.5 * step + times * self.uncertainty_hz
        return times if times >= 1 and abs(hz - times * self.hz) <= allowed else 0


def tone_families(transform: Transform) -> list[ToneFamily]:
    """The families of a recording, most surprising first; empty where there are none.

    Searched from ``LOWEST_HZ`` to ``HIGHEST_HZ``.
    """
    top_hz = min((HARMONICS + 2) * HIGHEST_HZ, 0.45 * transform.rate_hz)
    lowest = max(LOWEST_HZ, FEWEST_CYCLES / transform.seconds)
    if lowest * 2 > min(HIGHEST_HZ, top_hz / 4) or not np.any(transform.lines[1:]):
        return []
    sets = comb_lines(slow_signals(transform, top_hz=top_hz))
    found: list[ToneFamily] = []
    while len(found) < MOST_FAMILIES and min(s.places.size for s in sets) >= FEWEST_LINES:
        best = _most_surprising(sets, lowest, min(HIGHEST_HZ, top_hz / 4))
        if best.chance > BELIEVED:
            break
        best = _slowest_reading(sets, best, lowest)
        found.append(_family(best))
        sets = [_without(lines, found[-1]) for lines in sets]
    return found


def loud_tones(transform: Transform) -> list[Peak]:
    """The loudest single tones of a recording, in order of place; ``significance`` over floor."""
    plain = hann_power(transform, top=min(TONES_TOP_HZ, 0.45 * transform.rate_hz))
    if len(plain) < 64 or not np.any(plain.values):
        return []
    return [each for each in peaks(plain, most=40) if each.significance > LOUD]


def shaft_of_tones(tones: Sequence[Peak], *, step: float) -> ToneFamily | None:
    """The slowest loud tone whose second and third multiples are loud too; None without one.

    A smoothly running shaft has few multiples and so no comb, but those few are loud.
    """
    places = np.array([tone.place for tone in tones])
    for place in places[(places >= LOWEST_HZ) & (places <= FASTEST_SHAFT_HZ)]:
        near = [int(np.argmin(np.abs(places - times * place))) for times in (2, 3)]
        miss = [abs(places[n] - t * place) for n, t in zip(near, (2, 3), strict=True)]
        if max(miss) <= 1.5 * step:
            share = float(places.size * 3.0 * step / max(places[-1], 1.0))
            return ToneFamily(
                hz=float(places[near[1]] / 3.0),
                uncertainty_hz=step / 6.0,
                chance=min(1.0, places.size * share**2),
                tones=(1, 2, 3),
            )
    return None


def _most_surprising(sets: Sequence[Lines], lowest: float, highest: float) -> SpeedFound:
    """The best comb anywhere; every part of the range pays for the others having been tried."""
    first = np.log(lowest * (1 + SPAN))
    centres = np.exp(np.arange(first, np.log(highest), 2 * SPAN * 0.95))
    found = [comb_speed(sets, nominal_hz=float(each), search=SPAN) for each in centres]
    best = min(found, key=lambda one: one.chance)
    return replace(best, chance=min(1.0, best.chance * len(found)))


def _slowest_reading(sets: Sequence[Lines], best: SpeedFound, lowest: float) -> SpeedFound:
    """Half or a third of the rate, where enough tones lie between those of the whole."""
    for part in (3, 2):
        if best.candidate_hz / part < lowest:
            continue
        slower = comb_speed(sets, nominal_hz=best.candidate_hz / part, search=0.002)
        between = [tone for tone in slower.lines if tone % part]
        if len(between) >= BETWEEN and slower.chance < NEARLY_AS_GOOD * best.chance:
            return replace(slower, chance=max(slower.chance, best.chance))
    return best


def _family(found: SpeedFound) -> ToneFamily:
    return ToneFamily(
        hz=float(found.candidate_hz),
        uncertainty_hz=float(found.uncertainty_hz),
        chance=float(found.chance),
        tones=found.lines,
    )


def _without(lines: Lines, family: ToneFamily) -> Lines:
    times = np.maximum(1, np.rint(lines.places / family.hz))
    miss = np.abs(lines.places - times * family.hz)
    keep = miss > 1.5 * lines.step + times * family.uncertainty_hz
    return replace(lines, places=lines.places[keep], surprise=lines.surprise[keep])
