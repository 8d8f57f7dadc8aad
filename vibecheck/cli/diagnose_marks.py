"""The marks told to `vibecheck diagnose`: read before the takes are, joined to them after."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from vibecheck.cli.length_type import read_length
from vibecheck.cli.marks_cut import LENGTHS, Told, cut_of, marks_of
from vibecheck.errors import UsageError

if TYPE_CHECKING:
    from vibecheck.finish.marks import Reading
    from vibecheck.machine.parts import Machine

EXAMPLE = "position=A1 B2 CH,count=11,spacing=0.33,hand=left,rpm=637.2,feed=0.10"
KNOWN = tuple(field.name for field in fields(Told))
YES, NO = ("yes", "true", "1"), ("no", "false", "0")


def told_marks(text: str) -> Told:
    """One cut from "position=A1 B2 CH,count=11,spacing=0.33,hand=left,rpm=637.2,feed=0.10".

    Bare lengths are millimetres; 0.013in and 1/32in may stand there too.

    >>> told_marks("count=11, spacing=0.33, rpm=637.2, feed=0.1").spacing
    0.33
    """
    said: dict[str, Any] = {}
    for piece in re.split(r",(?=[^,=]*=)", text):
        key, equals, value = piece.partition("=")
        key = key.strip().casefold().replace("-", "_")
        if not equals or not value.strip() or "=" in value:
            raise _wrong(
                text, f"cannot read {piece.strip()!r}",
                f"Part the pairs with commas: {EXAMPLE}.",
            )  # fmt: skip
        if key not in KNOWN:
            raise _wrong(text, f"unknown {key!r}", f"Known are {', '.join(KNOWN)}.")
        if key in said:
            raise _wrong(text, f"{key} stands there twice", "Say it once; one --marks a cut.")
        said[key] = _value(text, key, value.strip())
    told = Told(**said)
    if not told.has_marks:
        raise _wrong(text, "nothing is said of the marks", f"Write {EXAMPLE}.")
    return told


def _value(text: str, key: str, value: str) -> object:
    if key in LENGTHS:
        length = read_length(value)
        if length is None:
            raise _wrong(text, f"{key} {value!r} is no length", "Write 0.33, 0.33mm or 0.013in.")
        return length.mm(inches=False)
    if key in ("rpm", "count", "rpm_error"):
        try:
            number = float(value.removesuffix("%").replace(",", "."))
        except ValueError:
            raise _wrong(text, f"{key} {value!r} is no number", "Write a number.") from None
        return number / 100 if key == "rpm_error" else number
    if key == "reverse":
        if value.casefold() not in YES + NO:
            raise _wrong(text, f"reverse {value!r}", "Write reverse=yes or reverse=no.")
        return value.casefold() in YES
    return value if key == "position" else value.casefold()


def _wrong(text: str, found: str, remedy: str) -> UsageError:
    return UsageError(f"--marks {text!r}: {found}", remedy)


def readings_of(told: Sequence[Told], machine: Machine | None) -> list[Reading]:
    """The marks of every cut as frequencies, checked against the machine.

    Raises
    ------
    UsageError
        A speed, feed or lever position is missing or not on the machine.
    SpeedError
        The speed told is far from what the gear table gives for that position.
    """
    return [_reading(each, machine) for each in told]


def _reading(told: Told, machine: Machine | None) -> Reading:
    from dataclasses import replace

    from vibecheck.cli.gathering import known_position
    from vibecheck.diagnosis.verdicts.work_marks import candidates, spindle_rpm
    from vibecheck.finish.marks import read

    labels = [each.label for each in machine.positions if each.label] if machine else []
    if told.position is None and labels:
        raise UsageError("--marks without a lever position", f"Add position={labels[0]}.")
    if told.position is not None:
        told = replace(told, position=known_position(told.position, labels))
    if told.feed is None:
        raise UsageError("--marks without the feed", "Add feed=0.10, for one turn of the spindle.")
    if told.rpm is None and not labels:
        raise UsageError("--marks without the spindle speed", "Add rpm=, measured if possible.")
    at = told.position if labels else None
    cut = cut_of(told, spindle_rpm(machine, at) if machine and at else None)
    if machine is not None and at is not None:
        candidates(machine, at, cut.rpm)
    return read(marks_of(told), cut)
