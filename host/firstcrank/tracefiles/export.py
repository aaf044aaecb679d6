"""A recording written out for other tools: CSV, Parquet, ASAM MDF 4, each with bins, close-ups and metadata."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np

from firstcrank.extras import extra_packages
from firstcrank.recording import Recording
from firstcrank.trace import BoolArray, FloatArray, IntArray, Trace
from firstcrank.tracefiles.csv_about import about

META_KEY = b"firstcrank"


def bin_columns(trace: Trace) -> dict[str, object]:
    """Column name with unit -> array, shape (n,): times, conversions, gap, then mean, lowest, highest of each lead, runs."""
    columns: dict[str, object] = {
        "t_s": trace.start_s,
        "t_end_s": trace.end_s,
        "conversions": trace.conversions,
        "gap_s": trace.gap_s,
    }
    for role, channel in trace.channels.items():
        columns[f"{role}_v"] = channel.mean_v
        columns[f"{role}_lowest_v"] = channel.lowest_v
        columns[f"{role}_highest_v"] = channel.highest_v
    if trace.runs is not None:
        columns["key_run_longest"] = trace.runs.longest
        columns["key_run_head"] = trace.runs.head
        columns["key_run_tail"] = trace.runs.tail
    return columns


def close_up_columns(trace: Trace) -> dict[str, object]:
    """Long form of all close-ups: edge number, falling, role, time, volts; shapes (m,)."""
    edge: list[IntArray] = []
    falling: list[BoolArray] = []
    roles: list[str] = []
    times: list[FloatArray] = []
    volts: list[FloatArray] = []
    for number, piece in enumerate(trace.close_ups):
        for role, values in piece.volts.items():
            edge.append(np.full(len(values), number, dtype=np.int64))
            falling.append(np.full(len(values), piece.falling))
            roles += [role] * len(values)
            times.append(piece.start_s + piece.offset_s[role] + np.arange(len(values), dtype=np.float64) * piece.period_s)
            volts.append(values)
    empty = np.zeros(0)
    return {
        "edge": np.concatenate(edge) if edge else empty.astype(np.int64),
        "falling": np.concatenate(falling) if falling else empty.astype(bool),
        "role": roles,
        "t_s": np.concatenate(times) if times else empty,
        "v": np.concatenate(volts) if volts else empty,
    }


def metadata(recording: Recording) -> dict[str, object]:
    """Everything that is not a reading, as plain values, and a checksum: SHA-256 of the others as JSON in ASCII with sorted keys."""
    trace = recording.trace
    table = {
        **about(recording),
        "meta": recording.meta,
        "origin": {key: value for key, value in trace.origin.items() if isinstance(value, str | int | float | bool | None)},
    }
    text = json.dumps(table, ensure_ascii=True, sort_keys=True)
    return {**table, "checksum": hashlib.sha256(text.encode("ascii")).hexdigest()}


def write_bins(path: Path, trace: Trace) -> None:
    """The bins alone in PATH, as small as Parquet makes them: volts as 32-bit floats, times split into their bytes, Zstandard."""
    with extra_packages("parquet"):
        import pyarrow as pa
        import pyarrow.parquet as pq

    columns = {name: np.asarray(values) for name, values in bin_columns(trace).items()}
    small = {name: values.astype(np.float32) if name.endswith("_v") else values for name, values in columns.items()}
    times = [name for name, values in small.items() if values.dtype == np.float64]
    pq.write_table(
        pa.table(small),
        path,
        compression="zstd",
        compression_level=9,
        use_dictionary=[name for name in small if name not in times],
        column_encoding=dict.fromkeys(times, "BYTE_STREAM_SPLIT"),
    )


def write_parquet(path: Path, recording: Recording) -> None:
    """Bins in PATH; close-ups, where there are any, beside it in PATH's stem + "-close-ups.parquet"."""
    with extra_packages("parquet"):
        import pyarrow as pa
        import pyarrow.parquet as pq

    text = json.dumps(metadata(recording), ensure_ascii=False).encode("utf-8")
    table = pa.table(bin_columns(recording.trace)).replace_schema_metadata({META_KEY: text})
    pq.write_table(table, path)
    if recording.trace.close_ups:
        beside = path.with_name(path.stem + "-close-ups.parquet")
        pq.write_table(pa.table(close_up_columns(recording.trace)).replace_schema_metadata({META_KEY: text}), beside)


def write_mdf(path: Path, recording: Recording) -> None:
    """ASAM MDF 4: one group of bins, one group a lead and edge of close-ups. Raises MissingExtraError without the extra `mdf`."""
    with extra_packages("mdf"):
        from asammdf import MDF, Signal
    trace = recording.trace
    with MDF(version="4.10") as mdf:
        signals = [
            Signal(np.asarray(values), trace.start_s, unit=_unit(name), name=name)
            for name, values in bin_columns(trace).items()
            if name != "t_s"
        ]
        mdf.append(signals, comment="bins")
        for number, piece in enumerate(trace.close_ups):
            for role, values in piece.volts.items():
                times = piece.start_s + piece.offset_s[role] + np.arange(len(values)) * piece.period_s
                mdf.append([Signal(values, times, unit="V", name=f"{role}_close_up_{number}")], comment="close-up")
        mdf.header.comment = json.dumps(metadata(recording), ensure_ascii=False)
        mdf.save(path, overwrite=True)


def _unit(name: str) -> str:
    return {"v": "V", "s": "s"}.get(name.rpartition("_")[2], "")
