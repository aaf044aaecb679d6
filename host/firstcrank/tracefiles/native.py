"""The recording file: the frames as received, with the recorder's notes between them. Suffix .fcr. Read whatever is left of it.

What the judge must know of a damaged file stands in Trace.holes (readings lost) and Trace.integrity (limits, answers,
calibration, identity or clock lost or in doubt): nothing that is lost is ever replaced by a default in silence.
"""

from __future__ import annotations

import binascii
import json
import struct
import zlib
from base64 import b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeVar, cast

import numpy as np
from numpy.typing import ArrayLike

from firstcrank import wire
from firstcrank.calibration import OLDER, Calibration
from firstcrank.errors import CalibrationError, LimitsError, UnreadableTraceError
from firstcrank.limits import Limits
from firstcrank.model.context import ANSWERS, Answers, Context
from firstcrank.recording import Meta, Recording
from firstcrank.trace import Channel, IntArray, KeyRuns, Trace, Uncertainty
from firstcrank.tracefiles.bin_arrays import Codes, to_codes
from firstcrank.tracefiles.close_up_frames import close_ups
from firstcrank.tracefiles.frames import Gathered, gather
from firstcrank.tracefiles.native_writer import RecordingFile, as_recording
from firstcrank.tracefiles.notes import AFTERWARDS, Notes, read_notes

SUFFIX = ".fcr"
END_MISSING = "the board's own end is not in the file: its last readings may be missing too"
MOST_LIMITS_BYTES = 65_536
KINDS = ("start", "switch test")
ANSWER_TYPES: dict[str, tuple[type, ...]] = {
    "cranked_with_key": (bool,),
    "module_plugged_in": (bool,),
    "feed_kind": (str,),
    "cylinders": (int,),
    "temperature_c": (int, float),
    "charger_connected": (bool,),
    "engine_running": (bool,),
    "known_load_ohm": (int, float),
    "hold_on_s": (int, float),
}
BROKEN = (
    ArithmeticError,
    AttributeError,
    CalibrationError,
    LimitsError,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
    struct.error,
)
Value = TypeVar("Value")


def context_to_json(context: Context) -> Answers:
    """The user's answers for a note; only what was asked."""
    return cast("Answers", {name: getattr(context, name) for name in ANSWERS if getattr(context, name) is not None})


def context_from_json(table: Mapping[str, object]) -> Context:
    """Undoes context_to_json; unknown keys of a newer version are left out. Raises ValueError for an answer of a wrong type."""
    answers = {name: table[name] for name in ANSWERS if table.get(name) is not None}
    for name, value in answers.items():
        wanted = ANSWER_TYPES.get(name, (bool, int, float, str))
        if not isinstance(value, wanted) or (isinstance(value, bool) and bool not in wanted):
            raise ValueError(f"{name} is {value!r}")
        if isinstance(value, int | float) and not abs(value) < 1e9:
            raise ValueError(f"{name} is {value!r}")
    if answers.get("feed_kind", "signal") not in ("signal", "loaded"):
        raise ValueError(f"feed_kind is {answers['feed_kind']!r}")
    return Context(**cast("Answers", answers))


def read_native(path: Path, calibration: Calibration | None = None) -> Recording:
    """A recording file. `calibration` wins over the one embedded. Raises UnreadableTraceError."""
    try:
        with path.open("rb") as file:
            if not file.read(1):
                raise UnreadableTraceError("the file is empty")
            file.seek(0)
            return from_bytes(file, calibration, str(path))
    except (OSError, ValueError) as error:
        raise UnreadableTraceError(f"{path}: {getattr(error, 'strerror', None) or error}") from error
    except UnreadableTraceError as error:
        raise UnreadableTraceError(f"{path}: {error}") from error


def from_bytes(data: bytes | IO[bytes], calibration: Calibration | None = None, name: str = "") -> Recording:
    """A recording from the bytes of its file, or from the file. Raises UnreadableTraceError where it holds no readings.

    CalibrationError where the calibration given has no line for one of its channels.
    """
    try:
        return _Reader(data, calibration, name).recording()
    except CalibrationError as error:
        if calibration is not None:
            raise
        raise UnreadableTraceError(f"what the recorder noted is damaged: {error}") from error
    except BROKEN as error:
        raise UnreadableTraceError(f"damaged beyond reading ({type(error).__name__})") from error


@dataclass(slots=True)
class _Doubts:
    """Lines for Trace.integrity, gathered while reading."""

    lines: list[str]

    def trusted(self, label: str, make: Callable[[], Value | None]) -> Value | None:
        """What `make` returns; None, with a line, where the note is whole and yet can't be used."""
        try:
            return make()
        except BROKEN as error:
            self.lines.append(f"{label} in this recording cannot be used: {str(error)[:200]}")
            return None


