"""Samples lost without a word, found by the wall clock."""

from __future__ import annotations

from dataclasses import dataclass, field

CLOCK_SLACK_S = 0.06
"""Wall clock and samples agree within 25 ms on a quiet computer; more than this is a loss."""
CLOCK_DRIFT = 3e-4
"""How far a card's clock may run from the computer's, as a share."""
SETTLED_S = 0.3
"""Stretch at either end over which the promptest block tells the true lateness."""


@dataclass(slots=True)
class Lateness:
    """How far each block came behind the samples before it.

    A busy computer delivers some blocks late and then catches up; lost samples leave every later
    block late. So the promptest block of the beginning is compared with that of the end.
    """

    rate_hz: float
    late_s: list[float] = field(default_factory=list)
    _ends_s: list[float] = field(default_factory=list)
    _frames: int = 0

    def add(self, at_s: float, frames: int) -> None:
        """A block of so many frames that came at this moment."""
        self._frames += frames
        self._ends_s.append(self._frames / self.rate_hz)
        self.late_s.append(at_s - self._ends_s[-1])

    @property
    def lost_s(self) -> float:
        """Seconds for which there are no samples; 0 within what clocks differ by.

        >>> clock = Lateness(100.0)
        >>> for at in (0.1, 0.2, 0.39, 0.4, 0.5, 0.6, 1.7, 1.8, 1.9, 2.0, 2.1):
        ...     clock.add(at, 10)
        >>> round(clock.lost_s, 3)
        1.0
        """
        if not self.late_s:
            return 0.0
        first, last = self._ends_s[0] + SETTLED_S, self._ends_s[-1] - SETTLED_S
        both = list(zip(self._ends_s, self.late_s, strict=True))
        before = min(late for end, late in both if end <= first)
        after = min(late for end, late in both if end >= last)
        lost = after - before
        return lost if lost > CLOCK_SLACK_S + CLOCK_DRIFT * self._ends_s[-1] else 0.0
