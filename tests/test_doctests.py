"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import pytest

import vibecheck

PACKAGE = Path(vibecheck.__file__).parent
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
    for path in PACKAGE.rglob("*.py")
    if "\n    >>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_hold(name: str) -> None:
    tried = doctest.testmod(import_module(name))
    assert tried.attempted > 0
    assert tried.failed == 0


def test_there_are_examples_to_hold() -> None:
    assert len(WITH_EXAMPLES) > 30
