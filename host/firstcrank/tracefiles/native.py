"""The recording file: the frames as received, with the recorder's notes between them. Suffix .fcr.

Written by appending and flushing, so a crash loses at most the frame being written. Read whatever is left of it.
"""

from __future__ import annotations

import contextlib
import json
import os
from itertools import pairwise
from pathlib import Path
from typing import IO, Any

import numpy as np

from firstcrank import wire, wire_bodies
from firstcrank.analysis.findings import ANSWERS, Context
from firstcrank.calibration import OLDER, Calibration
from firstcrank.errors import CalibrationError, LimitsError, UnreadableTraceError, UnwritableFileError
from firstcrank.limits import Limits
from firstcrank.recording import Recording
from firstcrank.trace import Channel, CloseUp, FloatArray, Hole, KeyRuns, Trace, Uncertainty
from firstcrank.tracefiles.frames import NS, Codes, Gathered, gather, to_codes

SUFFIX = ".fcr"


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
        except OSError as error:
            raise UnwritableFileError(f"{path} cannot be written: {error.strerror or error}") from error
        self._id = recording_id
        self._rest = b""
        self._notes = 0

    def write(self, data: bytes) -> None:
        """Bytes as received; what follows the last delimiter waits for the rest of its frame."""
        whole, delimiter, rest = (self._rest + data).rpartition(b"\x00")
        self._rest = rest
        if delimiter:
            self._append(whole + delimiter)

    def note(self, kind: str, **table: Any) -> None:
        """Adds a note of the recorder: "host", "calibration", "limits", "answers", "end"."""
        body = json.dumps({"note": kind, **table}, ensure_ascii=False).encode("utf-8")
        self._append(b"\x00" + wire.encode_frame(wire.NOTE, self._id, self._notes, body))
        self._notes += 1

    def close(self) -> None:
        """Writes a torn last frame as it is, waits until the disk has everything, closes. Harmless when already closed."""
        if self._file.closed:
            return
        try:
            self._append(self._rest)
            os.fsync(self._file.fileno())
        except OSError as error:
            raise UnwritableFileError(f"{self.path} cannot be written: {error.strerror or error}") from error
        finally:
            with contextlib.suppress(OSError):
                self._file.close()

    def _append(self, data: bytes) -> None:
        try:
            self._file.write(data)
            self._file.flush()
        except OSError as error:
            raise UnwritableFileError(
                f"{self.path} cannot be written any further ({error.strerror or error}): what was written is kept"
            ) from error


def context_to_json(context: Context) -> dict[str, Any]:
    """The user's answers for a note; only what was asked."""
    return {name: getattr(context, name) for name in ANSWERS if getattr(context, name) is not None}


def context_from_json(table: dict[str, Any]) -> Context:
    """Undoes context_to_json; unknown keys of a newer version are left out."""
    return Context(**{name: table[name] for name in ANSWERS if name in table})


