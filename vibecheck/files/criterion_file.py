"""The criterion agreed before a repair, as a small TOML file.

::

    agreed = "2 May, both parties"

    [[demand]]
    text = "knock of shaft III gone at the B2 positions"
    sort = "blows"
    line = "III"
    positions = ["A2 B2 CL", "A1 B2 CL"]
    gone = true

    [[demand]]
    text = "25/50 sidebands down 10 dB or twice the spread"
    sort = "sidebands"
    line = "25T 50T"
    down_db = 10
    spreads = 2

    [[demand]]
    text = "nothing worse"
    no_worse = true
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from vibecheck.diagnosis.compared.compared_lines import Sort
from vibecheck.diagnosis.compared.criterion import Criterion, Demand
from vibecheck.errors import JobError

KINDS: Mapping[str, type | tuple[type, ...]] = {
    "text": str,
    "line": str,
    "sort": str,
    "positions": list,
    "gone": bool,
    "down_db": (int, float),
    "spreads": (int, float),
    "no_worse": bool,
}


def read_criterion(path: str | os.PathLike[str]) -> Criterion:
    """Read a criterion; all its faults are raised at once.

    Raises
    ------
    JobError
    """
    where = str(path)
    try:
        values = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise JobError(f"no criterion can be read ({error})", "Write it as TOML.", where) from None
    raw = values.get("demand", [])
    if not isinstance(raw, list) or not raw:
        raise JobError("no demand in it", "Start each with [[demand]].", where)
    faults = [text for number, one in enumerate(raw, start=1) for text in _faults(number, one)]
    if faults:
        raise JobError("\n  ".join(["the criterion is faulty", *faults]), "", where)
    return Criterion(
        demands=tuple(_demand(one) for one in raw), agreed=str(values.get("agreed", ""))
    )


def _faults(number: int, raw: Mapping[str, Any]) -> list[str]:
    found = [f"demand {number}: unknown key {key!r}" for key in raw if key not in KINDS]
    for key, kind in KINDS.items():
        if key in raw and not isinstance(raw[key], kind):
            found.append(f"demand {number}: {key} is {raw[key]!r}")
    if not raw.get("text"):
        found.append(f"demand {number}: no text; say in words what was agreed")
    if "sort" in raw and raw["sort"] not in get_args(Sort):
        found.append(f"demand {number}: no such sort; use {', '.join(get_args(Sort))}")
    if not any(key in raw for key in ("gone", "down_db", "spreads", "no_worse")):
        found.append(f"demand {number}: say gone, down_db, spreads or no_worse")
    for key in ("down_db", "spreads"):
        value = raw.get(key)
        if isinstance(value, int | float) and not value > 0:
            found.append(f"demand {number}: {key} must be above 0")
    return found


def _demand(raw: Mapping[str, Any]) -> Demand:
    return Demand(
        text=raw["text"],
        line=raw.get("line", ""),
        sort=raw.get("sort"),
        positions=tuple(str(label) for label in raw.get("positions", ())),
        gone=raw.get("gone", False),
        down_db=raw.get("down_db"),
        spreads=raw.get("spreads"),
        no_worse=raw.get("no_worse", False),
    )
