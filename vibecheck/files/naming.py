"""Which lever position a file name speaks of."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from vibecheck.errors import JobError
from vibecheck.recording import TakeKind

KIND_WORDS: tuple[tuple[TakeKind, tuple[str, ...]], ...] = (
    ("background", ("background", "machine off", "machineoff", "ambient")),
    ("motor alone", ("motor alone", "motoralone", "motor only", "motoronly")),
    ("chuck off", ("chuck off", "chuckoff", "no chuck", "nochuck")),
    ("coast-down", ("coast down", "coastdown", "rundown", "run down")),
    ("neutral", ("neutral",)),
    ("reverse", ("reverse", "reversed", "rev")),
    ("tap", ("tap", "tap test", "taptest")),
    ("cutting", ("cutting", "cut")),
)
"""Kind of take -> words in a file name that mean it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a file name says."""

    position: str | None
    kind: TakeKind
    repeat: int | None = None
    rpm: float | None = None


def words_of(text: str) -> tuple[str, ...]:
    """Lower-case words and numbers of a name, without the marks between them.

    >>> words_of("sweep A3_B2-CL (2)")
    ('sweep', 'a3', 'b2', 'cl', '2')
    """
    return tuple(re.findall(r"[^\W_]+", text.lower()))


def named(stem: str, labels: Sequence[str]) -> Named:
    """What a file's stem says of position, kind, repeat number and speed.

    The words of a position label must stand in the name in order ("A3_B2_CL_2",
    "sweep a3-b2-cl"), or run together ("A3B2CL"). A longer label wins over one it contains.

    >>> named("reverse a3-b2-cl_2", ["A3 B2 CL", "A3 B2 CH"])
    Named(position='A3 B2 CL', kind='reverse', repeat=2, rpm=None)
    """
    words = words_of(stem)
    found = _positions(words, labels)
    best = max((span for _, span, _ in found), default=0)
    longest = sorted((item for item in found if item[1] == best), key=lambda item: item[2])
    if len(longest) > 1 and not all(label.strip().isdigit() for label, _, _ in longest):
        both = " and ".join(repr(label) for label, _, _ in longest)
        raise JobError(
            f"the name speaks of {both}",
            "Rename the file to one lever position, or list the takes in takes.csv.",
            stem,
        )
    position, span, at = longest[0] if longest else (None, 0, -1)
    rest = words if position is None else (*words[:at], "", *words[at + span :])
    kind = _kind(rest)
    repeat = None if position is None and kind == "idle" else _repeat(rest)
    return Named(position=position, kind=kind, repeat=repeat, rpm=_rpm(stem))


def _positions(words: tuple[str, ...], labels: Sequence[str]) -> list[tuple[str, int, int]]:
    found = []
    for label in labels:
        wanted = words_of(label)
        if not wanted:
            continue
        for at in range(len(words)):
            if words[at : at + len(wanted)] == wanted:
                found.append((label, len(wanted), at))
                break
            if len(wanted) > 1 and words[at] == "".join(wanted):
                found.append((label, 1, at))
                break
    return found


def _kind(words: Sequence[str]) -> TakeKind:
    spaced = f" {' '.join(words)} "
    for kind, phrases in KIND_WORDS:
        if any(f" {phrase} " in spaced for phrase in phrases):
            return kind
    return "idle"


def _repeat(words: Sequence[str]) -> int | None:
    match = re.fullmatch(r"(?:repeat|take|r|t|no)?(\d{1,3})", words[-1]) if words else None
    return int(match[1]) if match else None


def _rpm(stem: str) -> float | None:
    match = re.search(r"(\d+(?:\.\d+)?)[ _-]?rpm", stem.lower())
    return float(match[1]) if match else None
