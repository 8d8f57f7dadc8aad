"""What recording remembers between days: device, rate, format, channels."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click


def place() -> Path:
    """The one small file, in the user's own settings folder."""
    return Path(click.get_app_dir("vibecheck")) / "recording.toml"


def remembered() -> dict[str, Any]:
    """What was used last; empty when there is nothing or it cannot be read."""
    import tomllib

    try:
        return tomllib.loads(place().read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError):
        return {}


def remember(**used: str | int) -> None:
    """Keep what was used; a settings folder that cannot be written is no reason to stop."""
    from vibecheck.files.plain_toml import toml_text

    if remembered() == used:
        return
    try:
        place().parent.mkdir(parents=True, exist_ok=True)
        place().write_text(toml_text(used), encoding="utf-8")
    except OSError:
        return
