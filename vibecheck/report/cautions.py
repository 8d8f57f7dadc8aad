"""Safety text, in one place, shown wherever someone is sent near a running machine."""

from __future__ import annotations

from typing import Literal

Moment = Literal[
    "before any recording",
    "fixing a sensor",
    "belt off",
    "cutting",
    "coast-down",
    "opening the head",
]

FIRST = (
    "Your machine's manual, your employer's rules and the law where you are come first. Nothing "
    "here allows you to take a guard off: guards stay on while recording. A place that can only "
    "be reached with a guard off is no place to record."
)
"""Shown with every list of cautions."""

CAUTIONS: dict[Moment, tuple[str, ...]] = {
    "before any recording": (
        "Chuck key out. Work held fully, or the jaws closed to the maker's limit: loose jaws fly.",
        "Never above the speed marked on the chuck or safe for the work, and never above the "
        "chart, however weak the signal is.",
        "Stop the spindle before moving a lever. Back gear is never engaged under power.",
        "No gloves, rings, lanyards or loose sleeves; hair tied up; eyes and ears protected.",
        "Covers stay on: a splash-oiled head never runs with its lid off. Electrical cabinets and "
        "converters are for a qualified person.",
        "Start the recording, step back, and keep out of the chuck's plane.",
        "If a knock is heavy, a tooth may be loose or the chuck wobbles: stop. No recording is "
        "worth it.",
    ),
    "fixing a sensor": (
        "Spindle stopped and the supply locked out before reaching near belts, gears or chuck; "
        "keep the key on you, try the start button, and mind coasting parts and springs.",
        "A magnet goes on a fixed casting only, never on anything that turns.",
        "Lead the cable away from chuck, leadscrew, feed rod and belts, tie it every 300 mm, and "
        "leave a loop that gives way. The computer stands on its own stand.",
        "A phone lies on the bed or on a stand; it is never held over or across a turning part.",
    ),
    "belt off": (
        "Lock the supply out, take the belt off, put the guard back, then run the motor alone. "
        "Keep clear; never feel a pulley by hand.",
    ),
    "cutting": (
        "Record a cut only with work, tool and speed you would use anyway. Stand clear of chips; "
        "do not lean in to hold a phone.",
    ),
    "coast-down": ("Let it run down by itself. Never brake a chuck by hand.",),
    "opening the head": (
        "Stop the spindle and lock the supply out before a cover or guard comes off; keep the key "
        "on you, try the start button, and turn gears by hand only. A splash-lubricated head is "
        "never run with its cover off.",
    ),
}
"""Moment -> what must be minded then."""


def cautions(*moments: Moment) -> tuple[str, ...]:
    """The cautions for these moments, the general one first, none twice.

    >>> cautions("coast-down")[1]
    'Let it run down by itself. Never brake a chuck by hand.'
    """
    found = [FIRST]
    for moment in moments:
        found += [text for text in CAUTIONS[moment] if text not in found]
    return tuple(found)
