"""Which way the marks lean, and what that says about the fraction of a wave.

The convention, once and for all
--------------------------------
The tool itself cuts a fine thread, its feed marks: **right-hand** when the spindle runs forward
and the carriage feeds toward the headstock, as in ordinary screw-cutting. Reversing either the
feed or the spindle makes the feed marks left-hand; reversing both leaves them right-hand.

With N = k + e waves a turn (k the nearest whole number), the marks lean

* **against** the feed marks (the other hand) when e > 0: a little more than k waves a turn;
* **with** the feed marks (the same hand) when e < 0: a little fewer than k.

Why: a turn later the tool has come forward by one feed and the wave is e of a wave further on, so
the same crest is met *before* the old place when e > 0; the crest line runs backward round the
work as the tool goes forward.

Right-hand: stand the bar on end and the marks rise to the right, as on an ordinary screw,
whichever end is up. In a bore the far wall is seen from inside and looks the other way about;
compare with the feed marks instead. On a face, look at it from the tailstock and follow a spoke
from rim to centre: with a forward spindle and feed toward the centre the feed marks go clockwise.
"""

from __future__ import annotations

from typing import Literal, get_args

from vibecheck.errors import UsageError

Hand = Literal["right", "left", "clockwise", "anticlockwise", "with", "against", "unknown"]
Lean = Literal["with", "against", "unknown"]
FeedDirection = Literal["to headstock", "to tailstock", "to centre", "from centre"]
Spindle = Literal["forward", "reverse"]

HANDS: tuple[str, ...] = get_args(Hand)
FEED_DIRECTIONS: tuple[str, ...] = get_args(FeedDirection)
FACING = ("to centre", "from centre")


def feed_hand(direction: FeedDirection, spindle: Spindle = "forward") -> Hand:
    """Hand of the feed marks themselves.

    >>> feed_hand("to headstock")
    'right'
    >>> feed_hand("to headstock", "reverse")
    'left'
    >>> feed_hand("to centre")
    'clockwise'
    """
    usual = (direction in ("to headstock", "to centre")) == (spindle == "forward")
    if direction in FACING:
        return "clockwise" if usual else "anticlockwise"
    return "right" if usual else "left"


def lean(hand: Hand, direction: FeedDirection, spindle: Spindle = "forward") -> Lean:
    """Whether marks of that hand lean with or against the feed marks.

    Raises
    ------
    UsageError
        When a face is described as right or left, or a cylinder as clockwise.
    """
    if hand == "with" or hand == "against" or hand == "unknown":
        return hand
    on_face = hand in ("clockwise", "anticlockwise")
    if on_face != (direction in FACING):
        raise UsageError(
            f"marks called {hand} with feed {direction}",
            "On a face say clockwise or anticlockwise (rim to centre, seen from the tailstock); "
            "on a bar say right or left.",
        )
    return "with" if hand == feed_hand(direction, spindle) else "against"


def hand_of(fraction: float, direction: FeedDirection, spindle: Spindle = "forward") -> Hand:
    """Hand of marks left by k + fraction waves a turn; "unknown" for a fraction of 0.

    >>> hand_of(0.3, "to headstock")
    'left'
    """
    if fraction == 0:
        return "unknown"
    with_feed = feed_hand(direction, spindle)
    return with_feed if fraction < 0 else _other(with_feed)


def signs(lean: Lean) -> tuple[int, ...]:
    """Signs the fraction may have: (-1,) with the feed marks, (1,) against, both when unknown."""
    return {"with": (-1,), "against": (1,), "unknown": (1, -1)}[lean]


def _other(hand: Hand) -> Hand:
    swapped: dict[Hand, Hand] = {
        "right": "left",
        "left": "right",
        "clockwise": "anticlockwise",
        "anticlockwise": "clockwise",
    }
    return swapped[hand]
