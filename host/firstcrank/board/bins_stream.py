"""Readings as they come from a board, for as long as they are wanted, kept nowhere: for live values and the harness watch."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence

from firstcrank import wire
from firstcrank.board.bins_decoder import BinsDecoder, Readings
from firstcrank.calibration import Calibration
from firstcrank.errors import BoardRefusedError, LinkLostError
from firstcrank.link.board_client import BoardClient, patience, table_of
from firstcrank.wire_bodies import ChannelBody

QUIET_S = 8.0


def stream(
    client: BoardClient, channels: Sequence[ChannelBody], calibration: Calibration, trigger_v: float, bin_us: int = 768
) -> Iterator[Readings]:
    """Readings until the caller stops asking. Raises BoardRefusedError, LinkLostError where the board refuses or falls silent."""
    client.idle()
    trigger = calibration.channel("key_switch").code(trigger_v)
    client.configure(channels, bin_us, trigger, "auto")
    recording_id = os.urandom(8)
    client.command(wire.START, {}, recording_id)
    decoder = BinsDecoder([str(channel["role"]) for channel in channels], calibration)
    silent_s = 0.0
    try:
        while True:
            before_s = client.link.now_s()
            got = False
            for frame in client.frames(0.1 * patience()):
                if frame.kind == wire.REPLY and not table_of(frame.body).get("ok", True):
                    raise BoardRefusedError(f"the board refused: {table_of(frame.body).get('why')}")
                if frame.kind != wire.BINS or frame.recording_id != recording_id:
                    continue
                readings = decoder.read(frame.body)
                if readings is not None:
                    got = True
                    yield readings
            silent_s = 0.0 if got else silent_s + client.link.now_s() - before_s
            if silent_s > QUIET_S * patience():
                raise LinkLostError("the board went silent: unplug it, plug it in again, and start once more")
    finally:
        with contextlib.suppress(LinkLostError):
            client.stop()
