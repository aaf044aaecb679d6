"""Writes a recording: whole frames as they arrive, and between them the recorder's notes, in copies spread over the file."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path
from typing import IO

from firstcrank import wire
from firstcrank.errors import UnwritableFileError, cannot_write
from firstcrank.tracefiles.notes import AFTERWARDS, PROTECTED, hash_of, note_bodies, text_of

REPEAT_BYTES = 262_144  # a copy of what is protected after each of these: every eight seconds of three leads
END_COPIES = 2


def as_recording(data: bytes, recording_id: bytes, why: str, **contents: Mapping[str, object]) -> bytes:
    """A board's frames with a copy of what is protected before and behind them and the closing note, as RecordingFile writes."""
    copy = [(kind, contents[kind]) for kind in PROTECTED]
    hashes = {kind: hash_of(recording_id, kind, text_of(content)) for kind, content in copy}
    bodies = [body for kind, content in copy for body in note_bodies(recording_id, kind, content)]
    closing = note_bodies(recording_id, "end", {"why": why, "notes_before": 2 * len(bodies), "hashes": hashes})

    def framed(first: int, some: list[bytes]) -> bytes:
        return b"".join(wire.encode_frame(wire.NOTE, recording_id, first + n, body) for n, body in enumerate(some))

    return framed(0, bodies) + b"\x00" + data + b"\x00" + framed(len(bodies), [*bodies, *closing * END_COPIES])


class RecordingFile:
    """Appends what arrives to a new file. Notes go in between whole frames only.

    Every method raises UnwritableFileError where the disk or folder does not take it.
    """

    def __init__(self, path: Path, recording_id: bytes) -> None:
        self.path = path
        try:
            self._file: IO[bytes] = path.open("xb")
        except FileExistsError as error:
            raise UnwritableFileError(f"{path} is already there: choose another name") from error
        except (OSError, ValueError) as error:
            raise UnwritableFileError(cannot_write(path, error)) from error
        self._id = recording_id
        self._rest = b""
        self._notes = 0
        self._protected: dict[str, Mapping[str, object]] = {}
        self._afterwards: dict[str, Mapping[str, object]] = {}
        self._since_copy = 0

    def protect(self, **contents: Mapping[str, object]) -> None:
        """Notes identity, calibration, limits and answers now, and again every REPEAT_BYTES and at the end."""
        if set(contents) != set(PROTECTED):
            raise ValueError(f"what is protected must be {', '.join(PROTECTED)}, all of it")
        self._protected = dict(contents)
        self._copy()

    def write(self, data: bytes) -> None:
        """Bytes as received; what follows the last delimiter waits for the rest of its frame."""
        whole, delimiter, rest = (self._rest + data).rpartition(b"\x00")
        self._rest = rest
        if delimiter:
            self._append(whole + delimiter)
            self._since_copy += len(whole)
            if self._since_copy >= REPEAT_BYTES:
                self._copy()

    def note(self, kind: str, /, **table: object) -> None:
        """Adds one note of the recorder, once."""
        for body in note_bodies(self._id, kind, table):
            self._append(b"\x00" + wire.encode_frame(wire.NOTE, self._id, self._notes, body))
            self._notes += 1

    def answered(self, **answers: object) -> None:
        """Notes what the person answered when the recording was over, twice; the closing note names its hash."""
        self._afterwards = {AFTERWARDS: answers}
        for _ in range(END_COPIES):
            self.note(AFTERWARDS, **answers)

    def end(self, **table: object) -> None:
        """The last copy of what is protected, then the closing note, twice: it says how many notes came before and their hashes."""
        self._copy()
        noted = {**self._protected, **self._afterwards}
        hashes = {kind: hash_of(self._id, kind, text_of(content)) for kind, content in noted.items()}
        closing = {**table, "notes_before": self._notes, "hashes": hashes}
        for _ in range(END_COPIES):
            self.note("end", **closing)

    def close(self) -> None:
        """Writes a torn last frame as it is, waits until the disk has everything, closes. Harmless when already closed."""
        if self._file.closed:
            return
        try:
            self._append(self._rest)
            os.fsync(self._file.fileno())
        except OSError as error:
            raise UnwritableFileError(cannot_write(self.path, error)) from error
        finally:
            with contextlib.suppress(OSError):
                self._file.close()

    def discard(self) -> None:
        """Closes and removes a file in which nothing was recorded, so that its name is free again."""
        with contextlib.suppress(OSError):
            self._file.close()
        self.path.unlink(missing_ok=True)

    def _copy(self) -> None:
        self._since_copy = 0
        for kind, content in self._protected.items():
            self.note(kind, **content)

    def _append(self, data: bytes) -> None:
        try:
            self._file.write(data)
            self._file.flush()
        except OSError as error:
            raise UnwritableFileError(
                f"{self.path} cannot be written any further ({error.strerror or error}): what was written is kept"
            ) from error
