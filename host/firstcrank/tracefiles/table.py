"""The trace file formats, in one table, and those of other packages behind them; loading and writing by suffix or content."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from importlib.metadata import entry_points
from pathlib import Path

from firstcrank import wire
from firstcrank.calibration import Calibration
from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.recording import Recording
from firstcrank.tracefiles.csv import read_csv
from firstcrank.tracefiles.csv_cells import is_csv
from firstcrank.tracefiles.csv_export import write_csv
from firstcrank.tracefiles.export import write_mdf, write_parquet
from firstcrank.tracefiles.format import HEAD_BYTES, ReadOptions, TraceFormat
from firstcrank.tracefiles.native import SUFFIX, read_native
from firstcrank.whole_file import whole_files

GROUP = "firstcrank.trace_formats"


def _is_native(head: bytes) -> bool:
    return bool(wire.Deframer().feed(head))


def _read_native(path: Path, options: ReadOptions) -> Recording:
    return read_native(path, options.calibration)


def _read_csv(path: Path, options: ReadOptions) -> Recording:
    recording = read_csv(path, options.columns, options.accuracy)
    if options.calibration is None:
        return recording
    return _with_note(recording, "the calibration is not used: this file is in volts already")


# Ours. Another package's format cannot take a suffix or a content from these.
FORMATS = (
    TraceFormat("firstcrank recording", (SUFFIX,), _is_native, _read_native),
    TraceFormat("CSV", (".csv", ".txt", ".tsv"), is_csv, _read_csv, write_csv),
    TraceFormat("Parquet", (".parquet",), lambda head: head.startswith(b"PAR1"), write=write_parquet),
    TraceFormat("ASAM MDF 4", (".mf4",), lambda head: head.startswith(b"MDF "), write=write_mdf),
)


def load(
    path: Path,
    calibration: Calibration | None = None,
    columns: Mapping[str, str] | None = None,
    accuracy: tuple[float, float] | None = None,
) -> Recording:
    """A recording from any file that firstcrank reads.

    The suffix decides; a file with an unknown suffix is recognised by its content, or else tried as a recording of ours.

    Args:
        path: A recording, a CSV in volts, or a file of a format that an installed package brings.
        calibration: Used instead of the one in a recording. A CSV is in volts already: it notes that this was not used.
        columns: Role, or `t_s`, `t_ms`, `t_us`, to the name of its column in a CSV; the rest goes by the columns' own names.
        accuracy: Limit of error of a CSV's logger: relative (0.005 is 0.5 %) and volts. None: 0.5 % and 0.02 V, which it notes.
            Taken as rectangular, u = a / sqrt(3) (JCGM 100 4.3.7).

    Returns:
        The trace, in volts and seconds, and what the file embeds beside it.

    Raises:
        UnreadableTraceError: The file can't be opened, is empty or damaged, or its format is only written. Names file and place.
        UsageError: `columns` names one column for two leads, or an installed package's format is none.
        CalibrationError: `calibration` has no line for a lead of the recording.
    """
    options = ReadOptions(calibration, dict(columns or {}), accuracy)
    found = _by_suffix(path.suffix.lower()) or _by_content(path) or FORMATS[0]
    if found.read is None:
        readable = ", ".join(suffix for form in FORMATS if form.read for suffix in form.suffixes)
        raise UnreadableTraceError(f"{path}: {found.name} files are written, not read; these are read: {readable}")
    recording = found.read(path, options)
    if found in FORMATS:
        return recording
    return _with_note(recording, f"read by the format {found.name} of another package")


def write(path: Path, recording: Recording) -> None:
    """Writes in the format of the suffix. Raises UsageError for an unknown one, or a file that is there already."""
    found = _by_suffix(path.suffix.lower())
    if found is None or found.write is None:
        raise UsageError(f"{path}: the suffix must be one of {', '.join(writable_suffixes())}")
    if path.exists():
        raise UsageError(f"{path} is already there: choose another name")
    with whole_files(path) as fresh:
        found.write(fresh, recording)


def writable_suffixes() -> tuple[str, ...]:
    """The first suffix of each format that can be written, other packages' last."""
    return tuple(form.suffixes[0] for form in (*FORMATS, *others()) if form.write)


def others() -> Iterator[TraceFormat]:
    """Formats that installed packages bring. Raises UsageError for an entry point that is no format."""
    for point in entry_points(group=GROUP):
        form = point.load()
        if not isinstance(form, TraceFormat):
            raise UsageError(f"the entry point {point.name} = {point.value} is no TraceFormat: report it to that package")
        yield form


def _by_suffix(suffix: str) -> TraceFormat | None:
    ours = (form for form in FORMATS if suffix in form.suffixes)
    return next(ours, None) or next((form for form in others() if suffix in form.suffixes), None)


def _by_content(path: Path) -> TraceFormat | None:
    try:
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except OSError:
        return None  # the reader says what is wrong with the file
    return next((form for form in (*FORMATS, *others()) if form.sniff(head)), None)


def _with_note(recording: Recording, note: str) -> Recording:
    return replace(recording, trace=replace(recording.trace, notes=(*recording.trace.notes, note)))
