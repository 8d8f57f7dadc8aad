"""Indicator readings taken by hand, and the small sums a rebuilder does with them.

The limits are common practice of machine rebuilding, without a source; each is named where it is
used. A reading never proves a fault: it says which part is the suspect and which is not.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal, get_args

from vibecheck.units import mm

ReadingKind = Literal["spindle lift", "end play", "runout", "slide lift", "taper", "other"]
KINDS: tuple[ReadingKind, ...] = get_args(ReadingKind)
Suspicion = Literal["suspect", "not the suspect", "open"]

SOUND_LIFT_MM = mm(0.0005)
"""A spindle that lifts no more than half a thousandth of an inch ..."""
SOUND_PULL_N = 222.0
"""... under about 50 lb (222 N) on a bar is not the suspect."""
WORN_SLIDE_MM = mm(0.008)
"""A slide that lifts eight to ten thousandths in mid travel and nothing at its unworn end is."""
GOOD_TAPER = 8e-5
"""Taper of a good machine, length per length: a twentieth of 0.0016 in per inch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading by hand, with its date and place.

    Attributes
    ----------
    value_mm : float
        What the indicator showed; for a slide lift, in mid travel.
    place : str
        Where the indicator stood.
    over_mm : float
        Length over which a taper or error was found; 0 when it has none.
    pull_n : float
        Force on the bar of a lift test; 0 when not told.
    end_mm : float or None
        For a slide: the lift at its unworn end.
    """

    kind: ReadingKind
    value_mm: float
    place: str
    date: datetime.date
    by: str = ""
    over_mm: float = 0.0
    pull_n: float = 0.0
    end_mm: float | None = None
    note: str = ""

    @property
    def suspicion(self) -> Suspicion:
        """Whether this reading makes its part the suspect."""
        if self.kind == "spindle lift":
            return spindle_lift(self.value_mm, self.pull_n)
        if self.kind == "slide lift":
            return slide_lift(self.value_mm, self.end_mm)
        if self.kind == "taper" and self.over_mm > 0:
            return "suspect" if times_good_taper(self.value_mm, self.over_mm) > 5 else "open"
        return "open"


def proportional(error_mm: float, found_over_mm: float, wanted_over_mm: float) -> float:
    """An error found over one length, carried in proportion to another.

    0.002 in found over a 5 in gauge means about 0.007 in over an 18 in carriage:

    >>> round(proportional(0.002, 5.0, 18.0), 4)
    0.0072
    """
    if found_over_mm <= 0:
        raise ValueError("the length an error was found over must be above 0")
    return error_mm * wanted_over_mm / found_over_mm


def taper(difference_mm: float, length_mm: float) -> float:
    """Taper, length per length (the same number in inch per inch).

    0.004 in over 2.5 in is 0.0016 in per inch:

    >>> round(taper(0.004, 2.5), 6)
    0.0016
    """
    return proportional(difference_mm, length_mm, 1.0)


def times_good_taper(difference_mm: float, length_mm: float) -> float:
    """How many times the taper of a good machine.

    >>> round(times_good_taper(0.004, 2.5), 6)
    20.0
    """
    return abs(taper(difference_mm, length_mm)) / GOOD_TAPER


def spindle_lift(lift_mm: float, pull_n: float) -> Suspicion:
    """Whether a lift test makes the spindle bearings the suspect.

    Half a thousandth or less under about 50 lb clears them; more lift under no more pull than that
    makes them suspect; little lift under a weak pull decides nothing.

    >>> spindle_lift(mm(0.0005), 222.0), spindle_lift(mm(0.002), 222.0), spindle_lift(0.0, 50.0)
    ('not the suspect', 'suspect', 'open')
    """
    firm = pull_n >= 0.9 * SOUND_PULL_N
    if lift_mm <= SOUND_LIFT_MM * 1.001:
        return "not the suspect" if firm else "open"
    if lift_mm >= 2 * SOUND_LIFT_MM and 0 < pull_n <= 1.1 * SOUND_PULL_N:
        return "suspect"
    return "open"


def slide_lift(middle_mm: float, end_mm: float | None) -> Suspicion:
    """Whether a slide's lift in mid travel, against that at its unworn end, makes it the suspect.

    >>> slide_lift(mm(0.009), 0.0), slide_lift(mm(0.009), None), slide_lift(mm(0.0005), 0.0)
    ('suspect', 'open', 'not the suspect')
    """
    if end_mm is None:
        return "open"
    if middle_mm - end_mm >= WORN_SLIDE_MM * 0.999:
        return "suspect"
    return "not the suspect" if middle_mm - end_mm <= mm(0.001) else "open"
