"""The signs of chatter in plain words, and the cheapest test for each that is missing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from vibecheck.units import inch

if TYPE_CHECKING:
    from vibecheck.finish.chatter import Kind, Pair, Signs
    from vibecheck.finish.readings import Reading as Indicated


def reasons(signs: Signs, pairs: Sequence[Pair]) -> tuple[str, ...]:
    """One sentence for every sign that was looked for."""
    tones = " and ".join(f"{line.hz:.1f} Hz at {take.rpm:.0f} rpm" for take, line in pairs)
    found = [f"the line while cutting: {tones}"]
    if signs.in_air is not None:
        found.append(
            "it is there in air too, at about the same level"
            if signs.in_air
            else "it is silent in air at the same speed"
        )
    if signs.follows == "mains":
        found.append("it stays on a multiple of twice the mains frequency")
    elif signs.follows:
        found.append(f"it follows {signs.follows} from speed to speed")
    if signs.stays is not None and not signs.follows:
        found.append(
            "it hardly moved although the speed changed"
            if signs.stays
            else "it moved a good deal with speed, but as no one multiple of a shaft"
        )
    if not signs.whole:
        found.append("it is no whole multiple of any shaft given")
    elif not signs.follows:
        found.append(
            f"a whole multiple of {', '.join(signs.whole)} cannot be excluded (this may be luck)"
        )
    if signs.mode is not None:
        found.append(
            f"a tap rings at {signs.mode.hz:.1f} Hz, damping "
            f"{100 * signs.mode.damping:.1f} % of critical, and the line lies at it"
        )
    elif signs.tapped:
        found.append("no tapped mode lies at it")
    return tuple(found)


def next_tests(kind: Kind, signs: Signs, indicated: Sequence[Indicated]) -> tuple[str, ...]:
    """What to do next, cheapest first, with the indicator readings taken into account."""
    found = [
        f"the {r.kind} reading at {r.place} ({inches_and_mm(r.value_mm)}) already makes that "
        "the suspect: put it right first"
        for r in indicated
        if r.suspicion == "suspect"
    ]
    if signs.in_air is None:
        found.append("record the same lever position in air, no cut, to see whether the line stays")
    if signs.stays is None:
        found.append("record a cut at a speed at least a tenth slower")
    if not signs.tapped:
        found.append(
            "machine stopped and locked out: tap the tool holder, then the bar, with a soft "
            "mallet and record the ring"
        )
    if kind == "self-excited":
        found += _structure(indicated)
    if kind == "forced":
        found.append("look for the source in the sweep of idle takes, not in tool or slides")
    return tuple(found)


def inches_and_mm(value_mm: float) -> str:
    """A small length in both systems."""
    return f"{value_mm:.3f} mm, {inch(value_mm):.4f} in"


def _structure(indicated: Sequence[Indicated]) -> list[str]:
    """Where a chattering structure is loose, those cleared by the indicator left out."""
    cleared = {r.kind for r in indicated if r.suspicion == "not the suspect"}
    checks = [
        ("overhang", "shorten the tool's overhang and tap again: the line must move with it"),
        ("slide lift", "snug the cross-slide and compound gibs; lock what does not move"),
        ("tailstock", "support the bar: tailstock or steady, quill short and locked"),
        ("spindle lift", "lever the spindle nose with an indicator on it, spindle locked out"),
    ]
    return [text for kind, text in checks if kind not in cleared]
