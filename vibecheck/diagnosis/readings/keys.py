"""What a reading is known by, so that suspects can say which readings they would explain."""

from __future__ import annotations

Key = tuple[str, int, float]
"""What is listened to ("knock", "swell ..."), take number, rate over the track's speed."""


def rate_key(kind: str, take: int, ratio: float) -> Key:
    """The name of a reading; rotors that turn alike share it."""
    return (kind, take, round(ratio, 5))
