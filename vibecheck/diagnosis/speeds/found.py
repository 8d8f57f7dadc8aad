"""What was found of the speeds of a sweep: one take's, and all of them together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from vibecheck.diagnosis.speeds.track import SpeedTrack
from vibecheck.machine.train import Turning


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeSpeed:
    """What was found of one take's speed.

    ``tracks`` maps rigid group to its speed through the take, ``errors`` to its relative standard
    uncertainty; both empty when ``found`` is False. ``turning`` is for the position it was heard
    at, which may not be the one it was filed under (``filed`` as labelled). ``support`` is the
    summed log power of its mesh lines over decoys'. ``by_turns`` says that no teeth told it.
    """

    turning: Turning | None
    filed: str | None
    found: bool
    sureness: float = 0.0
    support: float = 0.0
    scale: float = 1.0
    tracks: Mapping[str, SpeedTrack] = field(default_factory=dict)
    errors: Mapping[str, float] = field(default_factory=dict)
    by_turns: bool = False

    @property
    def misfiled(self) -> bool:
        """Heard at another lever position than it was filed under."""
        return self.turning is not None and self.filed not in (None, self.turning.label)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SweepSpeeds:
    """Speeds of all takes, and the scale they share (1 when the table is right)."""

    takes: tuple[TakeSpeed, ...]
    scale: float
    scale_sureness: float


def not_used(speed: TakeSpeed) -> TakeSpeed:
    """The same take, marked as without a speed."""
    return replace(speed, found=False, tracks={}, errors={})
