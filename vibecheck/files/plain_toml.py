"""Writing plain TOML, whole or not at all, and never over something else."""

from __future__ import annotations

import datetime
import json
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from vibecheck.errors import JobError


def toml_text(values: Mapping[str, Any], header: str = "") -> str:
    """Values as TOML; nested mappings become tables after the plain keys.

    >>> print(toml_text({"name": "L", "teeth": [31, 61], "note": {"by": "me"}}), end="")
    name = "L"
    teeth = [31, 61]
    <BLANKLINE>
    [note]
    by = "me"
    """
    plain = {key: value for key, value in values.items() if not isinstance(value, Mapping)}
    lines = [f"{_key(key)} = {_value(value)}" for key, value in plain.items() if value is not None]
    for key, value in values.items():
        if isinstance(value, Mapping) and value:
            path = f"{header}.{_key(key)}" if header else _key(key)
            lines += ["", f"[{path}]", toml_text(value, path).rstrip("\n")]
    return "\n".join(lines) + "\n"


def block_text(name: str, values: Mapping[str, Any]) -> str:
    """Values as one entry of the array of tables ``name``."""
    return f"\n[[{_key(name)}]]\n{toml_text(values, _key(name))}"


def read_toml(path: Path) -> dict[str, Any]:
    """A TOML file's values, or an error that says where it is faulty."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise JobError("there is no such file", "Check the folder.", str(path)) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise JobError(f"not valid TOML ({error})", "Put that line right.", str(path)) from None


def write_new(path: Path, text: str) -> None:
    """Write a text file that must not exist yet, whole or not at all."""
    part = _written_beside(path, text)
    try:
        os.link(part, path)
    except FileExistsError:
        raise JobError("it is already there", "Choose another name.", str(path)) from None
    except OSError:  # a disk without hard links
        if path.exists():
            raise JobError("it is already there", "Choose another name.", str(path)) from None
        part.rename(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(path.parent)


def add_block(path: Path, name: str, values: Mapping[str, Any]) -> None:
    """Add one entry at the end of a TOML file; all that stands there stays, word for word."""
    before = path.read_text(encoding="utf-8") if path.exists() else ""
    after = before.rstrip("\n") + "\n" + block_text(name, values) if before else block_text(
        name, values
    ).lstrip("\n")  # fmt: skip
    try:
        tomllib.loads(after)
    except tomllib.TOMLDecodeError as error:
        raise JobError(f"not valid TOML ({error})", "Put that line right.", str(path)) from None
    os.replace(_written_beside(path, after), path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make a folder's new names survive a power cut, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _written_beside(path: Path, text: str) -> Path:
    part = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        part.unlink(missing_ok=True)
        raise JobError(
            f"cannot be written ({error.strerror})",
            "Make room, or choose another place.",
            str(path),
        ) from None
    return part


def _key(key: str) -> str:
    bare = key and all(c.isascii() and (c.isalnum() or c in "-_") for c in key)
    return key if bare else _string(key)


def _string(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    raise TypeError(f"TOML cannot hold {type(value).__name__}")
