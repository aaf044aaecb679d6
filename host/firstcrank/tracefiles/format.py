"""What a trace file format is: its suffixes, how its content is recognised, a reader, a writer. Other packages may bring more.

A package registers a `TraceFormat` under the entry point group `firstcrank.trace_formats`. It brings readings and nothing else:
the formats of this program keep their suffixes and their content, whatever is installed, and every recording that came through
another package's reader says so in its notes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from firstcrank.calibration import Calibration
from firstcrank.recording import Recording

HEAD_BYTES = 4096  # of a file, what `sniff` is given


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user gave beside the file.

    `calibration` wins over an embedded one (raw codes only). `columns` maps roles to column names. `accuracy` is the logger's limit
    of error: a share of the reading, and volts.
    """

    calibration: Calibration | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    accuracy: tuple[float, float] | None = None


class Sniffer(Protocol):
    """Recognises a format by content."""

    def __call__(self, head: bytes) -> bool:
        """Whether a file that begins with `head` (at most HEAD_BYTES) is of this format. Raises nothing."""
        ...


class Reader(Protocol):
    """Reads a file."""

    def __call__(self, path: Path, options: ReadOptions) -> Recording:
        """The recording in `path`. Raises UnreadableTraceError naming file and place, CalibrationError, OSError."""
        ...


class Writer(Protocol):
    """Writes a file."""

    def __call__(self, path: Path, recording: Recording) -> None:
        """Writes `recording` to `path`, which does not exist yet. Raises UsageError, MissingExtraError, OSError."""
        ...


@dataclass(frozen=True, slots=True)
class TraceFormat:
    """One format. `suffixes` in small letters with their dot; `read` or `write` is None where it cannot."""

    name: str
    suffixes: tuple[str, ...]
    sniff: Sniffer
    read: Reader | None = None
    write: Writer | None = None
