"""Lengths on the command line, with or without a unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    Base = click.ParamType[object]
else:
    Base = click.ParamType


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A length as written: millimetres when a unit stood there, else a bare number."""

    number: float
    bare: bool

    def mm(self, inches: bool) -> float:
        """Millimetres, once it is known whether bare numbers are inches."""
        from vibecheck.units import mm

        return mm(self.number) if self.bare and inches else self.number


class Length(Base):
    """Reads 0.33, 0.33mm, 0.013in, 1/32in, 5thou."""

    name = "LENGTH"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> Written:
        if isinstance(value, Written):
            return value
        found = read_length(str(value))
        if found is None:
            self.fail(f"{value!r} is no length above 0; write 0.33, 0.33mm, 0.013in or 1/32in")
        return found


LENGTH = Length()


def read_length(text: str) -> Written | None:
    """The length in a text; None when there is none above 0."""
    from vibecheck.errors import UsageError
    from vibecheck.files.lengths import length_mm

    match = re.fullmatch(r"\s*(\d+[.,]?\d*|[.,]\d+)(?:/(\d+))?\s*([^\d\s].*)?", text)
    if match is None:
        return None
    number = float(match[1].replace(",", ".")) / float(match[2] or 1) if match[2] != "0" else 0.0
    unit = (match[3] or "").strip()
    try:
        scale = length_mm(f"1{unit}") if unit else 1.0
    except UsageError:
        return None
    return Written(number=number * scale, bare=not unit) if number > 0 else None


def settle(written: Written | None, inches: bool) -> float | None:
    """Millimetres, None for None."""
    return None if written is None else written.mm(inches)
