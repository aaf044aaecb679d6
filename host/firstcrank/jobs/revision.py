"""Which version of the tables this program knows, without a database."""

from __future__ import annotations

from pathlib import Path

MIGRATIONS = Path(__file__).parent / "migrations"


def head_revision() -> str:
    """The newest schema revision that this program knows: the number in the last migration's file name."""
    names = [entry.name for entry in (MIGRATIONS / "versions").iterdir()]
    return max(name[1:5] for name in names if name.startswith("v") and name[1:5].isdigit())
