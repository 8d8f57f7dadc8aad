"""Putting a finished take into a sweep: a free name, a hash, an entry; nothing overwritten."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from vibecheck.errors import JobError
from vibecheck.files.plain_toml import add_block, sync_folder
from vibecheck.files.sweep import ASIDE_NAME, PART, SWEEP_NAME, Sweep, file_sha256, now
from vibecheck.recording import TakeKind


def free_stem(folder: Path, position: str | None, kind: TakeKind) -> str:
    """A file stem for the next take that nothing in the folder has, finished or begun."""
    words = re.findall(r"[^\W_]+", " ".join(filter(None, [position, _kind_word(kind)])))
    base = "_".join(words) or "take"
    used = {path.name.split(".")[0].casefold() for path in folder.glob("*")}
    used |= {path.name.split(".")[0].casefold() for path in (folder / ASIDE_NAME).glob("*")}
    stem, number = base, 1
    while stem.casefold() in used:
        number += 1
        stem = f"{base}_{number}"
    return stem


def add_take(sweep: Sweep, source: Path, take: Mapping[str, Any], *, keep: bool = True) -> Path:
    """Take a finished file into a sweep under a free name and write its entry.

    Parameters
    ----------
    source : Path
        The file; one that lies in the sweep's folder is renamed, another is copied.
    take : mapping
        Fields of `StoredTake` besides file and sha256.
    keep : bool
        False sets the file aside, unlisted, instead: nothing recorded is ever deleted.

    Returns
    -------
    Path
        Where it lies now.
    """
    suffix = source.suffix if source.suffix != PART else ".wav"
    position, kind = take.get("position"), take.get("kind", "idle")
    folder = sweep.folder if keep else sweep.folder / ASIDE_NAME
    folder.mkdir(exist_ok=True)
    own = source.parent == sweep.folder
    stem = source.name.split(".")[0] if own else free_stem(sweep.folder, position, kind)
    target = folder / f"{stem}{suffix.lower()}"
    if target != source:
        _move_or_copy(source, target, move=own)
    if keep:
        entry = {"file": target.name, "sha256": file_sha256(target), **take}
        entry.setdefault("recorded", now())
        add_block(sweep.folder / SWEEP_NAME, "take", _told(entry))
    return target


def _told(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: list(value) if isinstance(value, tuple) else value
        for key, value in entry.items()
        if value not in (None, "", (), {})
    }


def _kind_word(kind: TakeKind) -> str:
    return "" if kind == "idle" else kind


def _move_or_copy(source: Path, target: Path, *, move: bool) -> None:
    try:
        if move:
            try:
                os.link(source, target)
            except FileExistsError:
                raise
            except OSError:  # a disk without hard links
                if target.exists():
                    raise FileExistsError from None
                source.rename(target)
                return
            source.unlink()
        else:
            with source.open("rb") as old, target.open("xb") as new:
                shutil.copyfileobj(old, new, 1 << 20)
                new.flush()
                os.fsync(new.fileno())
    except FileExistsError:
        raise JobError("it is already there", "Nothing was overwritten.", str(target)) from None
    except OSError as error:
        raise JobError(
            f"cannot be stored ({error.strerror})", "Make room and try again.", str(target)
        ) from None
    sync_folder(target.parent)
