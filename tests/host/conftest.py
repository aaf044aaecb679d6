"""What several tests of the record begin with."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from .postgres import server

NUMBERS = itertools.count(1)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Callable[[str], str]]:
    """One server for all tests that leave it running."""
    with server() as database:
        yield database


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An empty record store of each kind: a file, a database."""
    if request.param == "sqlite":
        return str(tmp_path / "shop.sqlite")
    return str(request.getfixturevalue("postgres")(f"shop{next(NUMBERS)}"))
