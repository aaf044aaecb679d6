"""Trace files by suffix: one reader and one writer a format."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from firstcrank.calibration import Calibration
from firstcrank.recording import Recording
from firstcrank.tracefiles.csv import read_csv
from firstcrank.tracefiles.native import SUFFIX, read_native

CSV_SUFFIXES = (".csv", ".txt", ".tsv")


def load(
    path: Path,
    calibration: Calibration | None = None,
    columns: Mapping[str, str] | None = None,
    accuracy: tuple[float, float] | None = None,
) -> Recording:
    """A recording from any file that firstcrank reads. Raises UnreadableTraceError.

    The suffix decides; a file with another suffix is tried as a recording of ours.
    """
    if path.suffix.lower() in CSV_SUFFIXES:
        recording = read_csv(path, columns, accuracy)
        if calibration is None:
            return recording
        note = "the calibration is not used: this file is in volts already"
        return replace(recording, trace=replace(recording.trace, notes=(*recording.trace.notes, note)))
    return read_native(path, calibration)


__all__ = ("CSV_SUFFIXES", "SUFFIX", "load")
