"""A CSV in volts from any logger.

Header by default `t_s,battery_v,key_switch_v,...`: role plus `_v`; time as `t_s`, `t_ms` or `t_us`. A CSV that firstcrank
wrote (csv_export.py) also carries each bin's end, conversions, longest time between two samples, and lowest and highest
reading; they are taken, since a row's mean alone would hide a short dropout.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.model.context import Context
from firstcrank.noise import logger_uncertainty
from firstcrank.recording import Recording
from firstcrank.roles import ROLES
from firstcrank.thresholds.files import FILES
from firstcrank.trace import Channel, FloatArray, Trace, Uncertainty
from firstcrank.tracefiles.csv_cells import CsvText, numbers, read_text
from firstcrank.tracefiles.csv_export import BIN_COLUMNS, RUN_COLUMNS, Rows, from_export

TIME_UNITS = {"t_s": 1.0, "t_ms": 1e-3, "t_us": 1e-6}


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

    The limit is taken as rectangular, u = a / sqrt(3) (JCGM 100 4.3.7); each lead's own noise and resolution, estimated from its
    readings, come on top. Raises UnreadableTraceError naming line and column.
    """
    text = read_text(path)
    time_name, unit_s, roles = _columns(text, dict(columns or {}))
    names = [time_name, *roles.values()]
    binned = _bin_columns(text, roles) if time_name == "t_s" else []
    runs = [name for name in RUN_COLUMNS if name in text.header] if binned else []
    wanted = [*names, *binned, *(runs if len(runs) == len(RUN_COLUMNS) else ())]
    by_name = dict(zip(wanted, numbers(text, [text.at(name) for name in wanted]), strict=True))
    t_s = by_name[time_name]
    t_s *= unit_s
    step_s = _check_time(text, t_s)
    end_s = np.empty_like(t_s)
    end_s[:-1], end_s[-1] = t_s[1:], t_s[-1] + step_s
    if binned:
        end_s = np.minimum(by_name["t_end_s"], np.concatenate((t_s[1:], [np.inf])))
    first_s = float(t_s[0])
    rows = Rows(
        start_s=t_s - first_s,
        end_s=end_s - first_s,
        conversions=by_name["conversions"].astype(np.int64) if binned else np.ones(len(t_s), dtype=np.int64),
        gap_s=by_name["gap_s"] if binned else end_s - t_s,
        channels={role: _volts(text, role, column, by_name) for role, column in roles.items()},
        runs=tuple(by_name[name] for name in RUN_COLUMNS if name in by_name),
    )
    relative, offset_v = accuracy or (FILES.csv_relative, FILES.csv_offset_v)
    u = Uncertainty(gain_rel=relative / math.sqrt(3.0), offset_v=offset_v / math.sqrt(3.0))
    if binned or text.about:
        return from_export(text, rows, u, accuracy is not None)
    notes = [*text.notes, *_remarks(t_s, step_s)]
    notes.append(f"volts taken as accurate to {relative:.2%} plus {offset_v * 1e3:g} mV (--uncertainty changes it)")
    channels = {
        role: Channel(role, *volts, logger_uncertainty(volts[0], u.gain_rel, u.offset_v))
        for role, volts in rows.channels.items()
    }
    trace = Trace(
        rows.start_s,
        rows.end_s,
        rows.conversions,
        rows.gap_s,
        channels,
        notes=tuple(notes),
        origin={"file": str(path), "format": "csv"},
    )
    return Recording(trace, Context())


def _columns(text: CsvText, given: dict[str, str]) -> tuple[str, float, dict[str, str]]:
    """Name and unit of the time column, and role -> column."""
    for column in given.values():
        text.at(column)
    there = text.there
    times = [(given[unit], TIME_UNITS[unit]) for unit in TIME_UNITS if unit in given]
    times = times or [(unit, TIME_UNITS[unit]) for unit in TIME_UNITS if unit in text.header]
    if not times:
        raise UnreadableTraceError(
            f"{text.where_header}: no time column t_s, t_ms or t_us; use --map t_s=COLUMN. There are: {there}"
        )
    if len(times) > 1:
        both = " and ".join(name for name, _ in times)
        raise UnreadableTraceError(f"{text.where_header}: {both} both hold time; choose one with --map t_s=COLUMN")
    roles = {role: given.get(role, role + "_v") for role in ROLES if role in given or role + "_v" in text.header}
    for role in ("battery", "key_switch"):
        if role not in roles:
            raise UnreadableTraceError(f"{text.where_header}: no column {role}_v; use --map {role}=COLUMN. There are: {there}")
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
            f"{text.where_header}: rows are bins of several readings, and {missing} is missing: a mean alone hides dropouts"
        )
    return []


def _volts(
    text: CsvText, role: str, column: str, by_name: Mapping[str, FloatArray]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean, lowest and highest of a lead, the same array where each row is one reading."""
    mean = by_name[column]
    lowest, highest = by_name.get(f"{role}_lowest_v", mean), by_name.get(f"{role}_highest_v", mean)
    wrong = np.flatnonzero(lowest > highest)
    if len(wrong):
        line = text.line_of_row(int(wrong[0]))
        raise UnreadableTraceError(f"{text.path}: line {line}: {role}_lowest_v is above {role}_highest_v")
    return mean, lowest, highest


def _check_time(text: CsvText, t_s: FloatArray) -> float:
    """The usual step of time, seconds. Raises UnreadableTraceError where time does not rise or covers hours."""
    if len(t_s) < 2:
        raise UnreadableTraceError(f"{text.path}: only one row")
    steps_s = np.diff(t_s)
    if not steps_s.min() > 0:
        back = np.flatnonzero(steps_s <= 0)
        row = int(back[0]) + 1
        raise UnreadableTraceError(f"{text.path}: line {text.line_of_row(row)}: time does not rise ({t_s[row]:g} s)")
    if t_s[-1] - t_s[0] > FILES.longest_csv_s:
        hours = (t_s[-1] - t_s[0]) / 3600.0
        raise UnreadableTraceError(
            f"{text.path}: the rows cover {hours:.0f} hours: if the time is in milliseconds or microseconds, name its "
            "column t_ms or t_us (or --map t_ms=COLUMN)"
        )
    return float(np.median(steps_s))


def _remarks(t_s: FloatArray, step_s: float) -> list[str]:
    if step_s < FILES.slow_s and t_s[-1] - t_s[0] < FILES.long_s:
        return []
    return [
        f"rows are {step_s:g} s apart over {t_s[-1] - t_s[0]:.0f} s; if the time is in milliseconds, name its column t_ms "
        "(or --map t_ms=COLUMN)"
    ]
