"""The limits as printed in the product's limits files: read as a person would, from the file."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parents[2] / "host" / "firstcrank" / "data"


@cache
def file_of(system_v: int) -> dict[str, Any]:
    """The tables of the limits file for 12 or 24 V."""
    return tomllib.loads((FOLDER / f"limits_{system_v}v.toml").read_text("utf-8"))


@cache
def limits(system_v: int) -> dict[str, float]:
    """Key to value."""
    return {key: float(table["value"]) for key, table in file_of(system_v).items() if isinstance(table, dict)}


def as_note(system_v: int) -> dict[str, Any]:
    """As a recording embeds them (docs/trace_format.md)."""
    tables = {key: table for key, table in file_of(system_v).items() if isinstance(table, dict)}
    return {
        "system_v": system_v,
        "name": f"shipped {system_v} V limits",
        "values": {key: table["value"] for key, table in tables.items()},
        "sources": {key: table["source"] for key, table in tables.items()},
    }