def read_native(path: Path, calibration: Calibration | None = None) -> Recording:
    """A recording file. `calibration` wins over the one embedded. Raises UnreadableTraceError."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    if not data:
        raise UnreadableTraceError(f"{path}: the file is empty")
    try:
        return from_bytes(data, calibration, str(path))
    except UnreadableTraceError as error:
        raise UnreadableTraceError(f"{path}: {error}") from error


def from_bytes(data: bytes, calibration: Calibration | None = None, name: str = "") -> Recording:
    """A recording from the bytes of its file. Raises UnreadableTraceError where no readings can be got out of it.

    CalibrationError where the calibration given has no line for one of its channels.
    """
    try:
        return _read(data, calibration, name)
    except (wire.FrameError, ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise UnreadableTraceError(f"damaged beyond reading ({error!r})") from error
    except (CalibrationError, LimitsError) as error:
        if calibration is not None and isinstance(error, CalibrationError):
            raise
        raise UnreadableTraceError(f"what the recorder noted is damaged: {error}") from error


def _read(data: bytes, given: Calibration | None, name: str) -> Recording:
    found = gather(data)
    notes = {note.get("note", ""): note for note in found.notes}
    codes = to_codes(found)
    used = given or _embedded_calibration(found, notes)
    context = context_from_json({**_given_alone(found), **notes.get("answers", {})})
    limits = _limits(found, notes)
    return Recording(_trace(found, codes, used, notes, name), context, used, limits, _meta(found, notes))


def _embedded_calibration(found: Gathered, notes: dict[str, dict[str, Any]]) -> Calibration | None:
    """The recorder's choice, else the board's own (a capture made without a host).

    Where the recorder's note is lost the board's may be another than the one that was chosen, so there is none.
    """
    if "calibration" in notes:
        return Calibration.from_json(notes["calibration"]["calibration"])
    stored = (found.stream or {}).get("calibration")
    return Calibration.from_json(stored) if stored and not found.notes_lost else None


def _given_alone(found: Gathered) -> dict[str, Any]:
    """The answers that a board got along when it was told to work alone."""
    kind = ((found.stream or {}).get("alone") or {}).get("feed_kind")
    return {"feed_kind": kind} if kind else {}


def _limits(found: Gathered, notes: dict[str, dict[str, Any]]) -> Limits | None:
    """The recorder's, else those that a board working alone was given."""
    if "limits" in notes:
        return Limits.from_json(notes["limits"]["limits"])
    given = ((found.stream or {}).get("alone") or {}).get("limits")
    if not given:
        return None
    return Limits.from_json({"sources": dict.fromkeys(given["values"], "as given to the board"), **given})


def _board_said(found: Gathered) -> tuple[str, str] | None:
    """(verdict, why) of a board that judged alone; None for a recording made by a host."""
    said = (found.end or {}).get("alone")
    if not isinstance(said, dict) or "verdict" not in said:
        return None
    return str(said["verdict"]), str(said.get("why", ""))


def _meta(found: Gathered, notes: dict[str, dict[str, Any]]) -> dict[str, Any]:
    stream = found.stream or {}
    host = notes.get("host", {})
    return {
        "recording_id": found.recording_id.hex(),
        "board": stream.get("board"),
        "chip": stream.get("chip"),
        "firmware": stream.get("firmware"),
        "micropython": stream.get("micropython"),
        "acquisition": stream.get("acquisition"),
        "host_version": host.get("host_version"),
        "recorded_utc": host.get("utc"),
        "board_said": _board_said(found),
        "synthetic": bool(host.get("synthetic") or stream.get("synthetic")),
        "counters": (found.end or {}).get("counters", {}),
    }


def _trace(
    found: Gathered, codes: Codes, calibration: Calibration | None, notes: dict[str, dict[str, Any]], name: str
) -> Trace:
    stream = found.stream or {}
    origin: dict[str, Any] = {"file": name, **_meta(found, notes)}
    if calibration is None:
        origin["uncalibrated"] = True
    channels: dict[str, Channel] = {}
    for i, entry in enumerate(stream["channels"]):
        channels[entry["role"]] = _channel(entry["role"], i, codes, calibration)
    runs = None
    key = int(stream.get("key_channel", -1))
    if key >= 0 and calibration is not None and int(stream.get("trigger_code", 0)) > 0:
        trigger_v = float(calibration.channel("key_switch").volts(int(stream["trigger_code"])))
        runs = KeyRuns(trigger_v, codes.longest, codes.head, codes.tail)
    holes, lines = _missing(found, codes)
    said = _board_said(found)
    if said is not None:
        lines = (f"recorded by the board alone, whose first answer was {said[0]}: {said[1]}", *lines)
    if calibration is not None and OLDER in calibration.notes:
        lines = (OLDER, *lines)
    if "broke off" in notes:
        lines = (f"the recording broke off: {notes['broke off'].get('why')}", *lines)
    return Trace(
        start_s=codes.start_s,
        end_s=codes.end_s,
        conversions=codes.conversions,
        gap_s=codes.gap_s,
        channels=channels,
        runs=runs,
        close_ups=_close_ups(found, codes, calibration),
        holes=holes,
        complete="end" in notes or found.end is not None,
        notes=lines,
        origin=origin,
    )


