"""A conversation with the firmware on the emulated chip, by emulated time."""

from __future__ import annotations

import itertools
import json
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

from firstcrank import wire, wire_bodies
from firstcrank.wire_bodies import ChannelBody

from . import flash_image
from .emulator import EmulatedChip, Play, board_kind
from .image import micropython_image

ID = b"recorded"
CHANNELS: list[ChannelBody] = [
    {"role": "battery", "pin": 26},
    {"role": "key_switch", "pin": 27},
    {"role": "starter_coil", "pin": 28},
]


def short_escape(files: dict[str, bytes]) -> dict[str, bytes]:
    """The same files with main.py's two seconds for MicroPython's tools cut to 20 ms: they cost a minute of real time here."""
    return files | {"/main.py": files["/main.py"].replace(b"ESCAPE_MS = 2000", b"ESCAPE_MS = 20")}


class Session:
    """A booted board, its program running. `frames` are all that came and were not yet read.

    `file_system`: what another board's flash held when its power went, instead of a fresh installation.
    """

    def __init__(
        self,
        play: Play,
        files: dict[str, bytes] | None = None,
        plain: bool = False,
        image: Path | None = None,
        file_system: bytes | None = None,
    ) -> None:
        self.folder = tempfile.TemporaryDirectory()
        flash = Path(self.folder.name) / "flash.img"
        image = image or micropython_image()
        if file_system is None:
            flash_image.build(flash, short_escape(flash_image.firmware_files(plain) | (files or {})), board_kind(image))
        else:
            flash.write_bytes(file_system)
        self.chip = EmulatedChip(image, flash, play)
        self.deframer = wire.Deframer()
        self.frames: list[wire.Frame] = []
        self._sequence = 0
        self.chip.boot()
        self.identity = self.wait(wire.IDENTITY, 4.0)

    def pull(self) -> None:
        """Frames out of what has arrived."""
        self.frames += self.deframer.feed(self.chip.take())

    def send(self, kind: int, body: dict[str, Any] | None = None, recording_id: bytes = wire.NO_RECORDING) -> None:
        """One command."""
        data = json.dumps(body).encode() if body is not None else b""
        self.chip.write(b"\x00" + wire.encode_frame(kind, recording_id, self._sequence, data))
        self._sequence += 1

    def wait(self, kind: int, most_s: float = 1.0, **expected: Any) -> dict[str, Any]:
        """The table of the next frame of `kind` that has these values; it is taken out of `frames`."""
        found: list[wire.Frame] = []

        def here() -> bool:
            self.pull()
            for frame in self.frames:
                if frame.kind == kind:
                    table = json.loads(frame.body)
                    if all(table.get(key) == value for key, value in expected.items()):
                        found.append(frame)
                        return True
            return False

        try:
            self.chip.run_until(here, most_s)
        except TimeoutError as error:
            kinds = [chr(frame.kind) for frame in self.frames]
            raise TimeoutError(
                f"no frame {chr(kind)!r}: {error}; frames {kinds}; else {bytes(self.deframer._rest[-600:])!r}"
            ) from None
        self.frames.remove(found[0])
        return dict(json.loads(found[0].body))

    def ask(self, kind: int, body: dict[str, Any] | None = None, **expected: Any) -> dict[str, Any]:
        """Sends a command and returns its REPLY."""
        self.send(kind, body, ID)
        return self.wait(wire.REPLY, 1.5, to=kind, **expected)

    def start(self, **config: Any) -> dict[str, Any]:
        """Configures and starts; returns the STREAM table."""
        assert self.ask(
            wire.CONFIGURE, {"channels": CHANNELS, "bin_us": 768, "trigger_code": 0, "acquisition": "auto"} | config
        )["ok"]
        self.frames.clear()
        reply = self.ask(wire.START, {})
        assert reply["ok"], reply
        return self.wait(wire.STREAM)

    def stop(self) -> dict[str, Any]:
        """Stops; returns the final counters."""
        self.ask(wire.STOP)
        return dict(self.wait(wire.END, 3.0)["counters"])

    def heads(self) -> list[tuple[wire_bodies.BinsHead, np.ndarray]]:
        """Heads and 16-bit words (bins, words) of all BINS frames so far."""
        self.pull()
        found = []
        for frame in self.frames:
            if frame.kind == wire.BINS:
                head = wire_bodies.unpack_bins_head(frame.body)
                fields = np.frombuffer(frame.body, dtype="<u2", offset=wire.BINS_BYTES).reshape(head.bin_count, -1)
                found.append((head, fields))
        return found

    def close_ups(self) -> dict[int, tuple[wire_bodies.CloseUpHead, int, np.ndarray, bool]]:
        """Per edge: its first head, first conversion, codes joined, complete and contiguous."""
        self.pull()
        pieces: dict[int, list[tuple[wire_bodies.CloseUpHead, np.ndarray]]] = {}
        for frame in self.frames:
            if frame.kind == wire.CLOSE_UP:
                head = wire_bodies.unpack_close_up_head(frame.body)
                pieces.setdefault(head.edge, []).append(
                    (head, np.frombuffer(frame.body, dtype="<u2", offset=wire.CLOSE_UP_BYTES))
                )
        made = {}
        for edge, parts in pieces.items():
            whole = bool(parts[-1][0].last) and all(
                b[0].first_conversion == a[0].first_conversion + a[0].code_count for a, b in itertools.pairwise(parts)
            )
            made[edge] = (parts[0][0], parts[0][0].first_conversion, np.concatenate([p[1] for p in parts]), whole)
        return made
