"""Numbers as people write them in a gear table: exact, a range, unknown, and how known.

``62``, ``"62 guessed"``, ``"60-64"``, ``[60, 64]``, ``"?"``, ``"3.5 in"``,
``{ value = 62, how = "counted" }``, ``{ low = 60, high = 64, how = "guessed" }``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, get_args

from vibecheck.machine.parts import UNKNOWN, How, Known
from vibecheck.units import MM_PER_INCH

HOWS: tuple[How, ...] = get_args(How)
_UNKNOWN = ("?", "unknown", "")
_NUMBER = r"\d+(?:\.\d+)?|\.\d+"
_RANGE = re.compile(rf"^({_NUMBER})(?:\s*(?:-|\.\.|to)\s*({_NUMBER}))?\s*([^\d\s].*)?$")


class Unreadable(Exception):
    """A value that cannot be taken: what was found, what would do."""

    def __init__(self, found: str, remedy: str) -> None:
        self.found, self.remedy = found, remedy
        super().__init__(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What a number must be: its name, limits, unit, whether whole, and how it is mostly known."""

    what: str
    low: float = 0.0
    high: float = 1e9
    unit: str = ""
    whole: bool = False
    how: How = "measured"

    def check(self, value: float) -> float:
        """The number itself when it will do."""
        if self.whole and value != round(value):
            raise Unreadable(
                f"{value:g} {self.what} is not a whole number",
                f'Count them again, or write a range such as "{int(value)}-{int(value) + 1}".',
            )
        if not self.low <= value <= self.high:
            raise Unreadable(
                f"{value:g} cannot be {self.what}",
                f"Give {self.low:g} to {self.high:g}{' ' + self.unit if self.unit else ''}"
                ', or "?" when not known.',
            )
        return value


TEETH = Rule(what="teeth", low=5, high=400, whole=True, how="counted")
STARTS = Rule(what="starts or teeth of a worm drive", low=1, high=400, whole=True, how="counted")
DIAMETER = Rule(what="a pulley diameter", low=5, high=2000, unit="mm")
LENGTH = Rule(what="a length", low=0.01, high=50000, unit="mm")
RATIO = Rule(what="a ratio of speeds (driven over driver)", low=0.001, high=100)


def read_known(raw: Any, rule: Rule) -> Known:
    """A number from its TOML value.

    Raises
    ------
    Unreadable
        With what was found and what would do.

    >>> read_known("60-64", TEETH)
    Known(low=60.0, high=64.0, how='guessed')
    >>> read_known("2 in", DIAMETER).value
    50.8
    """
    if raw is None:
        return UNKNOWN
    if isinstance(raw, bool):
        raise Unreadable(f"{str(raw).lower()} where {rule.what} was wanted", "Give a number.")
    if isinstance(raw, int | float):
        return Known.exactly(rule.check(float(raw)), rule.how)
    if isinstance(raw, str):
        return _from_text(raw.strip(), rule)
    if isinstance(raw, list) and len(raw) == 2:
        return _span(_plain(raw[0], rule), _plain(raw[1], rule), "guessed", rule)
    if isinstance(raw, dict):
        return _from_parts(raw, rule)
    raise Unreadable(f"{raw!r} is not {rule.what}", _remedy(rule))


def _remedy(rule: Rule) -> str:
    return f'Write a number for {rule.what}, a range such as "20-25", or "?".'


def _plain(raw: Any, rule: Rule) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise Unreadable(f"{raw!r} is not {rule.what}", _remedy(rule))
    return rule.check(float(raw))


def _span(low: float, high: float, how: How, rule: Rule) -> Known:
    if low > high:
        raise Unreadable(f"the range {low:g}-{high:g} runs backwards", "Put the smaller first.")
    return Known(low=rule.check(low), high=rule.check(high), how=how)


def _from_text(text: str, rule: Rule) -> Known:
    if text.lower() in _UNKNOWN:
        return UNKNOWN
    match = _RANGE.match(text)
    if not match:
        raise Unreadable(f'"{text}" is not {rule.what}', _remedy(rule))
    scale, how = _tail(match[3] or "", rule)
    low = float(match[1]) * scale
    if match[2] is None:
        return Known.exactly(rule.check(low), how or rule.how)
    return _span(low, float(match[2]) * scale, how or "guessed", rule)


def _tail(text: str, rule: Rule) -> tuple[float, How | None]:
    """(scale, how) from what follows a number: a unit, how it is known, both or neither."""
    scale, how = 1.0, None
    for word in text.replace(",", " ").split():
        if word in HOWS:
            how = word
        elif word in ("in", "inch", '"') and rule.unit == "mm":
            scale = MM_PER_INCH
        elif word.lower() not in (rule.unit.lower(), "t", rule.what):
            known = f'"{rule.unit}"' if rule.unit else "no unit"
            extra = ' (or "in")' if rule.unit == "mm" else ""
            raise Unreadable(
                f'"{word}" makes no sense after {rule.what}',
                f"Use {known}{extra}, then how it is known: {', '.join(HOWS[:-1])}.",
            )
    return scale, how


def _from_parts(raw: dict[str, Any], rule: Rule) -> Known:
    wrong = set(raw) - {"value", "low", "high", "how"}
    how = raw.get("how")
    if wrong or (how is not None and how not in HOWS):
        raise Unreadable(
            f"{raw!r} is not {rule.what}",
            f"Use {{ value = ..., how = ... }} or {{ low = ..., high = ..., how = ... }}; "
            f"how is one of {', '.join(HOWS)}.",
        )
    if "value" in raw:
        value = raw["value"]
        if isinstance(value, str):
            return read_known(value, rule)
        return Known.exactly(_plain(value, rule), how or rule.how)
    if "low" in raw and "high" in raw:
        low, high = _plain(raw["low"], rule), _plain(raw["high"], rule)
        return _span(low, high, how or "guessed", rule)
    raise Unreadable(f"{raw!r} gives no number", "Give value, or low and high.")


def write_known(known: Known, how: How) -> str:
    """The shortest TOML value that reads back as ``known`` where ``how`` is the usual way."""
    if known.low is None or known.high is None:
        return '"?"'
    low, high = _figure(known.low), _figure(known.high)
    if "e" in low + high:
        return f'{{ low = {low}, high = {high}, how = "{known.how}" }}'
    if known.value is not None:
        return low if known.how == how else f'"{low} {known.how}"'
    return f'"{low}-{high}"' if known.how == "guessed" else f'"{low}-{high} {known.how}"'


def _figure(value: float) -> str:
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)
