"""Which takes may be held against which, and what survives when levels may not."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vibecheck.diagnosis.clipping import clipped_share
from vibecheck.diagnosis.compared.automatic_gain import breathing
from vibecheck.diagnosis.compared.line_levels import Levels
from vibecheck.diagnosis.compared.take_at_speed import TakeAtSpeed
from vibecheck.recording import Take

SPEED_OFF = 0.005
"""Relative difference of speed from which levels are not compared."""
WARMTH_C = 10.0
"""Difference of temperature from which levels are not compared (oil thickness; judgement)."""
ALIKE_DB = 4.0
"""All lines and the noise between them moved by this much or more together: gain, not repair."""
ALIKE_SPREAD_DB = 1.5

Hurts = Literal["levels", "everything"]
Same = Literal["sensor", "machine"]

KEYS: Mapping[str, tuple[Same, tuple[str, ...]]] = {
    "sensor": ("sensor", ("sensor", "microphone", "phone", "device", "serial")),
    "place": ("sensor", ("place", "location", "spot", "distance")),
    "axis": ("sensor", ("axis", "direction of sensor")),
    "mount": ("sensor", ("mount", "mounting")),
    "gain": ("sensor", ("gain", "input gain", "level setting")),
    "processing": ("sensor", ("processing", "filter", "filters")),
    "chuck": ("machine", ("chuck", "jaws", "work", "workpiece")),
    "load": ("machine", ("load", "cut", "tool", "feed", "depth")),
    "direction": ("machine", ("direction", "rotation")),
    "supply": ("machine", ("supply", "converter", "drive hz", "supply_hz")),
    "oil": ("machine", ("oil",)),
    "temperature": ("machine", ("temperature", "temperature_c", "bearing temperature", "warmth")),
    "feed train": ("machine", ("feed train", "tumbler")),
}
"""What must be the same -> whether it alters what the sensor hears or what the machine does, and
the words it may be recorded under."""
GAIN_WORDS = ("automatic gain", "agc", "auto gain", "automatic_gain", "autogaincontrol")
PROCESSED_WORDS = (*GAIN_WORDS, "noise suppression", "noisesuppression", "echo cancellation")
ON_WORDS = ("on", "yes", "true", "1")
OFF_WORDS = ("off", "no", "none", "false", "0", "raw", "")

SURVIVES: Mapping[Same, str] = {
    "sensor": "which tones are there, their frequencies and how often a blow comes",
    "machine": "frequencies against the shafts as they turned; nothing about levels",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """Why levels may not be compared.

    ``what`` in words; ``survives`` says which claims still stand; ``remedy`` what to record again.
    """

    what: str
    survives: str
    remedy: str


def take_obstacle(heard: TakeAtSpeed) -> Obstacle | None:
    """What by itself makes a take's levels unfit to compare; None when nothing does."""
    take = heard.take
    if heard.doubt:
        return Obstacle(
            what=f"{take.name}: {heard.doubt}",
            survives="nothing that needs a shaft's speed",
            remedy="Measure the spindle's speed, or record this position again for longer.",
        )
    processed = _processed(take)
    if processed:
        return _sensor(f"{processed} was on in {take.name}", "Record again with it off.")
    support = take.recording.support
    if not support.levels:
        why = support.reasons[0] if support.reasons else "its levels cannot be trusted"
        return _sensor(f"{take.name}: {why}", "Record again to an uncompressed file, raw.")
    if clipped_share(heard.samples) > 0:
        return _sensor(f"{take.name} is clipped", "Turn the gain down and record both sides again.")
    found = breathing(heard.samples, heard.rate_hz)
    if found.found:
        return _sensor(
            f"the gain of {take.name} moves by itself: at times every band is "
            f"{found.dip_db:.1f} dB quieter, all alike (automatic gain)",
            "Switch automatic gain off and record again.",
        )
    return None


def pair_obstacles(before: Sequence[TakeAtSpeed], after: Sequence[TakeAtSpeed]) -> list[Obstacle]:
    """What differs between the sides of one position so that levels may not be compared."""
    found = _sampling(before, after)
    for name, (same, words) in KEYS.items():
        one, other = (_told(side, words) for side in (before, after))
        if not one or not other or (one == other and len(one) == 1):
            continue
        if name == "temperature" and _near(one | other):
            continue
        found.append(
            Obstacle(
                what=f"{name} differs: {_words(one)} before, {_words(other)} after",
                survives=SURVIVES[same],
                remedy=f"Record again with the same {name}.",
            )
        )
    off = speed_difference(before, after)
    if abs(off) > SPEED_OFF:
        found.append(
            Obstacle(
                what=f"the speed differs by {100 * off:+.2f} % (limit {100 * SPEED_OFF:g} %)",
                survives="orders of lines, for they are counted in turns; nothing about levels",
                remedy="Find out why (belt, supply, load), then record again at one speed.",
            )
        )
    return found


