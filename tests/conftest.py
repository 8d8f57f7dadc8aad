"""Options for every test."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("house", deadline=None)
settings.load_profile("house")
"""A slow or busy computer fails no law."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--regenerate",
        action="store_true",
        help="Write the expected outputs in tests/golden anew instead of comparing with them.",
    )


@pytest.fixture(autouse=True, scope="session")
def own_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Nothing that is remembered between calls comes from, or goes to, whoever runs the tests."""
    os.environ["XDG_CONFIG_HOME"] = str(tmp_path_factory.mktemp("config"))
    os.environ["COLUMNS"] = "80"
