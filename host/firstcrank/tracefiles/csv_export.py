"""A recording of ours written as a CSV, and read again: rows are bins, and before them stands what a verdict needs besides."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import numpy as np

from firstcrank.calibration import Calibration
from firstcrank.errors import CalibrationError, LimitsError
from firstcrank.limits import Limits
from firstcrank.model.context import Context
from firstcrank.recording import Meta, Recording
from firstcrank.trace import Channel, FloatArray, IntArray, KeyRuns, Trace, Uncertainty
from firstcrank.tracefiles.csv_about import AboutTable, about, holes_of, lines_of, table_of, uncertainty_of
from firstcrank.tracefiles.csv_cells import CsvText
from firstcrank.tracefiles.native import BROKEN, context_from_json

BIN_COLUMNS = ("t_end_s", "conversions", "gap_s")
RUN_COLUMNS = ("key_run_longest", "key_run_head", "key_run_tail")
ROWS_AT_ONCE = 20_000
TIME_FORMAT, VOLTS_FORMAT, COUNT_FORMAT = "%.9f", "%.9g", "%d"


@dataclass(frozen=True, slots=True)
class Rows:
    """The numbers of a CSV as a trace's arrays, shape (n,). `runs`: longest, head and tail, or nothing."""

    start_s: FloatArray
    end_s: FloatArray
    conversions: IntArray
    gap_s: FloatArray
    channels: dict[str, tuple[FloatArray, FloatArray, FloatArray]]
    runs: tuple[FloatArray, ...] = ()


def write_csv(path: Path, recording: Recording) -> None:
    """Bins as rows: times, conversions, longest time between samples, mean, lowest and highest of each lead, the feed's runs."""
    trace = recording.trace
    columns: dict[str, tuple[FloatArray | IntArray, str]] = {
        "t_s": (trace.start_s, TIME_FORMAT),
        "t_end_s": (trace.end_s, TIME_FORMAT),
        "conversions": (trace.conversions, COUNT_FORMAT),
        "gap_s": (trace.gap_s, VOLTS_FORMAT),
    }
    for role, channel in trace.channels.items():
        for name, values in (("", channel.mean_v), ("_lowest", channel.lowest_v), ("_highest", channel.highest_v)):
            columns[f"{role}{name}_v"] = (values, VOLTS_FORMAT)
    if trace.runs is not None:
        for name, counts in zip(RUN_COLUMNS, (trace.runs.longest, trace.runs.head, trace.runs.tail), strict=True):
            columns[name] = (counts, COUNT_FORMAT)
    row = ",".join(how for _, how in columns.values()) + "\n"
    body = path.with_name(path.name + ".rows")
    digest = hashlib.sha256()
    try:
        with body.open("wb") as file:
            for first in range(0, len(trace), ROWS_AT_ONCE):
                parts = zip(*(np.asarray(v[first : first + ROWS_AT_ONCE]).tolist() for v, _ in columns.values()), strict=True)
                text = "".join(row % part for part in parts).encode("ascii")
                digest.update(text)
                file.write(text)
        head = lines_of({**about(recording), "rows": len(trace), "rows_sha256": digest.hexdigest()})
        with path.open("wb") as file, body.open("rb") as rows:
            file.write("".join(f"{line}\n" for line in (*head, ",".join(columns))).encode("ascii"))
            while piece := rows.read(1 << 20):
                file.write(piece)
    finally:
        body.unlink(missing_ok=True)


def from_export(text: CsvText, rows: Rows, unknown: Uncertainty, accuracy_given: bool) -> Recording:
    """A recording from an export of ours. Where what stands before its rows is lost or altered, integrity says so.

    `unknown`: what to take where it does not say its uncertainty. `accuracy_given`: the user stated an accuracy, which is not used
    where the file has its own.
    """
    table = table_of(text.about)
    doubt = _doubt(text, table, len(rows.start_s))
    if table is None or doubt:
        return Recording(_trace(text, rows, {}, (doubt,), unknown), Context())
    try:
        trace = _trace(text, rows, table, tuple(str(line) for line in table["integrity"]), unknown)
        if accuracy_given:
            note = "the accuracy given is not used: this export states its own"
            trace = replace(trace, notes=(*trace.notes, note))
        calibration = Calibration.from_json(table["calibration"]) if table["calibration"] else None
        if trace.runs is not None and calibration is not None and "key_switch" in calibration.channels:
            lag_s = calibration.channel("key_switch").filter_s
            trace = replace(trace, runs=replace(trace.runs, filter_s=lag_s))
        limits = Limits.from_json(table["limits"]) if table["limits"] else None
        recording = Recording(trace, context_from_json(table["answers"]), calibration, limits, cast(Meta, dict(table["meta"])))
    except (*BROKEN, CalibrationError, LimitsError) as error:
        doubt = f"what this export says of itself cannot be used ({type(error).__name__}): export the recording again"
        return Recording(_trace(text, rows, {}, (doubt,), unknown), Context())
    return recording


def _doubt(text: CsvText, table: AboutTable | None, rows: int) -> str:
    """Why the export cannot be trusted; empty where it can."""
    if not text.about:
        return "this export lacks what stands before its rows (limits, answers, uncertainty): export the recording again"
    if table is None:
        return (
            "what stands before the rows of this export (limits, answers, uncertainty) is damaged: export the recording again"
        )
    if table.get("rows") != rows:
        return f"this export has {rows} rows and was written with {table.get('rows')}: export the recording again"
    if table.get("rows_sha256") != text.body_hash():
        return "the rows of this export were changed after it was written: export the recording again"
    return ""


def _trace(text: CsvText, rows: Rows, table: AboutTable, integrity: tuple[str, ...], unknown: Uncertainty) -> Trace:
    channels = {}
    for role, (mean_v, lowest_v, highest_v) in rows.channels.items():
        u, top_v = uncertainty_of(table, role) if table else (unknown, None)
        channels[role] = Channel(role, mean_v, lowest_v, highest_v, u, top_v)
    runs = None
    trigger_v = table.get("trigger_v")
    if rows.runs and trigger_v is not None:
        longest, head, tail = (values.astype(np.int64) for values in rows.runs)
        runs = KeyRuns(float(trigger_v), longest, head, tail)
    origin: dict[str, object] = {"file": str(text.path), "format": "csv", **table.get("meta", {})}
    if table.get("uncalibrated"):
        origin["uncalibrated"] = True
    return Trace(
        start_s=rows.start_s,
        end_s=rows.end_s,
        conversions=rows.conversions,
        gap_s=rows.gap_s,
        channels=channels,
        runs=runs,
        holes=holes_of(table) if table else (),
        complete=bool(table.get("complete", True)),
        notes=(*text.notes, *(str(line) for line in table.get("notes", ()))),
        origin=origin,
        integrity=integrity,
        kind=str(table.get("kind", "start")),
    )
