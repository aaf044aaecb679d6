"""Talks to a board over a Link: finds out whether it is ours, configures it, starts and stops a recording."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping, Sequence
from typing import cast

from firstcrank import wire
from firstcrank.errors import BoardRefusedError, LinkLostError, NoBoardError, WrongFirmwareError
from firstcrank.link.base import Link
from firstcrank.log import logger
from firstcrank.wire_bodies import ChannelBody, IdentityBody, ReplyBody

LOG = logger(__name__)
INSTALL = "run: firstcrank board install"
ANSWER_S = 3.0
PROBE_EVERY_S = 1.0
ASK_TIMES = 3
PROMPTS = (b">>>", b"MicroPython", b"raw REPL", b"Traceback")


def patience() -> float:
    """Factor on every time-out, from FIRSTCRANK_TIMEOUT_SCALE (earlier FIRSTCRANK_PATIENCE): an emulated chip runs far slower than
    a real one.
    """
    try:
        return max(float(os.environ.get("FIRSTCRANK_TIMEOUT_SCALE") or os.environ.get("FIRSTCRANK_PATIENCE", "1")), 1.0)
    except ValueError:
        return 1.0


class BoardClient:
    """One board at the end of a link.

    Args:
        link: Open, and of this client alone.

    Attributes:
        link: As given.
        identity: What the board reported of itself; empty before the handshake.
        identity_seen: Something that calls itself firstcrank answered, of whatever version.
    """

    def __init__(self, link: Link) -> None:
        self.link = link
        self.identity: IdentityBody = {}
        self.identity_seen = False  # something that calls itself firstcrank answered, of whatever version
        self._deframer = wire.Deframer()
        self._heard = b""
        self._sequence = 0

    @property
    def damaged_frames(self) -> int:
        """Pieces that arrived and were no frame."""
        return int(self._deframer.bad_frames)

    def handshake(self, answer_s: float = ANSWER_S) -> IdentityBody:
        """The board's identity. Only the harmless probe is sent to it before it has said that it is ours.

        Args:
            answer_s: How long to wait for it, seconds of the link's clock.

        Returns:
            What it reported of itself (docs/wire_format.md has the keys).

        Raises:
            NoBoardError: Nothing answers.
            WrongFirmwareError: Something else answers, or the versions differ.
            LinkLostError: The other end is gone.
        """
        deadline_s = self.link.now_s() + answer_s * patience()
        probe_s = self.link.now_s()
        while self.link.now_s() < deadline_s:
            if self.link.now_s() >= probe_s:
                self.link.write(wire.PROBE)
                probe_s = self.link.now_s() + PROBE_EVERY_S * patience()
            for frame in self.frames(0.1 * patience()):
                if frame.kind == wire.IDENTITY:
                    return self._accept(cast(IdentityBody, table_of(frame.body)))
        raise self._silent()

    def _accept(self, identity: IdentityBody) -> IdentityBody:
        if identity.get("product") != "firstcrank":
            raise WrongFirmwareError(f"{self.link.name} runs something else: {INSTALL}")
        self.identity_seen = True
        if identity.get("firmware") != wire.FIRMWARE_VERSION:
            raise WrongFirmwareError(
                f"the board runs firmware {identity.get('firmware')} and this program needs {wire.FIRMWARE_VERSION}: {INSTALL}"
            )
        self.identity = identity
        named = ", ".join(f"{key} {identity.get(key)}" for key in ("firmware", "board", "chip", "micropython", "state"))
        LOG.info("handshake with %s: %s", self.link.name, named)
        for key in ("short_of_memory", "alone_error", "error", "restarts", "missed"):
            if identity.get(key):
                LOG.warning("the board reports %s: %s", key, identity.get(key))
        return identity

    def _silent(self) -> NoBoardError | WrongFirmwareError:
        if any(prompt in self._heard for prompt in PROMPTS):
            return WrongFirmwareError(
                f"{self.link.name} is at the MicroPython prompt, firstcrank is not running on it: {INSTALL}"
            )
        if self._heard:
            return WrongFirmwareError(f"what is on {self.link.name} is not a firstcrank board (or another version): {INSTALL}")
        return NoBoardError(f"nothing answers on {self.link.name}: is it the right port? If the board is new, {INSTALL}")

    def frames(self, timeout_s: float, raw: Callable[[bytes], None] | None = None) -> list[wire.Frame]:
        """Frames that arrive within a time.

        Args:
            timeout_s: How long to wait for the first byte, seconds of the link's clock.
            raw: Gets the bytes as received, before they are read as frames.

        Returns:
            Whole frames in the order they came; damaged ones are counted and left out.

        Raises:
            LinkLostError: The other end is gone.
        """
        data = self.link.read(timeout_s)
        if data and raw is not None:
            raw(data)
        self._heard = (self._heard + data)[-512:]
        damaged = self.damaged_frames
        frames = list(self._deframer.feed(data))
        if self.damaged_frames != damaged:
            LOG.warning(
                "%s: %d pieces that are no frame, %d so far", self.link.name, self.damaged_frames - damaged, self.damaged_frames
            )
        return frames

    def command(self, kind: int, table: Mapping[str, object] | None = None, recording_id: bytes = wire.NO_RECORDING) -> None:
        """Sends one command; the answer is a frame to wait for.

        Args:
            kind: One of the letters for commands in wire.py, such as wire.START.
            table: Sent as the command's JSON body; None: no body.
            recording_id: 8 bytes: the recording that it speaks of.

        Raises:
            LinkLostError: The other end is gone.
        """
        body = json.dumps(table).encode("utf-8") if table is not None else b""
        LOG.debug("command %r, %d bytes", chr(kind), len(body))
        frame = wire.encode_frame(kind, recording_id, self._sequence, body)
        self._sequence = (self._sequence + 1) & 0xFFFFFFFF
        self.link.write(b"\x00" + frame)

    def ask(
        self,
        kind: int,
        answer: int,
        table: Mapping[str, object] | None = None,
        recording_id: bytes = wire.NO_RECORDING,
        answer_s: float = ANSWER_S,
    ) -> ReplyBody:
        """Sends a command and returns the table of its answer. Asks again where a damaged frame may have been the answer.

        Args:
            kind: One of the letters for commands in wire.py, such as wire.STOP.
            answer: Kind of the frame that answers it, such as wire.REPLY.
            table: Sent as the command's JSON body; None: no body.
            recording_id: 8 bytes: the recording that it speaks of.
            answer_s: How long to wait for the answer, seconds of the link's clock.

        Returns:
            The answer's JSON table (docs/wire_format.md has the keys); empty where its body is none.

        Raises:
            BoardRefusedError: The board refused, with its reason.
            LinkLostError: The board stays silent, or the other end is gone.
        """
        for _ in range(ASK_TIMES):
            damaged = self.damaged_frames
            reply = self._ask_once(kind, answer, table, recording_id, answer_s)
            if reply is not None:
                return reply
            if self.damaged_frames == damaged:
                break
        raise LinkLostError("the board stopped answering: unplug it, plug it in again, and try once more")

    def _ask_once(
        self, kind: int, answer: int, table: Mapping[str, object] | None, recording_id: bytes, answer_s: float
    ) -> ReplyBody | None:
        self.command(kind, table, recording_id)
        deadline_s = self.link.now_s() + answer_s * patience()
        while self.link.now_s() < deadline_s:
            for frame in self.frames(0.1 * patience()):
                if frame.kind == wire.REPLY:
                    reply = table_of(frame.body)
                    if reply.get("to") == kind and not reply.get("ok"):
                        LOG.warning("command %r refused: %s", chr(kind), reply.get("why"))
                        raise BoardRefusedError(f"the board refused: {reply.get('why')}")
                    if reply.get("to") == kind and answer == wire.REPLY:
                        return cast(ReplyBody, reply)
                elif frame.kind == answer:
                    return cast(ReplyBody, table_of(frame.body))
        return None

    def configure(self, channels: Sequence[ChannelBody], bin_us: int, trigger_code: int, acquisition: str) -> None:
        """Sets channels, bin length and trigger for the recordings that follow.

        Args:
            channels: Role and pin of each lead.
            bin_us: Length of a bin, microseconds, 250 to 100000.
            trigger_code: Code of the key feed below which runs are counted and close-ups are kept, 0 to 4095.
            acquisition: Name of one (docs/acquisition.md), or "auto" for the fastest that board and pins allow.

        Raises:
            BoardRefusedError: The board refused, with its reason.
            LinkLostError: The board stays silent, or the other end is gone.
        """
        table = {
            "channels": [dict(c) for c in channels],
            "bin_us": bin_us,
            "trigger_code": trigger_code,
            "acquisition": acquisition,
        }
        self.ask(wire.CONFIGURE, wire.REPLY, table)

    def idle(self) -> None:
        """Stops a recording left over from an earlier program, so that the board listens.

        Raises:
            BoardRefusedError: The board refused, with its reason.
            LinkLostError: The board stays silent, or the other end is gone.
        """
        if self.identity.get("state") != "idle":
            self.ask(wire.STOP, wire.REPLY)

    def stop(self) -> None:
        """Asks the board to end the recording. Its END frame comes when the rest has been sent.

        Raises:
            LinkLostError: The other end is gone.
        """
        self.command(wire.STOP)

    def close(self) -> None:
        """Gives the port back."""
        self.link.close()


def table_of(body: bytes) -> dict[str, object]:
    """The JSON table in a frame's body; empty where there is none."""
    try:
        table = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        return {}
    return table if isinstance(table, dict) else {}
