"""Options for every test."""

from __future__ import annotations

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--regenerate",
        action="store_true",
        help="Write the expected outputs in tests/golden anew instead of comparing with them.",
    )
