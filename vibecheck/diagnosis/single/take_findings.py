"""What one take says about one bearing, as values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from vibecheck.diagnosis.chance.matching import FamilyScore
from vibecheck.diagnosis.findings import Verdict
from vibecheck.diagnosis.single.shaft_lines import ShaftLines
from vibecheck.spectra.speed import SpeedFound
from vibecheck.units import rpm

CONTRADICTION = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class ElementFinding:
    """What a take says about one element of the bearing."""

    name: str
    part: str
    probability: float
    verdict: Verdict
    score: FamilyScore
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class OneTake:
    """What one take says.

    Attributes
    ----------
    shaft_hz : float
        The speed used: found, or the stated one where none was found.
    speed : SpeedFound
    contradiction : str
        Empty, or in words how the stated speed disagrees with the recording.
    elements : tuple of ElementFinding
        In the order of the families given.
    posterior : mapping of str to float
        Over "healthy", the elements, "imbalance", "looseness"; sums to 1.
    shaft : ShaftLines
    verdict : str
        For the best finding, "not shown" when nothing is, "cannot tell" when the take does not
        support an answer.
    named : str
        The best-supported fault, empty when none is likely.
    other_numbers, other_order : float
        Probability that a bearing of other numbers than those given is worn, and how often a turn
        it strikes; 0 where the numbers given explain what is heard.
    reasons, next_test : in words
    """

    shaft_hz: float
    speed: SpeedFound
    stated_hz: float | None
    contradiction: str
    elements: tuple[ElementFinding, ...]
    posterior: Mapping[str, float]
    shaft: ShaftLines
    verdict: Verdict
    named: str
    reasons: tuple[str, ...] = ()
    next_test: str = ""
    other_numbers: float = 0.0
    other_order: float = 0.0

    def element(self, name: str) -> ElementFinding:
        """The finding about one element."""
        return next(each for each in self.elements if each.name == name)


def contradiction(stated_hz: float | None, speed: SpeedFound) -> str:
    """In words, how a stated speed disagrees with the recording; empty when it does not."""
    if stated_hz is None or not speed.found:
        return ""
    away = speed.hz / stated_hz - 1.0
    if abs(away) * stated_hz < max(3 * speed.uncertainty_hz, CONTRADICTION * stated_hz):
        return ""
    return (
        f"stated speed {rpm(stated_hz):.0f} r/min, but the recording says {rpm(speed.hz):.1f}"
        f" +- {rpm(speed.uncertainty_hz):.1f} r/min ({100 * away:+.1f} %)"
    )
