"""Pairs of gears and pulleys as they are written: "22/62", "28/40/68", "60/150 mm"."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from vibecheck.files.table_draft import Draft
from vibecheck.files.table_numbers import (
    DIAMETER,
    HOWS,
    STARTS,
    TEETH,
    Unreadable,
    read_known,
)
from vibecheck.files.table_section import nearest, quoted
from vibecheck.machine.parts import UNKNOWN, Gear, Known, Mesh, MeshStyle, When

LOOSE = ("driven", "driver")


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Where a pair sits and how it works: shafts, lever settings, style."""

    start: str
    end: str
    where: str = ""
    when: When
    style: MeshStyle
    loose: str = "driven"
    worm: bool = False
    ratio: Known = UNKNOWN


def is_pulleys(raw: Any) -> bool:
    """Whether a lever setting is a belt step: it ends in a length."""
    return isinstance(raw, str) and "/" in raw and raw.split()[-1] in ("mm", "in", "inch")


def read_pulleys(text: str) -> tuple[Known, Known]:
    """Driver and driven pulley diameter, mm, from "60/150 mm"."""
    members, tail = _members(text)
    if len(members) != 2:
        raise Unreadable(f'"{text}" is not two pulleys', 'Write them as "85/170 mm".')
    driver, driven = (read_known(f"{member} {tail}".strip(), DIAMETER) for member in members)
    return driver, driven


def read_teeth_pair(text: str) -> tuple[Known, Known]:
    """Teeth of the driver and of the driven pulley of a toothed belt, from "26/48"."""
    members, tail = _members(text)
    if len(members) != 2:
        raise Unreadable(f'"{text}" is not two toothed pulleys', 'Write them as "26/48".')
    driver, driven = (read_known(_with(member, tail), TEETH) for member in members)
    return driver, driven


def add_train(draft: Draft, raw: Any, joint: Joint) -> None:
    """Add the gears and meshes of "22/62", or of "28/40/68" with an idler between."""
    text = "/".join(str(member) for member in raw) if _is_counts(raw) else raw
    if not isinstance(text, str):
        raise Unreadable(f"{raw!r} is not a pair of gears", 'Write it as "22/62".')
    members, tail = _members(text)
    if len(members) < 2:
        raise Unreadable(
            f'"{text}" names one gear where two must meet',
            'Write driver/driven, such as "22/62"; "?" for a gear not counted yet.',
        )
    gears = [_gear(draft, m, tail, joint, i, len(members)) for i, m in enumerate(members)]
    for driver, driven in pairwise(gears):
        _add_mesh(draft, driver, driven, joint)


def _add_mesh(draft: Draft, driver: Gear, driven: Gear, joint: Joint) -> None:
    loose = driven.name if joint.loose == "driven" else driver.name
    draft.meshes.append(
        Mesh(
            driver=driver.name,
            driven=driven.name,
            when=joint.when,
            style=joint.style,
            loose=loose if joint.style == "dog clutch" else "",
            ratio=joint.ratio,
            worm=joint.worm,
            called=draft.pair_name(driver, driven, joint.where),
        )
    )


def _gear(draft: Draft, member: str, tail: str, joint: Joint, i: int, count: int) -> Gear:
    if member in draft.gears:
        return draft.gears[member]
    if member and not member[0].isdigit() and member[0] not in "?.":
        raise Unreadable(
            f'no gear is called "{member}"',
            nearest(member, draft.gears)
            if draft.gears
            else f"Write its teeth, or describe it under [gears.{quoted(member)}].",
        )
    teeth = read_known(_with(member, tail), STARTS if joint.worm else TEETH)
    if 0 < i < count - 1:
        shaft = f"{joint.where or joint.start} idler"
        if count > 3:
            shaft = f"{shaft} {i}"
        return draft.add_gear(teeth, "", shaft, "idler")
    shaft, side = (joint.start, "driving") if i == 0 else (joint.end, "driven")
    return draft.add_gear(teeth, joint.where, shaft, side)


def _with(member: str, tail: str) -> str:
    return f"{member} {tail}".strip() if member != "?" else member


def _is_counts(raw: Any) -> bool:
    return isinstance(raw, list) and bool(raw) and all(isinstance(v, int) for v in raw)


def _members(text: str) -> tuple[list[str], str]:
    """What stands between the strokes, and the words after the last number."""
    members = [member.strip() for member in text.split("/")]
    if not all(members):
        raise Unreadable(f'"{text}" leaves a place empty', 'Write "?" for what is not known yet.')
    words = members[-1].split()
    tail: list[str] = []
    while len(words) > 1 and words[-1] in (*HOWS, "mm", "in", "inch"):
        tail.insert(0, words.pop())
    members[-1] = " ".join(words)
    return members, " ".join(tail)