class _Reader:
    """One recording being read: frames, notes, then values."""

    def __init__(self, data: bytes | IO[bytes], given: Calibration | None, name: str) -> None:
        self.found = gather(data)
        # Only what comes straight from a board's memory may lack notes: a file got them when it was fetched, and has lost them.
        unnoted = self.found.alone is not None and isinstance(data, bytes | bytearray) and self._ended_alone()
        self.notes = read_notes(self.found.notes, self.found.recording_id, alone=unnoted)
        self.given, self.name = given, name
        spared = [line for line in self.notes.integrity if given is None or not line.endswith("the calibration is lost")]
        self.doubts = _Doubts(spared)

    def _ended_alone(self) -> bool:
        """A board that worked alone says so at its end; a host may have recorded from a board that is meant to work alone."""
        return self.found.end is None or "alone" in self.found.end

    def recording(self) -> Recording:
        codes = to_codes(self.found)
        calibration = self.given or self.doubts.trusted("the calibration", self._embedded)
        limits = self.doubts.trusted("the limits", self._limits)
        context = self.doubts.trusted("the answers", self._context) or Context()
        meta = _meta(self.found, self.notes)
        return Recording(self._trace(codes, calibration, meta), context, calibration, limits, meta)

    def _embedded(self) -> Calibration | None:
        """The recorder's choice, else the board's own (a capture that no host has noted anything on)."""
        if "calibration" in self.notes:
            return Calibration.from_json(cast("Mapping[str, object]", self.notes.content("calibration")["calibration"]))
        stored = (self.found.stream or {}).get("calibration")
        return Calibration.from_json(stored) if stored and not self.notes.format else None

    def _limits(self) -> Limits | None:
        """The recorder's, else those that a board working alone was given."""
        if "limits" in self.notes:
            return Limits.from_json(cast("Mapping[str, object]", self.notes.content("limits")["limits"]))
        given = (self.found.alone or {}).get("limits")
        if not given or self.notes.format:
            return None
        plain = unpacked(cast("str", given["packed"])) if "packed" in given else given["values"]
        values = cast("Mapping[str, object]", plain)
        return Limits.from_json({**given, "values": values, "sources": dict.fromkeys(values, "as given to the board")})

    def _context(self) -> Context:
        kind = (self.found.alone or {}).get("feed_kind")
        return context_from_json({**({"feed_kind": kind} if kind else {}), **_answers(self.notes)})

    def _kind(self) -> str:
        kind = self.notes.content("identity").get("kind", "start")
        if kind not in KINDS:
            self.doubts.lines.append("what kind of recording this is is not known to this version: update firstcrank")
            return "start"
        return str(kind)

    def _trace(self, codes: Codes, calibration: Calibration | None, meta: Meta) -> Trace:
        stream = self.found.stream or {}
        origin: dict[str, object] = {"file": self.name, **meta}
        if calibration is None:
            origin["uncalibrated"] = True
        roles = [str(entry["role"]) for entry in stream["channels"]]
        channels = {role: _channel(role, i, codes, calibration) for i, role in enumerate(roles)}
        runs = None
        if int(stream.get("key_channel", -1)) >= 0 and calibration is not None and int(stream.get("trigger_code", 0)) > 0:
            line = calibration.channel("key_switch")
            trigger_v = float(line.volts(int(stream["trigger_code"])))
            longest, head, tail = (_small(codes.runs[:, n]) for n in range(3))
            runs = KeyRuns(trigger_v, longest, head, tail, line.filter_s)
        kind = self._kind()
        older = (OLDER,) if calibration is not None and OLDER in calibration.notes else ()
        return Trace(
            start_s=codes.start_s,
            end_s=codes.end_s,
            conversions=codes.conversions,
            gap_s=codes.gap_s,
            channels=channels,
            runs=runs,
            close_ups=close_ups(self.found, codes.first_conversion, calibration),
            holes=codes.holes,
            complete=self._complete(),
            notes=(*older, *self._lines(), *codes.lines),
            origin=origin,
            integrity=(*self.doubts.lines, *self._doubtful_frames(), *codes.integrity),
            kind=kind,
        )

    def _complete(self) -> bool:
        """Closed by the recorder, and, where the board worked alone, ended by it; in format 1 one of the two was enough."""
        if self.notes.format == 2:
            return "end" in self.notes and (self.found.alone is None or self.found.end is not None)
        return "end" in self.notes or self.found.end is not None

    def _doubtful_frames(self) -> list[str]:
        lines = []
        if self.found.restarted:
            lines.append("the board started again, or the file goes on with another recording: what came after is left out")
        if self.found.streams_differ:
            lines.append("the board described this recording in two ways that contradict each other")
        return lines

    def _lines(self) -> list[str]:
        """Remarks on what is in the file and what is not."""
        found, lines = self.found, list[str]()
        board_result = _board_result(found)
        if "broke off" in self.notes:
            lines.append(f"the recording broke off: {self.notes.content('broke off').get('why')}")
        if "visit" in self.notes:
            visit_lines = self.notes.content("visit").get("lines", ())
            lines += [str(line) for line in visit_lines] if isinstance(visit_lines, list) else []
        if board_result is not None:
            lines.append(f"recorded by the board alone, whose first answer was {board_result[0]}: {board_result[1]}")
        if found.end is None and "end" in self.notes and "broke off" not in self.notes:
            lines.append(END_MISSING)
        if found.restarted:
            lines.append("the board started again during the recording: what came after is left out")
        if found.bad_pieces:
            lines.append(f"{found.bad_pieces} damaged pieces were left out")
        if found.torn_bytes:
            lines.append(f"the file ends in the middle of a frame ({found.torn_bytes} bytes left out)")
        if found.stale_frames and not found.restarted:
            lines.append(f"{found.stale_frames} frames of an earlier recording were left out")
        dropped, errors = found.counters.get("edges_dropped"), found.counters.get("converter_errors")
        if dropped:
            lines.append(
                f"{dropped} edges of the key feed came too close together for a close-up of their own; their bins are here"
            )
        if errors:
            lines.append("the board's converter reported errors: single readings may be wrong")
        return [*lines, *self.notes.lines]


