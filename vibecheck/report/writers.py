"""How each sort of value is written in a sentence."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import isfinite

Names = Mapping[str, str]
"""Name in the gear table -> what to call it."""

MOST_LISTED = 8
"""More lever positions than this are counted and not listed."""


class WrongFact(TypeError):
    """A fact of an unknown kind, or with values its phrase does not take."""


def listed(words: Sequence[str], joint: str = "and") -> str:
    """A list as one says it.

    >>> listed(["I", "II", "III"])
    'I, II and III'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joint} {words[-1]}"


def figures(value: float, digits: int = 3) -> str:
    """A number to so many figures, without exponent and without empty decimals.

    >>> figures(1234.5), figures(6.5451), figures(0.05049), figures(120.0)
    ('1234', '6.55', '0.0505', '120')
    """
    if not isfinite(value):
        return "unknown"
    size = f"{abs(value):.{digits - 1}e}"
    exponent = int(size.split("e")[1])
    text = f"{value:.{max(0, digits - 1 - exponent)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def hertz(value: float) -> str:
    """A frequency with its unit, to four figures.

    >>> hertz(6.5451), hertz(312.0), hertz(1168.14)
    ('6.545 Hz', '312 Hz', '1168 Hz')
    """
    return f"{figures(value, 4)} Hz"


def times(db: float) -> str:
    """Decibels, and what they mean.

    >>> times(14.0), times(0.2)
    ('14 dB (5 times)', '0.2 dB')
    """
    size = 10 ** (abs(db) / 20)
    plain = f"{figures(db, 2)} dB"
    return f"{plain} ({figures(size, 1 if size >= 3 else 2)} times)" if abs(db) >= 3 else plain


def positions(labels: Sequence[str], names: Names | None = None) -> str:
    """Lever positions: listed while they are few, else counted, with what they share.

    A machine without levers has one position, which has no label.

    >>> positions(["A1 B2 CL", "A2 B2 CL"])
    'A1 B2 CL and A2 B2 CL'
    >>> positions([f"A{a} B2 C{c}" for a in (1, 2, 3) for c in "LMH"])
    '9 positions (B2 in all of them)'
    """
    if labels and not any(labels):
        return "this take"
    if not labels:
        return "no position"
    if len(labels) <= MOST_LISTED:
        return listed(list(labels))
    shared = [lever for lever in labels[0].split() if all(lever in k.split() for k in labels)]
    what = f"{' '.join(shared)} in all of them" if shared else f"{labels[0]} to {labels[-1]}"
    return f"{len(labels)} positions ({what})"


def per_turn(rates: Mapping[str, float], names: Names | None = None) -> str:
    """Strikes per spindle turn, positions with the same figure taken together.

    >>> per_turn({"A1 CL": 4.111, "A2 CL": 4.1113, "A1 CH": 0.5082})
    '4.11 a turn with CL and 0.508 a turn at A1 CH'
    """
    groups: dict[str, list[str]] = {}
    for position, rate in rates.items():
        groups.setdefault(figures(rate), []).append(position)
    said = [f"{rate} a turn {_where(group, rates)}".rstrip() for rate, group in groups.items()]
    if len(said) > 4:
        values = list(rates.values())
        return f"{figures(min(values))} to {figures(max(values))} a turn"
    return listed(said)


def _where(group: Sequence[str], rates: Mapping[str, float]) -> str:
    if not any(group):
        return ""
    if len(group) == len(rates):
        return "everywhere" if len(group) > 1 else f"at {group[0]}"
    others = [position for position in rates if position not in group]
    for lever in group[0].split():
        if all(lever in k.split() for k in group) and not any(lever in k.split() for k in others):
            return f"with {lever}" if len(group) > 1 else f"at {group[0]}"
    return f"at {positions(group)}"


def choices(values: Sequence[object], names: Names | None = None) -> str:
    """Candidates to choose from: words, or pairs of tooth counts.

    >>> choices([(43, 41), (44, 42)])
    '43/41 or 44/42'
    """
    words = [
        "/".join(str(part) for part in value) if isinstance(value, tuple | list) else str(value)
        for value in values
    ]
    return listed(words, "or")


def _part(value: str, names: Names | None) -> str:
    return (names or {}).get(value, value)


def _parts(values: Sequence[str], names: Names | None) -> str:
    return listed([_part(value, names) for value in values])


Writer = Callable[..., str]
NUMBER: tuple[type, ...] = (int, float)
WRITERS: Mapping[str, tuple[tuple[type, ...], Writer]] = {
    "part": ((str,), _part),
    "parts": ((tuple, list), _parts),
    "position": ((str,), lambda value, names: value),
    "positions": ((tuple, list), positions),
    "take": ((str,), lambda value, names: value),
    "plain": ((str,), lambda value, names: value.rstrip(".")),
    "choices": ((tuple, list), choices),
    "hz": (NUMBER, lambda value, names: hertz(value)),
    "rpm": (NUMBER, lambda value, names: f"{figures(value, 4)} rpm"),
    "seconds": (NUMBER, lambda value, names: f"{figures(value, 2)} s"),
    "percent": (NUMBER, lambda value, names: f"{figures(abs(value))} %"),
    "shift": (NUMBER, lambda value, names: f"{'+' if value >= 0 else '-'}{figures(abs(value))} %"),
    "times": (NUMBER, lambda value, names: times(value)),
    "order": (NUMBER, lambda value, names: figures(value, 4)),
    "number": (NUMBER, lambda value, names: figures(value)),
    "whole": ((int,), lambda value, names: str(value)),
    "per_turn": ((Mapping,), per_turn),
}
"""Sort of value -> the types it may have, and how it is written."""


def written(sort: str, value: object, names: Names | None = None) -> str:
    """One value of a known sort, in words.

    Raises
    ------
    WrongFact
        When the value is not of that sort.
    """
    types, write = WRITERS[sort]
    plain = value.item() if hasattr(value, "item") else value
    if not isinstance(plain, types) or (isinstance(plain, bool) and types is NUMBER):
        raise WrongFact(f"{plain!r} is no {sort}")
    return write(plain, names)
