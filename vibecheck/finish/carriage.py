"""What repeats at a fixed distance along the carriage, whatever the feed or the speed.

Marks that stay the same millimetres apart when the feed a turn and the spindle speed change are
not spindle-side vibration: something the carriage rides on repeats at that distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

SAME_PLACE = 0.002
"""Distances closer than this fraction are one distance: no rule can tell them apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carriage:
    """What moves the tool; any number may be None when nobody knows it.

    Attributes
    ----------
    rack_module_mm, pinion_teeth : float or None
        Rack and the pinion that rolls on it. Module = 25.4 / diametral pitch.
    rod_mm_per_turn : float or None
        Carriage travel for one turn of the feed rod.
    screw_pitch_mm : float or None
        Leadscrew.
    cross_screw_pitch_mm : float or None
        Cross-slide screw, for marks when facing.
    apron : sequence of (float, float)
        (driving teeth, driven teeth) from feed rod to pinion, worm starts as driving teeth.
    """

    rack_module_mm: float | None = None
    pinion_teeth: float | None = None
    rod_mm_per_turn: float | None = None
    screw_pitch_mm: float | None = None
    cross_screw_pitch_mm: float | None = None
    apron: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """Something that comes round every ``spacing_mm`` of travel, and where to look."""

    name: str
    spacing_mm: float
    look: str


RACK = "look at rack and pinion for dirt, a burr, a worn stretch of rack or a bad rack joint"
PINION = "look for a bent or eccentric rack pinion shaft or one damaged pinion tooth"
ROD = "look for a bent feed rod, a worm with end play, or a stiff feed-rod bearing; spin it by hand"
SCREW = "look for a bent leadscrew, its thrust collar, and half nuts not closing squarely"
CROSS = "look for a bent cross-slide screw or play at its thrust collar"


def repeats(carriage: Carriage) -> tuple[Repeat, ...]:
    """Every distance that can be computed, longest first.

    Examples
    --------
    >>> for item in repeats(Carriage(rack_module_mm=2.5, pinion_teeth=15)):
    ...     print(f"{item.name}: {item.spacing_mm:.3f} mm")
    one turn of the rack pinion: 117.810 mm
    one tooth of rack and pinion: 7.854 mm
    """
    found: list[Repeat] = []
    turn = _pinion_turn_mm(carriage)
    if carriage.rack_module_mm:
        tooth = pi * carriage.rack_module_mm
        found.append(Repeat(name="one tooth of rack and pinion", spacing_mm=tooth, look=RACK))
    if turn:
        found.append(Repeat(name="one turn of the rack pinion", spacing_mm=turn, look=PINION))
        found += _apron(carriage.apron, turn)
    rod = carriage.rod_mm_per_turn
    if rod and not any(r.name == "one turn of the feed rod" for r in found):
        found.append(Repeat(name="one turn of the feed rod", spacing_mm=rod, look=ROD))
    if carriage.screw_pitch_mm:
        found.append(
            Repeat(name="one turn of the leadscrew", spacing_mm=carriage.screw_pitch_mm, look=SCREW)
        )
    if carriage.cross_screw_pitch_mm:
        found.append(
            Repeat(
                name="one turn of the cross-slide screw",
                spacing_mm=carriage.cross_screw_pitch_mm,
                look=CROSS,
            )
        )
    return tuple(sorted(found, key=lambda item: -item.spacing_mm))


def _pinion_turn_mm(carriage: Carriage) -> float | None:
    if carriage.rack_module_mm and carriage.pinion_teeth:
        return pi * carriage.rack_module_mm * carriage.pinion_teeth
    return None


def _apron(apron: Sequence[tuple[float, float]], turn_mm: float) -> list[Repeat]:
    """Back from the pinion to the feed rod: each pair's tooth, each shaft's turn."""
    found: list[Repeat] = []
    for place, (driving, driven) in enumerate(reversed(list(apron))):
        last = place == len(apron) - 1
        pair = f"{driving:g}/{driven:g}"
        tooth = turn_mm / driven
        worm = last and driving <= 6
        kind = "worm thread" if worm else "tooth"
        found.append(
            Repeat(
                name=f"one {kind} of the apron pair {pair}",
                spacing_mm=tooth,
                look=f"look at the apron pair {pair}",
            )
        )
        turn_mm = tooth * driving
        name = "one turn of the feed rod" if last else f"one turn of the apron shaft before {pair}"
        look = ROD if last else f"look for a bent apron shaft or a damaged tooth on the {driving:g}"
        found.append(Repeat(name=name, spacing_mm=turn_mm, look=look))
    return found


def matching(spacing_mm: float, uncertainty_mm: float, carriage: Carriage) -> tuple[Repeat, ...]:
    """What repeats at ``spacing_mm`` within its limit of error, nearest first.

    Those that come out at the same distance cannot be told apart by measuring it.
    """
    limit = max(uncertainty_mm, SAME_PLACE * spacing_mm)
    near = [r for r in repeats(carriage) if abs(r.spacing_mm - spacing_mm) <= limit]
    return tuple(sorted(near, key=lambda item: abs(item.spacing_mm - spacing_mm)))
