"""The shop's name and logo, from a settings file in the platform's configuration folder."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from firstcrank.errors import UsageError
from firstcrank.settings import ENVIRONMENT, settings_path


@dataclass(frozen=True, slots=True)
class Shop:
    """Name, the logo's bytes (PNG or JPEG), and a font for letters that the paper's own lacks."""

    name: str = ""
    logo: bytes = b""
    font: Path | None = None


def shop() -> Shop:
    """`[shop] name = "...", logo = "file", font = "file"`; empty where there is no file. Raises UsageError for one that cannot be used."""
    path = settings_path()
    if not path.exists():
        return Shop()
    try:
        table = tomllib.loads(path.read_text("utf-8")).get("shop", {})
        logo = path.parent / table["logo"] if table.get("logo") else None
        font = path.parent / table["font"] if table.get("font") else None
        return Shop(str(table.get("name", "")), logo.read_bytes() if logo else b"", font)
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError, AttributeError, TypeError) as error:
        raise UsageError(f"settings file {path}: {error}") from error


__all__ = ["ENVIRONMENT", "Shop", "settings_path", "shop"]
