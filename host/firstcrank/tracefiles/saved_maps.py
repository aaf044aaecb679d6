"""Column maps kept under a name, so that a logger's CSV needs its --map options only once.

One TOML file in the platform's configuration folder (FIRSTCRANK_MAPS names another): a table a map, role or time unit = column,
and `uncertainty` where it was given.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from firstcrank.errors import UsageError, cannot_write
from firstcrank.toml_file import read_toml
from firstcrank.tracefiles.csv import parse_map, parse_uncertainty

ENVIRONMENT = "FIRSTCRANK_MAPS"
NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")
UNCERTAINTY = "uncertainty"


@dataclass(frozen=True, slots=True)
class SavedMap:
    """`columns`: role or time unit -> column; `uncertainty`: text such as "0.5%+20mV", or empty."""

    columns: Mapping[str, str]
    uncertainty: str = ""


def maps_path() -> Path:
    """The file of maps: the environment's, else in the platform's folder."""
    from platformdirs import user_config_path

    given = os.environ.get(ENVIRONMENT)
    return Path(given) if given else user_config_path("firstcrank", appauthor=False) / "maps.toml"


def saved_maps() -> dict[str, SavedMap]:
    """All maps by name; empty where none was saved. Raises UsageError for a file that cannot be used."""
    path = maps_path()
    if not path.exists():
        return {}
    tables = read_toml(path, UsageError, "maps file")
    return {name: _checked(path, name, table) for name, table in tables.items()}


def saved_map(name: str) -> SavedMap:
    """The map called `name`. Raises UsageError naming those that there are."""
    maps = saved_maps()
    if name not in maps:
        there = f"there are: {', '.join(maps)}" if maps else "none is saved yet (--save-map saves one)"
        raise UsageError(f"no map is called {name!r}; {there}")
    return maps[name]


def save_map(name: str, saved: SavedMap) -> Path:
    """Keeps a map, in place of one of the same name, and gives the file's path. Raises UsageError."""
    if not NAME.fullmatch(name):
        raise UsageError(f"--save-map {name!r}: use 1 to 40 letters, digits, - and _")
    if not saved.columns:
        raise UsageError("--save-map needs at least one --map ROLE=COLUMN to save")
    maps = {**saved_maps(), name: saved}
    path = maps_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text("\n".join(_toml(key, value) for key, value in maps.items()), "utf-8")
        fresh.replace(path)
    except OSError as error:
        raise UsageError(f"maps file {cannot_write(path, error)}") from error
    return path


def _checked(path: Path, name: str, table: object) -> SavedMap:
    if not isinstance(table, dict) or not all(isinstance(value, str) for value in table.values()):
        raise UsageError(f'maps file {path}: [{name}] must hold lines role = "column"')
    try:
        uncertainty = table.get(UNCERTAINTY, "")
        if uncertainty:
            parse_uncertainty(uncertainty)
        return SavedMap(parse_map(tuple(f"{k}={v}" for k, v in table.items() if k != UNCERTAINTY)), uncertainty)
    except UsageError as error:
        raise UsageError(f"maps file {path}: [{name}]: {error}") from error


def _toml(name: str, saved: SavedMap) -> str:
    lines = {**saved.columns, **({UNCERTAINTY: saved.uncertainty} if saved.uncertainty else {})}
    return f"[{name}]\n" + "".join(f"{key} = {_string(value)}\n" for key, value in lines.items())


def _string(text: str) -> str:
    """A JSON string is a TOML basic string, except that TOML wants DEL escaped as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
