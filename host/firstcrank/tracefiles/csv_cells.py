"""From the bytes of a CSV to columns of numbers, with the line and column of whatever is wrong.

The file goes through in pieces, so that its size costs no memory beyond the numbers wanted. What its dialect is gets found
and told, never guessed silently: a number that could be read two ways is refused.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firstcrank.errors import UnreadableTraceError
from firstcrank.trace import FloatArray

SEPARATORS = {";": "semicolons", "\t": "tabs", ",": "commas"}
DECIMAL_COMMA = re.compile(rb"\d,\d")
DECIMAL_POINT = re.compile(rb"\d\.\d")
PLAIN = b"0123456789+-.eE \n"
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
PIECE_BYTES = 1 << 20
LONGEST_LINE = 1 << 20
WHOLE_BYTES = 256_000_000
MOST_NAMES = 500
ABOUT = "# firstcrank:"  # lines before the header that an export of ours begins with (csv_about.py)


@dataclass(frozen=True, slots=True)
class CsvText:
    """A CSV's header and dialect; `notes` say what was recognised. `about`: our own lines before the header.

    `body_at`: where the rows begin, bytes; `body_line`: line number of the first row.
    """

    path: Path
    delimiter: str
    header: tuple[str, ...]
    notes: tuple[str, ...]
    about: tuple[str, ...]
    decimal_comma: bool
    body_at: int
    body_line: int

    def at(self, name: str) -> int:
        """Number of the column called `name`. Raises UnreadableTraceError where none or more than one is called so."""
        count = self.header.count(name)
        if count == 1:
            return self.header.index(name)
        there = self.there
        if count:
            raise UnreadableTraceError(f"{self.where_header}: {count} columns are called {name!r}; there are: {there}")
        raise UnreadableTraceError(f"{self.where_header}: no column {name!r}; there are: {there}")

    @property
    def there(self) -> str:
        """The names of the columns, for messages."""
        names = ", ".join(self.header)
        return names if len(names) <= MOST_NAMES else names[:MOST_NAMES] + " ..."

    @property
    def where_header(self) -> str:
        """File and line of the column names, for messages."""
        return f"{self.path}: line {self.body_line - 1}"

    def line_of_row(self, row: int) -> int:
        """Line in the file, from 1, of a row counted from 0 without blank lines."""
        seen = 0
        for first_line, piece in _pieces(self.path, self.body_at, self.body_line):
            lines = piece.split(b"\n")
            filled = [number for number, line in enumerate(lines, start=first_line) if line.strip()]
            if row - seen < len(filled):
                return filled[row - seen]
            seen += len(filled)
        return self.body_line

    def body_hash(self) -> str:
        """SHA-256 of the rows in hex, ends of lines as a single line feed."""
        digest = hashlib.sha256()
        for piece in _whole_lines(self.path, self.body_at):
            digest.update(piece)
        return digest.hexdigest()


def is_csv(head: bytes) -> bool:
    """Whether a file that begins so is text with a line of names and rows of numbers under it."""
    try:
        text = head.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if error.end < len(head):
            return False  # not merely a letter that the head's end cuts in two
        text = head[: error.start].decode("utf-8-sig")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if len(lines) < 2 or not all(sign.isprintable() or sign in "\t" for line in lines for sign in line):
        return False
    delimiter = max(SEPARATORS, key=lines[0].count)
    return delimiter in lines[0] and any(NUMBER.fullmatch(cell.replace(",", ".")) for cell in lines[1].split(delimiter))


def _pieces(path: Path, at: int, line: int) -> Iterator[tuple[int, bytes]]:
    """(line number, whole lines) of a file from byte `at` on, each about PIECE_BYTES, ends of lines as line feeds."""
    for piece in _whole_lines(path, at):
        yield line, piece
        line += piece.count(b"\n")


def _whole_lines(path: Path, at: int) -> Iterator[bytes]:
    """As _pieces, without the numbers."""
    with path.open("rb") as file:
        file.seek(at)
        rest = b""
        while chunk := file.read(PIECE_BYTES):
            if chunk.endswith(b"\r"):
                chunk += file.read(1)
            if b"\r" in chunk:
                chunk = chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            whole, mark, rest = (rest + chunk).rpartition(b"\n")
            if len(rest) > LONGEST_LINE:
                raise UnreadableTraceError(f"{path}: a line is longer than a row of numbers can be: is this a CSV?")
            if mark:
                yield whole + mark
        if rest:
            yield rest


def _decoded(path: Path, data: bytes, at: int) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise UnreadableTraceError(
            f"{path}: not a text file in UTF-8 ({error.reason} at byte {at + error.start}): save it again as CSV UTF-8"
        ) from error


def read_text(path: Path) -> CsvText:
    """Header and dialect of a CSV. Raises UnreadableTraceError."""
    try:
        return _read_text(path)
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error


def _read_text(path: Path) -> CsvText:
    with path.open("rb") as file:
        begin = file.read(4 * LONGEST_LINE)
    at = 3 if begin.startswith(b"\xef\xbb\xbf") else 0
    if not begin[at:].strip(b" \t\r\n\x00"):
        raise UnreadableTraceError(f"{path}: the file is empty")
    about, head, at, line = _head(path, begin, at)
    delimiter = max(SEPARATORS, key=head.count)
    try:
        header = tuple(name.strip() for name in next(csv.reader([head], delimiter=delimiter), []))
    except csv.Error as error:
        raise UnreadableTraceError(f"{path}: line {line - 1}: {error}: is this a CSV?") from error
    notes: list[str] = []
    comma, filled = _dialect(path, at, delimiter)
    if not filled:
        raise UnreadableTraceError(f"{path}: a header and no rows")
    if delimiter != ",":
        notes.append(f"columns are separated by {SEPARATORS[delimiter]}")
        if comma:
            notes.append("numbers have a decimal comma")
    return CsvText(path, delimiter, header, tuple(notes), tuple(about), comma, at, line)


def _head(path: Path, begin: bytes, at: int) -> tuple[list[str], str, int, int]:
    """Our own lines, the line of names, and byte and line at which the rows begin.

    Where one line before the names is ours all are: a line of them that is damaged must not be left out in silence.
    """
    about: list[str] = []
    first: tuple[list[str], str, int, int] | None = None
    line = 1
    while True:
        raw, end = _first_line(begin, at)
        if len(raw) > LONGEST_LINE:
            raise UnreadableTraceError(f"{path}: line {line} is longer than a row of names can be: is this a CSV?")
        head = _decoded(path, raw, at)
        at, line = end, line + 1
        first = first or ([], head, at, line)
        if not head.startswith("#") or not raw:
            break
        about.append(head)
    return (about, head, at, line) if any(ours.startswith(ABOUT) for ours in about) else first


def _first_line(data: bytes, at: int) -> tuple[bytes, int]:
    """The line at `at` and where the next begins."""
    ends = [end for end in (data.find(b"\n", at), data.find(b"\r", at)) if end >= 0]
    if not ends:
        return data[at:], len(data)
    end = min(ends)
    return data[at:end], end + (2 if data[end : end + 2] == b"\r\n" else 1)


def _dialect(path: Path, at: int, delimiter: str) -> tuple[bool, bool]:
    """Whether numbers have a decimal comma, and whether there is any row. Both marks in one file are refused."""
    comma = point = filled = False
    for piece in _whole_lines(path, at):
        filled = filled or bool(piece.strip())
        if delimiter == ",":
            if filled:
                break
            continue
        comma = comma or (b"," in piece and DECIMAL_COMMA.search(piece) is not None)
        point = point or (b"." in piece and DECIMAL_POINT.search(piece) is not None)
        if comma and point:
            raise UnreadableTraceError(
                f"{path}: numbers with a comma and numbers with a point: which is the decimal mark? "
                "Save it with one decimal mark and no thousands marks"
            )
    return comma, filled


def numbers(text: CsvText, wanted: Sequence[int]) -> list[FloatArray]:
    """The wanted columns, each of shape (n,). Raises UnreadableTraceError naming line and column."""
    found: list[list[FloatArray]] = [[] for _ in wanted]
    try:
        whole = _whole(text, wanted)
        if whole is not None:
            return whole
        at = text.body_at
        for first_line, piece in _pieces(text.path, text.body_at, text.body_line):
            if piece.strip():
                for column, values in zip(found, _columns(text, piece, first_line, wanted, at), strict=True):
                    column.append(values)
            at += len(piece)
    except OSError as error:
        raise UnreadableTraceError(f"{text.path}: {error.strerror or error}") from error
    columns: list[FloatArray] = []
    for parts in found:
        columns.append(np.concatenate(parts) if len(parts) > 1 else parts[0])
        parts.clear()
    return columns


def _whole(text: CsvText, wanted: Sequence[int]) -> list[FloatArray] | None:
    """All rows in one call, which NumPy does fastest from the file itself; None where any cell is not a plain number.

    It takes the numbers twice for a moment: a file too large for that goes in pieces.
    """
    if text.decimal_comma or text.path.stat().st_size > WHOLE_BYTES:
        return None
    known = PLAIN + text.delimiter.encode()
    if any(piece.translate(None, known) for piece in _whole_lines(text.path, text.body_at)):
        return None
    try:
        skipped = text.body_line - 1
        table = np.loadtxt(text.path, delimiter=text.delimiter, skiprows=skipped, ndmin=2, comments=None, encoding="utf-8")
    except ValueError:
        return None
    if table.shape[1] != len(text.header):
        return None
    columns = [np.ascontiguousarray(table[:, n]) for n in wanted]
    return columns if all(bool(np.isfinite(values).all()) for values in columns) else None


def _columns(text: CsvText, piece: bytes, first_line: int, wanted: Sequence[int], at: int) -> list[FloatArray]:
    """The wanted columns of some lines: at once where every cell is a plain number, else row by row."""
    if text.decimal_comma:
        piece = piece.replace(b",", b".")
    plain = not piece.translate(None, PLAIN + text.delimiter.encode())
    found = _by_numpy(text, piece, wanted, plain)
    if found is not None and all(bool(np.isfinite(values).all()) for values in found):
        return found
    lines = enumerate(_decoded(text.path, piece, at).split("\n"), start=first_line)
    rows = [_row(text, number, line, wanted) for number, line in lines if line.strip()]
    return list(np.ascontiguousarray(np.asarray(rows, dtype=np.float64).T))


def _by_numpy(text: CsvText, piece: bytes, wanted: Sequence[int], plain: bool) -> list[FloatArray] | None:
    """By NumPy; other columns may hold text without quotes. None where any line or cell is not as the header promises."""
    delimiters = len(text.header) - 1
    try:
        body = piece.decode("utf-8")
        lines = body.split("\n")
        if not plain and ('"' in body or any(line.count(text.delimiter) != delimiters for line in lines if line.strip())):
            return None
        table = np.loadtxt(lines, delimiter=text.delimiter, usecols=None if plain else wanted, ndmin=2, comments=None)
    except ValueError:
        return None  # one by one then, to say which cell it is
    if plain and table.shape[1] != delimiters + 1:
        return None
    return [np.ascontiguousarray(table[:, n]) for n in (wanted if plain else range(len(wanted)))]


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
    """A cell as a number: sign, digits, one point, exponent, and nothing that Python alone would take for one."""
    shown = repr(cell[:60])
    try:
        value = float(cell)
    except ValueError as error:
        raise UnreadableTraceError(f"{where}: {shown} is not a number") from error
    if not math.isfinite(value):
        raise UnreadableTraceError(f"{where}: {cell.strip()[:60]!r} is no reading")
    if not NUMBER.fullmatch(cell):
        raise UnreadableTraceError(f"{where}: {shown} is not a number")
    return value
