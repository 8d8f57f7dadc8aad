"""Aligned columns on a screen 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

from vibecheck.machine.train import Turning

WIDTH = 80


def table(
    turnings: Sequence[Turning], columns: Sequence[tuple[str, Callable[[Turning], str]]]
) -> list[str]:
    """Aligned columns; when they do not fit one below the other in blocks that do."""
    labels = [here.label or "-" for here in turnings]
    first = max(len("levers"), *(len(label) for label in labels))
    made = [(head, [value(here) for here in turnings]) for head, value in columns]
    blocks: list[list[tuple[list[str], list[str], int]]] = [[]]
    used = first
    for head, cells in made:
        head_lines = textwrap.wrap(head, 12) or [""]
        wide = max(len(text) for text in (*head_lines, *cells)) + 2
        if blocks[-1] and used + wide > WIDTH:
            blocks.append([])
            used = first
        blocks[-1].append((head_lines, cells, wide))
        used += wide
    lines: list[str] = []
    for number, block in enumerate(blocks):
        lines += [""] if number else []
        deep = max(len(head) for head, _, _ in block)
        for row in range(deep):
            last = row == deep - 1
            text = f"{'levers' if last else '':<{first}}"
            for head_lines, _, wide in block:
                padded = [""] * (deep - len(head_lines)) + head_lines
                text += f"{padded[row]:>{wide}}"
            lines.append(text.rstrip())
        for index, label in enumerate(labels):
            cells_here = "".join(f"{cells[index]:>{wide}}" for _, cells, wide in block)
            lines.append(f"{label:<{first}}{cells_here}")
    return lines


def cells(labels: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """A label and a few words in columns; what does not fit goes on a line below."""
    first = max(len("levers"), *(len(label) for label in labels))
    count = max(len(row) for row in rows)
    wide = [max((len(row[c]) for row in rows if len(row) > c), default=0) for c in range(count)]
    gap = 2 if first + sum(wide) + 2 * count <= WIDTH else 1
    lines = []
    for label, row in zip(labels, rows, strict=True):
        text = f"{label:<{first}}"
        for cell, width in zip(row, wide, strict=False):
            if len(text) + width + gap > WIDTH:
                lines.append(text)
                text = " " * first
            text += f"{cell:>{width + gap}}"
        lines.append(text if row else f"{text}{'none':>{4 + gap}}")
    return lines


def wrap(text: str, indent: str = "") -> list[str]:
    """A sentence filled to the width of the screen."""
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent)
