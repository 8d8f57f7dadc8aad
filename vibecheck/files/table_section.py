"""One section of a gear table while it is read: gives values, remembers what was asked for.

Whatever stands in the section and was never asked for is an unknown key, reported with the nearest
one that would have been understood.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from vibecheck.errors import Fault
from vibecheck.files.table_numbers import Rule, Unreadable, read_known
from vibecheck.machine.parts import UNKNOWN, Known


class Notes:
    """Everything wrong with a file (faults), and everything merely worth saying (remarks)."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.remarks: list[str] = []

    def fault(self, key: str, found: str, remedy: str) -> None:
        """Add one thing that must be put right."""
        self.faults.append(Fault(key, found, remedy))

    def remark(self, text: str) -> None:
        """Add one thing the owner should look at."""
        self.remarks.append(text)


def nearest(word: str, known: Iterable[str]) -> str:
    """A sentence that offers the nearest known word, or lists them."""
    words = list(dict.fromkeys(known))
    close = get_close_matches(word.lower(), [w.lower() for w in words], n=1, cutoff=0.5)
    if close:
        return f'Did you mean "{next(w for w in words if w.lower() == close[0])}"?'
    return f"Known here: {', '.join(words)}." if words else "Nothing is known here; leave it out."


def quoted(key: str) -> str:
    """A key as it must be written in TOML.

    >>> quoted("A1"), quoted("A1 B2")
    ('A1', '"A1 B2"')
    """
    bare = key and all(c.isascii() and (c.isalnum() or c in "-_") for c in key)
    return key if bare else in_quotes(key)


def in_quotes(words: str) -> str:
    """A TOML string."""
    signs = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return '"' + "".join(signs.get(sign, sign) for sign in words) + '"'


class Section:
    """A TOML table with its key path."""

    def __init__(self, values: Mapping[str, Any], path: str, notes: Notes) -> None:
        self.values, self.path, self.notes = values, path, notes
        self.asked: list[str] = []

    def at(self, key: str) -> str:
        """The key path of one of its keys."""
        return f"{self.path}.{quoted(key)}" if self.path else quoted(key)

    def fault(self, key: str, found: str, remedy: str) -> None:
        """Report something wrong at one key ("" for the section itself)."""
        self.notes.fault(self.at(key) if key else self.path, found, remedy)

    def raw(self, key: str) -> Any:
        """The value as it stands; None when absent."""
        self.asked.append(key)
        return self.values.get(key)

    def known(self, key: str, rule: Rule, default: Known = UNKNOWN) -> Known:
        """A number that may be unknown or a range."""
        raw = self.raw(key)
        if raw is None:
            return default
        try:
            return read_known(raw, rule)
        except Unreadable as problem:
            self.fault(key, problem.found, problem.remedy)
            return default

    def text(self, key: str, default: str = "", choices: Iterable[str] = ()) -> str:
        """A word or sentence, one of ``choices`` when there are any."""
        raw, allowed = self.raw(key), tuple(choices)
        if raw is None:
            return default
        if not isinstance(raw, str):
            self.fault(key, f"{raw!r} where words were wanted", "Put it in quotation marks.")
            return default
        if allowed and raw not in allowed:
            self.fault(key, f'"{raw}" is not known', nearest(raw, allowed))
            return default
        return raw

    def flag(self, key: str) -> bool:
        """True or false; false when absent."""
        raw = self.raw(key)
        if raw is not None and not isinstance(raw, bool):
            self.fault(key, f"{raw!r} where true or false was wanted", "Write true or false.")
            return False
        return bool(raw)

    def count(self, key: str, default: int) -> int:
        """A plain count of one or more."""
        raw = self.raw(key)
        if raw is None:
            return default
        if isinstance(raw, bool) or not isinstance(raw, int) or not 1 <= raw <= 100:
            self.fault(key, f"{raw!r} is not a count", "Give a whole number from 1 up.")
            return default
        return raw

    def words(self, key: str) -> tuple[str, ...] | None:
        """A list of words; None when absent."""
        raw = self.raw(key)
        if raw is None:
            return None
        if not isinstance(raw, list) or not all(isinstance(word, str) for word in raw):
            self.fault(key, f"{raw!r} is not a list of names", 'Write it as ["I", "II"].')
            return None
        return tuple(raw)

    def section(self, key: str) -> Section:
        """A section inside this one; an empty one when absent."""
        return self._inside(key, self.raw(key))

    def named(self, key: str) -> list[tuple[str, Section]]:
        """Sections by name inside a section: ``[belts."V-belts"]``."""
        outer = self.section(key)
        return [(name, outer._inside(name, value)) for name, value in outer.values.items()]

    def listed(self, key: str) -> list[Section]:
        """Repeated sections: ``[[pairs]]``."""
        raw = self.raw(key)
        if raw is None:
            return []
        if not isinstance(raw, list):
            self.fault(key, "one section where a list of them was wanted", f"Write [[{key}]].")
            return []
        return [
            Section(value, f"{self.at(key)}[{i}]", self.notes)
            if isinstance(value, dict)
            else self._inside(f"{key}[{i}]", value)
            for i, value in enumerate(raw, start=1)
        ]

    def _inside(self, key: str, value: Any) -> Section:
        if value is not None and not isinstance(value, dict):
            self.fault(
                key, f"{value!r} where a section was wanted", f"Write [{self.at(key)}] above it."
            )
            value = None
        return Section(value or {}, self.at(key), self.notes)

    def close(self) -> None:
        """Report every key that was never asked for."""
        for key in self.values:
            if key not in self.asked:
                self.fault(key, "unknown key", nearest(key, self.asked) + _unit_hint(key))


def _unit_hint(key: str) -> str:
    if key.endswith(("_in", "_inch", "_inches", "_cm", "_m")):
        return ' Lengths are in mm; "3.5 in" in quotation marks is taken too.'
    return ""
