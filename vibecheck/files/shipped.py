"""Where the tables and recordings that come with the program lie: in a clone or in a wheel."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

Kind = Literal["gear_tables", "recordings"]

_PACKAGE = Path(__file__).parents[1]


def shipped_folder(kind: Kind) -> Path:
    """The folder of that kind: inside the installed package, else at the top of the clone."""
    installed = _PACKAGE / "shipped" / kind
    return installed if installed.is_dir() else _PACKAGE.parent / kind


def shipped_path(kind: Kind, name: str) -> Path:
    """Path of one shipped file or folder; it may not exist."""
    return shipped_folder(kind) / name


def shipped_names(kind: Kind, suffix: str = "") -> tuple[str, ...]:
    """Names of what is shipped, in order, without the suffix."""
    folder = shipped_folder(kind)
    if not folder.is_dir():
        return ()
    found = (path.name for path in folder.iterdir() if path.name.endswith(suffix))
    return tuple(sorted(name.removesuffix(suffix) for name in found if name[0] != "."))
