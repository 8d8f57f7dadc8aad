"""One take of an unknown machine and all that was heard in it."""

from __future__ import annotations

from dataclasses import dataclass

from vibecheck.diagnosis.ready import Ready
from vibecheck.diagnosis.single.unknown_bearing import UnknownBearing
from vibecheck.diagnosis.untabled.tone_families import ToneFamily
from vibecheck.diagnosis.untabled.tone_nature import Placed
from vibecheck.spectra.peaks import Peak


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told:
    """One take and all that was heard in it."""

    ready: Ready
    families: tuple[Placed, ...] = ()
    tones: tuple[Peak, ...] = ()
    shaft: ToneFamily | None = None
    bearing: UnknownBearing | None = None
    step: float = 0.0

    @property
    def label(self) -> str:
        """What the take is called: lever position or name."""
        return self.ready.take.position or self.ready.take.name or "the take"
