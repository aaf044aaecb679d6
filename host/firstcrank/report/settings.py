"""The shop's name and logo, from a settings file in the platform's configuration folder."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path

from firstcrank.errors import UsageError

ENVIRONMENT = "FIRSTCRANK_SETTINGS"


@dataclass(frozen=True, slots=True)
class Shop:
    """Name, and the logo's bytes (PNG or JPEG)."""

    name: str = ""
    logo: bytes = b""


def settings_path() -> Path:
    """The settings file: the environment's, else in the platform's folder."""
    from platformdirs import user_config_path

    given = os.environ.get(ENVIRONMENT)
    return Path(given) if given else user_config_path("firstcrank", appauthor=False) / "settings.toml"


def shop() -> Shop:
    """`[shop] name = "...", logo = "file"`; empty where there is no file. Raises UsageError for one that cannot be used."""
    path = settings_path()
    if not path.exists():
        return Shop()
    try:
        table = tomllib.loads(path.read_text("utf-8")).get("shop", {})
        logo = path.parent / table["logo"] if table.get("logo") else None
        return Shop(str(table.get("name", "")), logo.read_bytes() if logo else b"")
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError, AttributeError, TypeError) as error:
        raise UsageError(f"settings file {path}: {error}") from error