def not_told(before: Sequence[Take], after: Sequence[Take]) -> tuple[str, ...]:
    """Conditions that decide whether levels compare but were not recorded on both sides."""
    missing = []
    for name in ("sensor", "place", "mount", "gain", "chuck", "load", "temperature"):
        words = KEYS[name][1]
        sides = [any(_value(take, words) for take in side) for side in (before, after)]
        if not all(sides):
            missing.append(name)
    return tuple(missing)


def speed_difference(before: Sequence[TakeAtSpeed], after: Sequence[TakeAtSpeed]) -> float:
    """Relative difference of mean speed, after over before less 1, of the group that differs most.

    0 when no group's speed is known on both sides.
    """
    shared = set.intersection(*(set(heard.speeds_hz) for heard in (*before, *after)))
    differences = [
        float(
            np.mean([heard.speeds_hz[group] for heard in after])
            / np.mean([heard.speeds_hz[group] for heard in before])
            - 1.0
        )
        for group in shared
    ]
    return max(differences, key=abs, default=0.0)


def moved_alike(before: Sequence[Levels], after: Sequence[Levels]) -> float:
    """Decibels by which the noise floor moved alike in every band, 0 when it did not.

    A repair changes some parts of the spectrum; only a gain, a distance or a seat changes the
    noise between the lines by one amount from the lowest band to the highest.
    """
    change = np.mean([level.bands_db for level in after], axis=0) - np.mean(
        [level.bands_db for level in before], axis=0
    )
    middle = float(np.median(change))
    spread = 1.4826 * float(np.median(np.abs(change - middle)))
    outer = float(np.quantile(np.abs(change - middle), 0.9))
    alike = spread <= ALIKE_SPREAD_DB and outer <= 2 * ALIKE_SPREAD_DB
    return middle if alike and abs(middle) >= ALIKE_DB else 0.0


def alike_obstacle(moved_db: float) -> Obstacle:
    """The obstacle that `moved_alike` found."""
    way = "louder" if moved_db > 0 else "quieter"
    return _sensor(
        f"the whole recording is {abs(moved_db):.0f} dB {way}, lines and the noise between them "
        "alike: the gain or the place was changed",
        "Record both sides again at one gain and one place.",
    )


def _sampling(before: Sequence[TakeAtSpeed], after: Sequence[TakeAtSpeed]) -> list[Obstacle]:
    one, other = (
        {(h.take.recording.quantity, h.take.recording.unit) for h in side}
        for side in (before, after)
    )
    if one == other and len(one) == 1:
        return []
    return [
        _sensor(
            "different quantities or units: "
            + " and ".join(sorted(f"{quantity} in {unit}" for quantity, unit in one | other)),
            "Record both sides with the same sensor.",
        )
    ]


def _sensor(what: str, remedy: str) -> Obstacle:
    return Obstacle(what=what, survives=SURVIVES["sensor"], remedy=remedy)


def _processed(take: Take) -> str:
    for key, value in take.conditions.items():
        key, value = key.lower().strip(), value.lower().strip()
        if key in PROCESSED_WORDS and value in ON_WORDS:
            return key
        if key in ("processing", "gain") and value not in OFF_WORDS:
            named = [word for word in PROCESSED_WORDS if word in value and "off" not in value]
            if named:
                return named[0]
            if key == "gain" and value in ("auto", "automatic"):
                return "automatic gain"
    return ""


def _told(side: Sequence[TakeAtSpeed], words: Sequence[str]) -> frozenset[str]:
    values = (_value(heard.take, words) for heard in side)
    return frozenset(value for value in values if value)


def _value(take: Take, words: Sequence[str]) -> str:
    found = {key.lower().strip(): value for key, value in take.conditions.items()}
    told = [" ".join(found[word].lower().split()) for word in words if word in found]
    return ", ".join(told)


def _near(values: frozenset[str]) -> bool:
    numbers = [re.search(r"-?\d+(?:[.,]\d+)?", value) for value in values]
    if any(number is None for number in numbers):
        return False
    read = [float(number[0].replace(",", ".")) for number in numbers if number]
    return max(read) - min(read) <= WARMTH_C


def _words(values: frozenset[str]) -> str:
    return " and ".join(repr(value) for value in sorted(values))
