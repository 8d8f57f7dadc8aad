"""What a comparison of two sweeps says. Values only; ``comparison`` fills them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from vibecheck.diagnosis.compared.comparability import Obstacle
from vibecheck.diagnosis.compared.compared_lines import Sort
from vibecheck.diagnosis.compared.repeatability import Repeatability

Outcome = Literal["better", "same", "worse", "not comparable", "not heard"]
WORST_FIRST: tuple[Outcome, ...] = ("worse", "same", "not comparable", "not heard", "better")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChange:
    """One line at one lever position, before and after.

    Attributes
    ----------
    name, sort, parts, same_as
        As in `Line`; ``same_as`` names the lines that cannot be told from it here.
    before_db, after_db : float
        Level of each side, decibels over one unit squared (blows: over the common floor).
    change_db, low_db, high_db : float
        Change and its 95 % interval for this line by itself.
    standard_db, dof : float
        Standard uncertainty of the change and its effective degrees of freedom.
    chance : float
        Two-sided chance of such a change when nothing changed; 1 for a line that did no more than
        the other lines of its takes did together.
    bound : str
        "" for a plain change; "gone": not heard after, the change is at least this far down;
        "new": not heard before, at least this far up.
    outcome : str
        Decided over all lines of all positions together.
    reason : str
        Why it is not comparable, or why a resolved change is not called one.
    band_hz : tuple of float or None
        Band whose envelope was used.
    """

    name: str
    sort: Sort
    parts: tuple[str, ...]
    same_as: tuple[str, ...]
    before_db: float
    after_db: float
    change_db: float
    low_db: float
    high_db: float
    standard_db: float
    dof: float
    chance: float
    bound: Literal["", "gone", "new"]
    outcome: Outcome
    reason: str = ""
    band_hz: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shaking:
    """Calibrated velocity and displacement, r.m.s. of a side's takes, in one standard band."""

    before_mm_s: float
    after_mm_s: float
    before_um: float
    after_um: float
    band_hz: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionChange:
    """One lever position, before and after.

    Attributes
    ----------
    position : str
    outcome : str
        "worse" when any line is; else "better" when any line is; else "same"; or
        "not comparable".
    lines : tuple of LineChange
        Most telling first.
    obstacles : tuple of Obstacle
        Why levels may not be compared, if so.
    left_out : tuple of str
        Takes that were not used, each with the reason.
    before_takes, after_takes : int
        Takes used.
    before_rpm, after_rpm : float or None
        Spindle speed.
    overall_db : float or None
        Change of the overall level: for information, never judged.
    smallest_db : float or None
        Smallest change of one line this position could have shown.
    shaking : Shaking or None
        Calibrated numbers, where both sides have them.
    """

    position: str
    outcome: Outcome
    lines: tuple[LineChange, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()
    left_out: tuple[str, ...] = ()
    before_takes: int = 0
    after_takes: int = 0
    before_rpm: float | None = None
    after_rpm: float | None = None
    overall_db: float | None = None
    smallest_db: float | None = None
    shaking: Shaking | None = None

    def called(self, outcome: Outcome) -> tuple[LineChange, ...]:
        """The lines with that outcome."""
        return tuple(line for line in self.lines if line.outcome == outcome)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two sweeps of one machine, position by position; positions that did not improve first.

    Attributes
    ----------
    machine : str
    positions : tuple of PositionChange
    repeatability : Repeatability
        Spread of levels when nothing changed.
    compared : int
        Comparisons made together.
    reseated : bool or None
        Whether the sensor was re-seated between repeats; None when nobody said.
    smallest_db : float
        Smallest change of a typical line this pair could have shown.
    smallest_with : tuple of (int, float)
        The same for other numbers of repeats on each side.
    missing : tuple of str
        Positions recorded on one side only, and which.
    not_told : tuple of str
        Conditions nobody wrote down.
    notes : tuple of str
    """

    machine: str
    positions: tuple[PositionChange, ...]
    repeatability: Repeatability
    compared: int
    reseated: bool | None
    smallest_db: float
    smallest_with: tuple[tuple[int, float], ...]
    missing: tuple[str, ...] = ()
    not_told: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def count(self, outcome: Outcome) -> int:
        """How many positions came out so."""
        return sum(position.outcome == outcome for position in self.positions)

    def at(self, position: str) -> PositionChange:
        """The result at a lever position; KeyError when it was not compared."""
        for result in self.positions:
            if result.position == position:
                return result
        raise KeyError(position)
