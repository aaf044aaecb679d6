"""Which record store is meant by what was typed, or by nothing, before any database is loaded."""

from __future__ import annotations

import os
from pathlib import Path

ENVIRONMENT = "FIRSTCRANK_STORE"
SQLITE = "sqlite://"


def default_place() -> str:
    """The environment's store, else a file in the platform's data folder."""
    from platformdirs import user_data_path

    return os.environ.get(ENVIRONMENT) or str(user_data_path("firstcrank", appauthor=False) / "firstcrank.sqlite")


def file_of(typed: str) -> Path | None:
    """The SQLite file that is meant, absolute; None for a server. A file's name may hold any sign, a question mark too."""
    if "://" in typed and not typed.startswith(SQLITE):
        return None
    return Path(typed.removeprefix(SQLITE).removeprefix("/") if typed.startswith(SQLITE) else typed).expanduser().resolve()
