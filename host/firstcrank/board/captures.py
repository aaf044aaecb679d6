"""Fetches what a board recorded alone, and makes recordings of it that can be judged like any other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

from firstcrank import __version__, wire, wire_bodies
from firstcrank.calibration import Calibration
from firstcrank.errors import BoardRefusedError, LinkLostError
from firstcrank.limits import Limits
from firstcrank.link.board_client import BoardClient, patience, table_of
from firstcrank.model.context import Context
from firstcrank.tracefiles.native import RecordingFile, context_to_json

PIECES = 6  # asked for at once; the board sends no more
ANSWER_S = 5.0
TRIES = 4


@dataclass(frozen=True, slots=True)
class Capture:
    """One capture on a board. `fetched`: a host has it already, so it may make room for a new one."""

    number: int
    size_bytes: int
    fetched: bool


def list_captures(client: BoardClient) -> tuple[Capture, ...]:
    """What the board has, the oldest first. The board must be idle. Raises BoardRefusedError, LinkLostError."""
    reply = client.ask(wire.CAPTURES, wire.REPLY, {"do": "list"})
    return tuple(Capture(int(c["number"]), int(c["bytes"]), bool(c["fetched"])) for c in reply.get("captures", []))


def journal(client: BoardClient) -> wire_bodies.JournalBody:
    """What the board has to tell of its waits: `waits`, `restarts` in them by cause (`causes`), `missed` starts, the last `error`.

    Empty where there is nothing. Raises BoardRefusedError, LinkLostError.
    """
    found = client.ask(wire.CAPTURES, wire.REPLY, {"do": "list"}).get("journal")
    return cast(wire_bodies.JournalBody, dict(found or {}))


def acknowledge_journal(client: BoardClient) -> None:
    """Tells the board that its journal has been shown, so that it begins anew. Raises BoardRefusedError, LinkLostError."""
    client.ask(wire.CAPTURES, wire.REPLY, {"do": "shown"})


def journal_text(table: wire_bodies.JournalBody) -> list[str]:
    """One line each for what a person must know of it."""
    lines = []
    if table.get("restarts"):
        why = ", ".join(f"{count} x {cause}" for cause, count in dict(table.get("causes") or {}).items())
        lines.append(
            f"The board went down {table['restarts']} times while it waited: {why}. Switched off on purpose is one of them."
        )
    if table.get("missed"):
        lines.append(
            f"{table['missed']} times it came up with the key already on: the start before that was NOT recorded. "
            "A power bank that switches itself off, or a supply that breaks down in the crank?"
        )
    if table.get("error"):
        lines.append(f"Its program ended with an error and started anew: {table['error']}")
    return lines


def read_capture(client: BoardClient, capture: Capture, progress: Callable[[int, int], None]) -> bytes:
    """The bytes of a capture: frames, as a recording has them. progress: called with (bytes so far, bytes in all).

    A piece that is lost or damaged on the way is asked for again. Raises BoardRefusedError, and LinkLostError where the board
    stays silent.
    """
    data = bytearray()
    silent = 0
    while len(data) < capture.size_bytes:
        client.command(wire.CAPTURES, {"do": "read", "number": capture.number, "offset": len(data), "pieces": PIECES})
        before = len(data)
        _take_pieces(client, capture, data)
        progress(len(data), capture.size_bytes)
        silent = 0 if len(data) > before else silent + 1
        if silent == TRIES:
            raise LinkLostError(
                f"capture {capture.number} stops after {len(data)} of {capture.size_bytes} bytes: unplug the board, plug it in "
                "again, and fetch once more (it keeps the capture)"
            )
    return bytes(data)


def _take_pieces(client: BoardClient, capture: Capture, data: bytearray) -> None:
    """Appends the pieces that arrive in order, up to one request's worth."""
    wanted = min(len(data) + PIECES * 768, capture.size_bytes)
    deadline_s = client.link.now_s() + ANSWER_S * patience()
    damaged = client.damaged_frames
    while len(data) < wanted and client.link.now_s() < deadline_s and client.damaged_frames == damaged:
        for frame in client.frames(0.1 * patience()):
            if frame.kind == wire.REPLY and table_of(frame.body).get("to") == wire.CAPTURES:
                reply = table_of(frame.body)
                if not reply.get("ok"):
                    raise BoardRefusedError(f"the board refused: {reply.get('why')}")
            if frame.kind == wire.CAPTURE:
                piece = wire_bodies.unpack_capture(frame.body)
                if piece.number == capture.number and piece.offset == len(data):
                    data += piece.data


def mark_fetched(client: BoardClient, capture: Capture) -> None:
    """Tells the board that the capture is safe here. Raises BoardRefusedError, LinkLostError."""
    client.ask(wire.CAPTURES, wire.REPLY, {"do": "fetched", "number": capture.number})


def write_recording(path: Path, data: bytes, port: str, calibration: Calibration, limits: Limits, context: Context) -> None:
    """A capture's frames with the recorder's notes before, among and behind them.

    Raises UnwritableFileError where the file is there already or cannot be written.
    """
    frames = wire.Deframer().feed(data)
    recording_id = frames[0].recording_id if frames else wire.NO_RECORDING
    file = RecordingFile(path, recording_id)
    try:
        file.protect(
            identity={
                "kind": "start",
                "host_version": __version__,
                "port": port,
                "fetched_utc": datetime.now(UTC).isoformat(timespec="seconds"),
            },
            calibration={"calibration": calibration.to_json()},
            limits={"limits": limits.to_json()},
            answers=context_to_json(context),
        )
        file.write(b"\x00" + data)
        file.end(why="the capture was fetched", utc=datetime.now(UTC).isoformat(timespec="seconds"))
    finally:
        file.close()