def _missing(found: Gathered, codes: Codes) -> tuple[tuple[Hole, ...], tuple[str, ...]]:
    holes, lines = list(codes.holes), []
    if found.restarted:
        end_s = float(codes.end_s[-1])
        holes.append(Hole(end_s, end_s + 1.0, "the board started again"))
        lines.append("the board started again during the recording: what came after is left out")
    if found.bad_pieces:
        lines.append(f"{found.bad_pieces} damaged pieces were left out")
    if found.notes_lost:
        lines.append("some of what the recorder noted (calibration, limits, answers) is damaged")
    if found.torn_bytes:
        lines.append(f"the file ends in the middle of a frame ({found.torn_bytes} bytes left out)")
    if found.stale_frames and not found.restarted:
        lines.append(f"{found.stale_frames} frames of an earlier recording were left out")
    return tuple(holes), tuple(lines)


def _channel(role: str, i: int, codes: Codes, calibration: Calibration | None) -> Channel:
    if calibration is None:  # no volts: a share of full scale, which the judge refuses to judge
        shares = (codes.mean[:, i], codes.lowest[:, i], codes.highest[:, i])
        mean, lowest, highest = (np.asarray(a, dtype=np.float64) / wire.CODE_TOP for a in shares)
        return Channel(role, mean, lowest, highest, Uncertainty(0.0, 0.0), None)
    line = calibration.channel(role)
    return Channel(
        role,
        line.volts(codes.mean[:, i]),
        line.volts(codes.lowest[:, i]),
        line.volts(codes.highest[:, i]),
        line.uncertainty,
        line.full_scale_v,
    )


def _close_ups(found: Gathered, codes: Codes, calibration: Calibration | None) -> tuple[CloseUp, ...]:
    """Pieces of each edge joined; an edge with a piece missing is left out: its bins are still there."""
    stream = found.stream or {}
    period_s = float(stream.get("conversion_ns", 0)) * NS
    if not found.close_ups or calibration is None or period_s <= 0:
        return ()
    first_index = found.heads[0].first_conversion
    roles = [entry["role"] for entry in stream["channels"]]
    by_edge: dict[int, list[tuple[wire_bodies.CloseUpHead, bytes]]] = {}
    for head, body in found.close_ups:
        by_edge.setdefault(head.edge, []).append((head, body))
    made: list[CloseUp] = []
    for pieces in by_edge.values():
        pieces.sort(key=lambda piece: piece[0].first_conversion)
        joined = [np.frombuffer(body, dtype="<u2") for _, body in pieces]
        at = pieces[0][0].first_conversion
        whole = pieces[-1][0].last and all(
            b[0].first_conversion == a[0].first_conversion + a[0].code_count for a, b in pairwise(pieces)
        )
        if not whole or any(head.channel_count != len(roles) for head, _ in pieces):
            continue
        made.append(_close_up(pieces[0][0], np.concatenate(joined), at, first_index, period_s, roles, calibration))
    return tuple(sorted(made, key=lambda c: c.edge_s))


def _close_up(
    head: wire_bodies.CloseUpHead,
    raw: np.ndarray[Any, np.dtype[np.uint16]],
    at: int,
    first_index: int,
    period_s: float,
    roles: list[str],
    calibration: Calibration,
) -> CloseUp:
    count = len(roles)
    volts: dict[str, FloatArray] = {}
    offset_s: dict[str, float] = {}
    for i, role in enumerate(roles):
        skip = (i - at) % count
        volts[role] = calibration.channel(role).volts(raw[skip::count])
        offset_s[role] = skip * period_s
    return CloseUp(
        edge_s=(head.edge_conversion - first_index) * period_s,
        falling=bool(head.falling),
        start_s=(at - first_index) * period_s,
        period_s=count * period_s,
        volts=volts,
        offset_s=offset_s,
        filter_s=calibration.channel("key_switch").filter_s if "key_switch" in roles else 0.0,
    )
