"""A TOML file that a person wrote or edited: read whole or refused in one line, whatever is in it."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from firstcrank.errors import FirstcrankError

LARGEST_BYTES = 1_000_000
LONGEST_WHY = 160


def read_toml(path: Path, refused: type[FirstcrankError], kind: str = "") -> dict[str, object]:
    """The file's table; a byte-order mark is passed over. Raises `refused` naming the file, after its `kind`, and why, in one line."""
    name = f"{kind} {path}".strip()
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise refused(f"{name}: over {LARGEST_BYTES // 1000} kB: not a file of this kind")
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refused(f"{name}: not UTF-8 text (byte {error.start})") from error
    except OSError as error:
        raise refused(f"{name}: {error.strerror or error}") from error
    return parse_toml(text, name, refused)


def parse_toml(text: str, name: str, refused: type[FirstcrankError]) -> dict[str, object]:
    """The table in `text`. Raises `refused`: TOML's own errors, integers beyond Python's limit of digits, nesting too deep."""
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise refused(f"{name}: nested too deeply") from error
    except ValueError as error:  # TOMLDecodeError is one
        raise refused(f"{name}: {one_line(error)}") from error


def number(table: Mapping[str, object], key: str, default: float | None = None) -> float:
    """`table[key]` as a finite float. Raises ValueError for what is no number (text, a list, yes or no, not finite, too large)."""
    if key not in table and default is not None:
        return default
    return finite(key, table[key])


def finite(key: str, value: object) -> float:
    """`value` as a float. Raises ValueError naming `key`."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{key} is {shown(value)}, must be a number")
    try:
        as_float = float(value)
    except OverflowError as error:
        raise ValueError(f"{key} is too large a number") from error
    if not math.isfinite(as_float) and key != "input_ohm" and key != "r_lift_ohm":
        raise ValueError(f"{key} is {as_float}, must be finite")
    return as_float


def text_at(table: Mapping[str, object], key: str, default: str = "") -> str:
    """`table[key]` as text. Raises ValueError for what is none."""
    value = table.get(key, default)
    if not isinstance(value, str):
        raise ValueError(f"{key} is {shown(value)}, must be a name")
    return value


def shown(value: object) -> str:
    """A short picture of a value for an error: text and numbers as they are, the rest by its kind."""
    if isinstance(value, str):
        return repr(value if len(value) <= 40 else value[:37] + "...")
    return repr(value) if isinstance(value, bool | float) or value is None else f"a {type(value).__name__}"


def one_line(error: BaseException) -> str:
    """What an error says, without line breaks and at most a line long."""
    text = " ".join(str(error).split()) or type(error).__name__
    return text if len(text) <= LONGEST_WHY else text[: LONGEST_WHY - 3] + "..."