def unpacked(text: str) -> dict[str, float]:
    """Limits as a board that works alone keeps them (board/alone.py packs them). Raises ValueError for anything else."""
    try:
        unzip = zlib.decompressobj()
        table = json.loads(unzip.decompress(b64decode(text, validate=True), MOST_LIMITS_BYTES))
    except (zlib.error, binascii.Error, TypeError) as error:
        raise ValueError(f"packed limits are damaged: {error}") from error
    if not isinstance(table, dict):
        raise ValueError("packed limits are no table")
    return table


def _answers(notes: Notes) -> dict[str, object]:
    """The answers of the note, without the name that format 1 put among them; what was answered afterwards wins."""
    before = {name: value for name, value in notes.content("answers").items() if name != "note"}
    return {**before, **notes.content(AFTERWARDS)}


def _board_result(found: Gathered) -> tuple[str, str] | None:
    """(verdict, why) of a board that judged alone; None for a recording made by a host."""
    board_result = (found.end or {}).get("alone")
    if not isinstance(board_result, dict) or "verdict" not in board_result:
        return None
    return str(board_result["verdict"]), str(board_result.get("why", ""))


def _meta(found: Gathered, notes: Notes) -> Meta:
    stream, identity = found.stream or {}, notes.content("identity")
    return {
        "recording_id": found.recording_id.hex(),
        "board": stream.get("board"),
        "chip": stream.get("chip"),
        "firmware": stream.get("firmware"),
        "micropython": stream.get("micropython"),
        "acquisition": stream.get("acquisition"),
        "host_version": cast("str | None", identity.get("host_version")),
        "recorded_utc": cast("str | None", identity.get("utc")),
        "board_said": _board_result(found),
        "synthetic": bool(identity.get("synthetic") or stream.get("synthetic")),
        "counters": found.counters,
        "channels": stream.get("channels"),
    }


def _small(values: ArrayLike) -> IntArray:
    """Counts as 32-bit integers: half the memory, and sums of a row cannot overflow as they would in 16."""
    return cast(IntArray, np.asarray(values, dtype=np.int32))


def _channel(role: str, i: int, codes: Codes, calibration: Calibration | None) -> Channel:
    means, lowest, highest = (codes.codes[:, i, n] for n in range(3))
    if calibration is None:  # no volts: a share of full scale, which the judge refuses to judge
        mean, low, high = (np.asarray(a, dtype=np.float64) / wire.CODE_TOP for a in (means / wire.MEAN_SCALE, lowest, highest))
        return Channel(role, mean, low, high, Uncertainty(0.0, 0.0), None)
    line = calibration.channel(role)
    return Channel(
        role,
        line.volts(means / wire.MEAN_SCALE),
        line.volts(lowest),
        line.volts(highest),
        line.uncertainty,
        line.full_scale_v,
    )


__all__ = (
    "KINDS",
    "SUFFIX",
    "RecordingFile",
    "as_recording",
    "context_from_json",
    "context_to_json",
    "from_bytes",
    "read_native",
)
