"""What a shop sets once: port, cylinders, limits, technician, folder of recordings, beep. One TOML file; typed options win."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypedDict, cast

from firstcrank.errors import UsageError

ENVIRONMENT = "FIRSTCRANK_SETTINGS"
# key -> (kind, what it is, default)
KEYS: dict[str, tuple[type, str, object]] = {
    "port": (str, "serial port of the board", None),
    "cylinders": (int, "cylinders of the engines at hand, for the crank speed", None),
    "limits": (str, "limits file", None),
    "system": (int, "system voltage, 12 or 24", None),
    "technician": (str, "technician of new jobs", ""),
    "recordings": (str, "folder that recordings go to", "."),
    "beep": (bool, "a bell at each change of the large word", True),
}
OPTION = {"port": "port", "cylinders": "cylinders", "limits": "limits_file", "system": "system"}
RECORDING = ("start", "record", "repeat", "switch-test", "watch", "live")


class SettingsTable(TypedDict, total=False):
    """The keys of the file that it sets."""

    port: str
    cylinders: int
    limits: str
    system: int
    technician: str
    recordings: str
    beep: bool


@dataclass(frozen=True, slots=True)
class Settings:
    """`values` are those of the file; `path` where it is or would be."""

    path: Path
    values: SettingsTable = field(default_factory=SettingsTable)

    def get(self, key: str) -> object:
        """The value, or its default."""
        return self.values.get(key, KEYS[key][2])

    def source(self, key: str) -> str:
        """Where the value comes from."""
        return str(self.path) if key in self.values else "default"

    @property
    def folder(self) -> Path:
        """Where recordings go, absolute; made when the first one is written."""
        return Path(str(self.get("recordings"))).expanduser().resolve()


def settings_path() -> Path:
    """The settings file: the environment's, else in the platform's folder."""
    from platformdirs import user_config_path

    given = os.environ.get(ENVIRONMENT)
    return Path(given) if given else user_config_path("firstcrank", appauthor=False) / "settings.toml"


def read_settings(path: Path | None = None) -> Settings:
    """Raises UsageError naming the key that can't be used and what it must be."""
    path = path or settings_path()
    if not path.exists():
        return Settings(path)
    from firstcrank.toml_file import read_toml

    table = read_toml(path, UsageError, "settings file")
    found: dict[str, object] = {}
    for key, value in table.items():
        if key == "shop":
            continue  # the report's own
        if key not in KEYS:
            raise UsageError(f"settings file {path}: {key!r} is no setting; there are {', '.join(KEYS)}")
        kind, what, _ = KEYS[key]
        if type(value) is not kind:
            raise UsageError(f"settings file {path}: {key} ({what}) must be {_named(kind)}")
        found[key] = value
    values = cast(SettingsTable, found)
    if values.get("system") not in (None, 12, 24):
        raise UsageError(f"settings file {path}: system must be 12 or 24")
    if not 1 <= values.get("cylinders", 1) <= 16:
        raise UsageError(f"settings file {path}: cylinders must be 1 to 16")
    return Settings(path, values)


def _named(kind: type) -> str:
    return {str: 'text in quotes, such as "COM3"', int: "a whole number", bool: "true or false"}[kind]


def default_map(settings: Settings) -> dict[str, dict[str, object]]:
    """Defaults of the commands' options by these settings."""
    options = {OPTION[key]: str(value) if key == "system" else value for key, value in settings.values.items() if key in OPTION}
    streamed = {key: value for key, value in options.items() if key != "cylinders"}
    found: dict[str, dict[str, object]] = {name: dict(streamed if name in ("watch", "live") else options) for name in RECORDING}
    found["judge"] = {"cylinders": options["cylinders"]} if "cylinders" in options else {}
    technician = settings.values.get("technician")
    return {**found, "jobs": {"new": {"technician": technician}}} if technician else found


def last_recording(folder: Path) -> Path:
    """The newest recording in a folder. Raises UsageError where there is none."""
    from firstcrank.whole_file import whole_in

    found = sorted(whole_in(folder, "*.fcr"), key=lambda path: path.stat().st_mtime) if folder.is_dir() else []
    if not found:
        raise UsageError(f"no recording in {folder} yet")
    return found[-1]
