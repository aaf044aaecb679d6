"""A CSV in volts from any logger, and a trace of ours written as one.

Header by default `t_s,battery_v,key_switch_v,...`: role plus `_v`; time as `t_s`, `t_ms` or `t_us`. A CSV that firstcrank
wrote also carries each bin's end, conversions, longest time between two looks, and lowest and highest reading; they are
taken, since a row's mean alone would hide a short dropout.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.model.context import Context
from firstcrank.recording import Recording
from firstcrank.trace import ROLES, Channel, FloatArray, Trace, Uncertainty
from firstcrank.tracefiles.csv_cells import CsvText, numbers, read_text

TIME_UNITS = {"t_s": 1.0, "t_ms": 1e-3, "t_us": 1e-6}
DEFAULT_RELATIVE, DEFAULT_OFFSET_V = 0.005, 0.020
SLOW_S = 0.5
LONG_S = 900.0  # no first start lasts this long: the time is likely in another unit
LONGEST_S = 6 * 3600.0
BIN_COLUMNS = ("t_end_s", "conversions", "gap_s")


def parse_uncertainty(text: str) -> tuple[float, float]:
    """Relative part and volts from text such as "0.5%+20mV" or "1%". Raises UsageError."""
    match = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)\s*%\s*(?:\+\s*(\d+\.?\d*|\.\d+)\s*(mV|V)\s*)?", text)
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
        if role in columns:
            raise UsageError(f"--map {entry!r}: {role} has the column {columns[role]!r} already")
        columns[role] = column
    return columns


def read_csv(path: Path, columns: Mapping[str, str] | None = None, accuracy: tuple[float, float] | None = None) -> Recording:
    """A trace from a CSV. `columns` maps roles to column names; `accuracy` is the logger's limit of error (relative, volts).

    The limit is taken as rectangular, u = a / sqrt(3) (JCGM 100 4.3.7). Raises UnreadableTraceError naming line and column.
    """
    text = read_text(path)
    time_name, unit_s, roles = _columns(text, dict(columns or {}))
    names = [time_name, *roles.values()]
    binned = _bin_columns(text, roles) if time_name == "t_s" else []
    table = numbers(text, [text.at(name) for name in names + binned])
    by_name = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names + binned)}
    t_s = by_name[time_name] * unit_s
    _check_time(text, t_s)
    notes = [*text.notes, *_remarks(t_s)]
    relative, offset_v = accuracy or (DEFAULT_RELATIVE, DEFAULT_OFFSET_V)
    notes.append(f"volts taken as accurate to {relative:.2%} plus {offset_v * 1e3:g} mV (--uncertainty changes it)")
    u = Uncertainty(gain_rel=relative / math.sqrt(3.0), offset_v=offset_v / math.sqrt(3.0))
    channels = {role: _channel(text, role, column, by_name, u) for role, column in roles.items()}
    end_s = np.concatenate((t_s[1:], [t_s[-1] + float(np.median(np.diff(t_s)))]))
    if binned:
        end_s = np.minimum(by_name["t_end_s"], np.concatenate((t_s[1:], [np.inf])))
    trace = Trace(
        start_s=t_s - t_s[0],
        end_s=end_s - t_s[0],
        conversions=by_name["conversions"].astype(np.int64) if binned else np.ones(len(t_s), dtype=np.int64),
        gap_s=by_name["gap_s"] if binned else end_s - t_s,
        channels=channels,
        notes=tuple(notes),
        origin={"file": str(path), "format": "csv"},
    )
    return Recording(trace, Context())


def _columns(text: CsvText, given: dict[str, str]) -> tuple[str, float, dict[str, str]]:
    """Name and unit of the time column, and role -> column."""
    for column in given.values():
        text.at(column)
    there = ", ".join(text.header)
    times = [(given[unit], TIME_UNITS[unit]) for unit in TIME_UNITS if unit in given]
    times = times or [(unit, TIME_UNITS[unit]) for unit in TIME_UNITS if unit in text.header]
    if not times:
        raise UnreadableTraceError(
            f"{text.path}: line 1: no time column t_s, t_ms or t_us; use --map t_s=COLUMN. There are: {there}"
        )
    if len(times) > 1:
        both = " and ".join(name for name, _ in times)
        raise UnreadableTraceError(f"{text.path}: line 1: {both} both hold time; choose one with --map t_s=COLUMN")
    roles = {role: given.get(role, role + "_v") for role in ROLES if role in given or role + "_v" in text.header}
    for role in ("battery", "key_switch"):
        if role not in roles:
            raise UnreadableTraceError(f"{text.path}: line 1: no column {role}_v; use --map {role}=COLUMN. There are: {there}")
    taken = list(roles.values())
    for column in taken:
        if taken.count(column) > 1:
            raise UsageError(f"--map: the column {column!r} cannot be two leads at once")
    return times[0][0], times[0][1], roles


def _bin_columns(text: CsvText, roles: dict[str, str]) -> list[str]:
    """Names of the columns that make each row a bin; empty where any is missing, so that each row is one reading."""
    wanted = [*BIN_COLUMNS, *(f"{role}_{end}_v" for role in roles for end in ("lowest", "highest"))]
    there = [name for name in wanted if name in text.header]
    if len(there) == len(wanted):
        return wanted
    if any(name in text.header for name in wanted[len(BIN_COLUMNS) :]) or "conversions" in text.header:
        missing = ", ".join(name for name in wanted if name not in there)
        raise UnreadableTraceError(
            f"{text.path}: line 1: rows are bins of several readings, and {missing} is missing: a mean alone hides dropouts"
        )
    return []


def _channel(text: CsvText, role: str, column: str, by_name: dict[str, FloatArray], u: Uncertainty) -> Channel:
    mean = by_name[column]
    lowest, highest = by_name.get(f"{role}_lowest_v", mean), by_name.get(f"{role}_highest_v", mean)
    wrong = np.flatnonzero(lowest > highest)
    if len(wrong):
        line = text.line_of_row(int(wrong[0]))
        raise UnreadableTraceError(f"{text.path}: line {line}: {role}_lowest_v is above {role}_highest_v")
    return Channel(role, mean, lowest, highest, u)


def _check_time(text: CsvText, t_s: FloatArray) -> None:
    if len(t_s) < 2:
        raise UnreadableTraceError(f"{text.path}: only one row")
    back = np.flatnonzero(np.diff(t_s) <= 0)
    if len(back):
        row = int(back[0]) + 1
        raise UnreadableTraceError(f"{text.path}: line {text.line_of_row(row)}: time does not rise ({t_s[row]:g} s)")
    if t_s[-1] - t_s[0] > LONGEST_S:
        hours = (t_s[-1] - t_s[0]) / 3600.0
        raise UnreadableTraceError(
            f"{text.path}: the rows cover {hours:.0f} hours: if the time is in milliseconds or microseconds, name its "
            "column t_ms or t_us (or --map t_ms=COLUMN)"
        )


def _remarks(t_s: FloatArray) -> list[str]:
    step_s = float(np.median(np.diff(t_s)))
    if step_s < SLOW_S and t_s[-1] - t_s[0] < LONG_S:
        return []
    return [
        f"rows are {step_s:g} s apart over {t_s[-1] - t_s[0]:.0f} s; if the time is in milliseconds, name its column t_ms "
        "(or --map t_ms=COLUMN)"
    ]


def write_csv(path: Path, recording: Recording) -> None:
    """Bins as rows: times, conversions, longest time between looks, and mean, lowest and highest of each lead."""
    trace = recording.trace
    names = ["t_s", "t_end_s", "conversions", "gap_s"]
    columns = [trace.start_s, trace.end_s, trace.conversions, trace.gap_s]
    for role, channel in trace.channels.items():
        names += [f"{role}_v", f"{role}_lowest_v", f"{role}_highest_v"]
        columns += [channel.mean_v, channel.lowest_v, channel.highest_v]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(names) + "\n")
        np.savetxt(file, np.column_stack(columns), delimiter=",", fmt="%.9g")
