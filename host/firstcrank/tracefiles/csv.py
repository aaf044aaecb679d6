"""A CSV in volts from any logger, and the same trace written as one.

Header by default `t_s,battery_v,key_switch_v,...`: role plus `_v`; time as `t_s`, `t_ms` or `t_us`. Semicolons, tabs and
decimal commas are recognised and stated in the notes; nothing is guessed silently, and every error names line and column.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from firstcrank.analysis.findings import Context
from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.recording import Recording
from firstcrank.trace import ROLES, Channel, FloatArray, Trace, Uncertainty

TIME_UNITS = {"t_s": 1.0, "t_ms": 1e-3, "t_us": 1e-6}
DEFAULT_RELATIVE, DEFAULT_OFFSET_V = 0.005, 0.020
SLOW_S = 0.5


def parse_uncertainty(text: str) -> tuple[float, float]:
    """Relative part and volts from text such as "0.5%+20mV" or "1%". Raises UsageError."""
    match = re.fullmatch(r"\s*([\d.]+)\s*%\s*(?:\+\s*([\d.]+)\s*(mV|V)\s*)?", text)
    if not match:
        raise UsageError(f"--uncertainty {text!r}: write it as 0.5%+20mV")
    volts = float(match[2] or 0.0) * (1e-3 if match[3] == "mV" else 1.0)
    return float(match[1]) / 100.0, volts


def parse_map(entries: tuple[str, ...]) -> dict[str, str]:
    """{role or "t_s": column} from ROLE=COLUMN texts. Raises UsageError."""
    columns: dict[str, str] = {}
    for entry in entries:
        role, equals, column = entry.partition("=")
        if not equals or not column or (role not in ROLES and role not in TIME_UNITS):
            known = ", ".join((*TIME_UNITS, *ROLES))
            raise UsageError(f"--map {entry!r}: write it as ROLE=COLUMN with one of {known}")
        columns[role] = column
    return columns


def read_csv(path: Path, columns: Mapping[str, str] | None = None, accuracy: tuple[float, float] | None = None) -> Recording:
    """A trace from a CSV. `columns` maps roles to column names; `accuracy` is the logger's limit of error (relative, volts).

    The limit is taken as rectangular, u = a / sqrt(3) (JCGM 100 4.3.7). Raises UnreadableTraceError naming line and column.
    """
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableTraceError(f"{path}: not a text file ({error.reason} at byte {error.start})") from error
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    if not text.strip():
        raise UnreadableTraceError(f"{path}: the file is empty")
    header_line, _, body = text.partition("\n")
    delimiter = max(";\t,", key=header_line.count)
    header = [name.strip().strip('"') for name in header_line.strip("\r").split(delimiter)]
    notes: list[str] = []
    if delimiter != ",":
        notes.append("columns are separated by " + ("semicolons" if delimiter == ";" else "tabs"))
        if re.search(r"\d,\d", body[:4096]):
            notes.append("numbers have a decimal comma")
            body = body.replace(",", ".")
    time_name, time_unit, roles = _columns(path, header, dict(columns or {}))
    wanted = [header.index(time_name), *(header.index(column) for column in roles.values())]
    table = _numbers(path, body, delimiter, header, wanted)
    return Recording(_trace(path, table, time_unit, list(roles), accuracy, notes), Context())


def _columns(path: Path, header: list[str], given: dict[str, str]) -> tuple[str, float, dict[str, str]]:
    """Name and unit of the time column, and role -> column."""
    for column in given.values():
        if column not in header:
            raise UnreadableTraceError(f"{path}: line 1: no column {column!r}; there are: {', '.join(header)}")
    times = [(given[unit], TIME_UNITS[unit]) for unit in TIME_UNITS if unit in given]
    times = times or [(unit, TIME_UNITS[unit]) for unit in TIME_UNITS if unit in header]
    if not times:
        raise UnreadableTraceError(
            f"{path}: line 1: no time column t_s, t_ms or t_us; use --map t_s=COLUMN. There are: {', '.join(header)}"
        )
    roles = {role: given.get(role, role + "_v") for role in ROLES if role in given or role + "_v" in header}
    for role in ("battery", "key_switch"):
        if role not in roles:
            raise UnreadableTraceError(
                f"{path}: line 1: no column {role}_v; use --map {role}=COLUMN. There are: {', '.join(header)}"
            )
    return times[0][0], times[0][1], roles


def _numbers(path: Path, body: str, delimiter: str, header: list[str], wanted: list[int]) -> FloatArray:
    """Rows of the wanted columns, shape (n, len(wanted)). The fast way first, the slow one to name what is wrong."""
    if not body.strip():
        raise UnreadableTraceError(f"{path}: a header and no rows")
    try:
        table = np.loadtxt(io.StringIO(body), delimiter=delimiter, usecols=wanted, ndmin=2)
        if table.size and bool(np.isfinite(table).all()):
            return np.asarray(table, dtype=np.float64)
    except ValueError:
        pass
    rows: list[list[float]] = []
    for number, line in enumerate(body.split("\n"), start=2):
        if not line.strip():
            continue
        cells = line.strip("\r").split(delimiter)
        row: list[float] = []
        for at in wanted:
            name = header[at]
            if at >= len(cells):
                raise UnreadableTraceError(f"{path}: line {number}: the column {name} is missing")
            try:
                value = float(cells[at].strip().strip('"'))
            except ValueError as error:
                raise UnreadableTraceError(f"{path}: line {number}, column {name}: {cells[at]!r} is not a number") from error
            if not math.isfinite(value):
                raise UnreadableTraceError(f"{path}: line {number}, column {name}: {cells[at].strip()!r} is no reading")
            row.append(value)
        rows.append(row)
    return np.asarray(rows, dtype=np.float64)


def _trace(
    path: Path, table: FloatArray, unit_s: float, roles: list[str], accuracy: tuple[float, float] | None, notes: list[str]
) -> Trace:
    t = table[:, 0] * unit_s
    back = np.flatnonzero(np.diff(t) <= 0)
    if len(back):
        raise UnreadableTraceError(f"{path}: line {int(back[0]) + 3}: time does not rise ({t[back[0] + 1]:g} s)")
    if len(t) < 2:
        raise UnreadableTraceError(f"{path}: only one row")
    t = t - t[0]
    step_s = np.diff(t)
    if float(np.median(step_s)) >= SLOW_S:
        notes.append(f"rows are {float(np.median(step_s)):g} s apart; if the time is in milliseconds, name its column t_ms")
    end_s = np.concatenate((t[1:], [t[-1] + float(np.median(step_s))]))
    relative, offset_v = accuracy or (DEFAULT_RELATIVE, DEFAULT_OFFSET_V)
    notes.append(f"volts taken as accurate to {relative:.2%} plus {offset_v * 1e3:g} mV (--uncertainty changes it)")
    u = Uncertainty(gain_rel=relative / math.sqrt(3.0), offset_v=offset_v / math.sqrt(3.0))
    channels = {}
    for i, role in enumerate(roles):
        volts = np.ascontiguousarray(table[:, i + 1])
        channels[role] = Channel(role, volts, volts, volts, u)
    return Trace(
        start_s=t,
        end_s=end_s,
        conversions=np.ones(len(t), dtype=np.int64),
        gap_s=end_s - t,
        channels=channels,
        notes=tuple(notes),
        origin={"file": str(path), "format": "csv"},
    )


def write_csv(path: Path, recording: Recording) -> None:
    """Bins as rows: start, end, and mean, lowest and highest of each lead, units in the header."""
    trace = recording.trace
    names, columns = ["t_s", "t_end_s", "conversions"], [trace.start_s, trace.end_s, trace.conversions]
    for role, channel in trace.channels.items():
        names += [f"{role}_v", f"{role}_lowest_v", f"{role}_highest_v"]
        columns += [channel.mean_v, channel.lowest_v, channel.highest_v]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(names) + "\n")
        np.savetxt(file, np.column_stack(columns), delimiter=",", fmt="%.9g")
