"""A recording of a moment, for looking at a board and not at a start: its bytes as received."""

from __future__ import annotations

import os

from firstcrank import wire
from firstcrank.link.board_client import BoardClient, patience

END_S = 3.0


def short_recording(client: BoardClient, seconds: float) -> bytes:
    """Starts the configured acquisition, stops it after `seconds`, and returns everything that came. Raises LinkLostError."""
    recording_id = os.urandom(8)
    received = bytearray()
    client.command(wire.START, {}, recording_id)
    deadline_s = client.link.now_s() + seconds * patience()
    stopping = False
    while client.link.now_s() < deadline_s:
        frames = client.frames(0.1 * patience(), raw=received.extend)
        if any(f.kind == wire.END and f.recording_id == recording_id for f in frames):
            break
        if not stopping and client.link.now_s() > deadline_s - 0.05 * patience():
            stopping = True
            client.stop()
            deadline_s += END_S * patience()
    return bytes(received)
