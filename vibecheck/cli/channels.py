"""What a person should know of the channels of their takes before trusting one of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vibecheck.recording import Recording, Take

QUIETER_DB = 20.0
"""Two like sensors on one machine seldom differ by more than this (judgement)."""
SILENT_DB = 80.0
"""So far under another channel there is only the noise of a bare input (judgement)."""
MOST_NAMED = 4


def channel_warnings(takes: Sequence[Take], channel: int | None) -> tuple[str, ...]:
    """Which channel of several was listened to, and where it is silent or much quieter.

    Parameters
    ----------
    takes : sequence of Take
        With all their channels.
    channel : int or None
        The one asked for, from 1; None is the first.
    """
    several = [take for take in takes if take.recording.channels > 1]
    asked = channel or 1
    said = [] if channel is not None else _unasked(several, len(takes))
    weak: dict[str, list[str]] = {}
    for take in several:
        if 1 <= asked <= take.recording.channels:
            found = _weakness(take.recording, asked - 1)
            if found:
                weak.setdefault(found, []).append(take.conditions.get("file", take.name))
    said += [found.format(names=_listed(names)) for found, names in weak.items()]
    return tuple(said)


def _unasked(several: Sequence[Take], of: int) -> list[str]:
    differing = [take for take in several if not _alike(take.recording)]
    if not differing:
        return []
    counts = sorted({take.recording.channels for take in differing})
    many = " or ".join(map(str, counts))
    rest = f"--channel 2 to {counts[-1]} for the others" if counts[-1] > 2 else (
        "--channel 2 for the other"
    )  # fmt: skip
    where = f" in {len(differing)} of {of} takes" if len(differing) < of else ""
    return [f"{many} channels{where}; channel 1 was listened to; {rest}"]


def _alike(recording: Recording) -> bool:
    """Whether every channel is the same sound, as many recorders write one microphone."""
    first = recording.samples[0]
    return all(bool((first == other).all()) for other in recording.samples[1:])


def _weakness(recording: Recording, asked: int) -> str:
    """What to say of the channel listened to, with a place for the takes' names; may be empty."""
    import numpy as np

    levels = _rms(recording)
    loudest = int(np.argmax(levels))
    if loudest == asked or levels[loudest] == 0:
        return ""
    under_db = 20 * np.log10(levels[loudest] / max(levels[asked], 1e-30))
    instead = f"--channel {loudest + 1} listens to the louder"
    if under_db >= SILENT_DB:
        return f"channel {asked + 1} of {{names}} is silent; {instead}"
    if under_db >= QUIETER_DB:
        return (
            f"channel {asked + 1} of {{names}} is more than {QUIETER_DB:.0f} dB quieter than "
            f"channel {loudest + 1}; {instead}"
        )
    return ""


def _rms(recording: Recording) -> NDArray[np.float64]:
    """Root mean square of each channel about its mean."""
    import numpy as np

    return np.array([channel.std(dtype=np.float64) for channel in recording.samples])


def _listed(names: Sequence[str]) -> str:
    if len(names) <= MOST_NAMED:
        return ", ".join(names)
    return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
