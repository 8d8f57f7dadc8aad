"""HTML tables and lists from plain values; everything is escaped here and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Numbers to print: a heading a column, and which columns hold sentences."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    said: frozenset[int] = frozenset()
    named: frozenset[int] = frozenset()
    """Rows that belong to a suspect."""


def table(value: Table) -> str:
    """One table, in a box that scrolls sideways where it must."""
    heads = "".join(
        f'<th scope="col"{_said(value, column)}>{escape(head)}</th>'
        for column, head in enumerate(value.heads)
    )
    rows = "".join(_row(value, number, row) for number, row in enumerate(value.rows))
    return (
        f'<p class="cap">{escape(value.caption)}</p>'
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(value.caption)}">'
        f"<table><thead><tr>{heads}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>"
    )


def _row(value: Table, number: int, row: Sequence[str]) -> str:
    cells = "".join(f"<td{_said(value, at)}>{escape(text)}</td>" for at, text in enumerate(row))
    return f"<tr{' class=named' if number in value.named else ''}>{cells}</tr>"


def _said(value: Table, column: int) -> str:
    return ' class="say"' if column in value.said else ""


def bullets(texts: Sequence[str], *, numbered: bool = False) -> str:
    """A list, or nothing."""
    tag = "ol" if numbered else "ul"
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<{tag}>{items}</{tag}>" if texts else ""


def pairs(values: Mapping[str, str]) -> str:
    """Names and what belongs to them, those without a value left out."""
    items = "".join(
        f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>"
        for name, value in values.items()
        if value
    )
    return f"<dl>{items}</dl>" if items else ""


def paragraph(text: str, kind: str = "") -> str:
    """One paragraph."""
    return f"<p{f' class={kind}' if kind else ''}>{escape(text)}</p>"
