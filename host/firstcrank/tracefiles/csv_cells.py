"""From the text of a CSV to numbers, with the line and column of whatever is wrong.

What the file's dialect is gets found and told, never guessed silently: a number that could be read two ways is refused.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstcrank.errors import UnreadableTraceError
from firstcrank.trace import FloatArray

SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas"}
DECIMAL_COMMA = re.compile(r"\d,\d")
DECIMAL_POINT = re.compile(r"\d\.\d")


@dataclass(frozen=True, slots=True)
class CsvText:
    """A CSV split into its header and the text of its rows; `notes` say what was recognised."""

    path: Path
    delimiter: str
    header: tuple[str, ...]
    body: str
    notes: tuple[str, ...]

    def at(self, name: str) -> int:
        """Number of the column called `name`. Raises UnreadableTraceError where none or more than one is called so."""
        count = self.header.count(name)
        if count == 1:
            return self.header.index(name)
        there = ", ".join(self.header)
        if count:
            raise UnreadableTraceError(f"{self.path}: line 1: {count} columns are called {name!r}; there are: {there}")
        raise UnreadableTraceError(f"{self.path}: line 1: no column {name!r}; there are: {there}")

    def line_of_row(self, row: int) -> int:
        """Line in the file, from 1, of a row counted from 0 without blank lines."""
        filled = (number for number, line in enumerate(self.body.split("\n"), start=2) if line.strip())
        return next(number for at, number in enumerate(filled) if at == row)


def read_text(path: Path) -> CsvText:
    """Header, rows and dialect of a CSV. Raises UnreadableTraceError."""
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableTraceError(
            f"{path}: not a text file in UTF-8 ({error.reason} at byte {error.start}): save it again as CSV UTF-8"
        ) from error
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    if not text.strip("\ufeff \t\r\n\x00"):
        raise UnreadableTraceError(f"{path}: the file is empty")
    head, _, body = text.partition("\n")
    delimiter = max(SEPARATORS, key=head.count)
    header = tuple(name.strip() for name in next(csv.reader([head.strip("\r")], delimiter=delimiter), []))
    if not body.strip():
        raise UnreadableTraceError(f"{path}: a header and no rows")
    notes: list[str] = []
    if delimiter != ",":
        notes.append(f"columns are separated by {SEPARATORS[delimiter]}")
        if DECIMAL_COMMA.search(body):
            if DECIMAL_POINT.search(body):
                raise UnreadableTraceError(
                    f"{path}: numbers with a comma and numbers with a point: which is the decimal mark? "
                    "Save it with one decimal mark and no thousands marks"
                )
            notes.append("numbers have a decimal comma")
            body = body.replace(",", ".")
    return CsvText(path, delimiter, header, body, tuple(notes))


def numbers(text: CsvText, wanted: Sequence[int]) -> FloatArray:
    """Rows of the wanted columns, shape (n, len(wanted)). Raises UnreadableTraceError naming line and column."""
    marks = len(text.header) - 1
    lines = text.body.split("\n")
    if all(line.count(text.delimiter) == marks for line in lines if line.strip()):
        try:
            table = np.loadtxt(io.StringIO(text.body), delimiter=text.delimiter, usecols=wanted, ndmin=2, comments=None)
            if bool(np.isfinite(table).all()):
                return np.asarray(table, dtype=np.float64)
        except ValueError:
            pass  # one by one below, to say which cell it is
    rows = [_row(text, number, line, wanted) for number, line in enumerate(lines, start=2) if line.strip()]
    return np.asarray(rows, dtype=np.float64)


def _row(text: CsvText, number: int, line: str, wanted: Sequence[int]) -> list[float]:
    where = f"{text.path}: line {number}"
    try:
        cells = next(csv.reader([line.strip("\r")], delimiter=text.delimiter, strict=True))
    except csv.Error as error:
        raise UnreadableTraceError(f"{where}: {error}") from error
    for at in wanted:
        if at >= len(cells):
            raise UnreadableTraceError(f"{where}: the column {text.header[at]} is missing")
    if any(cell.strip() for cell in cells[len(text.header) :]):
        hint = " (a decimal comma with commas between the columns?)" if text.delimiter == "," else ""
        raise UnreadableTraceError(f"{where}: {len(cells)} cells under {len(text.header)} column names{hint}")
    return [_number(f"{where}, column {text.header[at]}", cells[at]) for at in wanted]


def _number(where: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError as error:
        raise UnreadableTraceError(f"{where}: {cell!r} is not a number") from error
    if not math.isfinite(value):
        raise UnreadableTraceError(f"{where}: {cell.strip()!r} is no reading")
    return value
