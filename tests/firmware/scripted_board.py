"""The firmware's program on CPython with every part scripted: a clock that is turned by hand, a link that takes what it is to take."""

from __future__ import annotations

import json
from array import array
from collections.abc import Callable
from typing import Any

from firstcrank import wire
from firstcrank.wire_bodies import ChannelBody
from firstcrank_sim.board.firmware_program import load

ID = b"recorded"
CHANNELS: list[ChannelBody] = [
    {"role": "battery", "pin": 26},
    {"role": "key_switch", "pin": 27},
    {"role": "starter_coil", "pin": 28},
]
STEP_US = 1000  # board time that one pass of the loop takes here
SAMPLES = 4


class Clock:
    """Stands still but for the passes of the loop."""

    def __init__(self) -> None:
        self.now_us = 0

    def ticks_us(self) -> int:
        return self.now_us & 0x3FFFFFFF

    @staticmethod
    def ticks_diff(a: int, b: int) -> int:
        return ((a - b + 0x20000000) & 0x3FFFFFFF) - 0x20000000


class Link:
    """`takes(size)` says how many bytes of a write go through: None where the host does not read."""

    def __init__(self) -> None:
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.takes: Callable[[int], int | None] = lambda size: size
        self.ready = True

    def read(self, most: int) -> bytes:
        data = bytes(self.to_board[:most])
        del self.to_board[:most]
        return data

    def writable(self) -> bool:
        return self.ready

    def write(self, view: memoryview) -> int | None:
        taken = self.takes(len(view))
        self.to_host += view[: taken or 0]
        return taken


class Acquisition:
    """One bin of rising codes a pass, so that the host can tell whether one is missing. `trouble` is raised by start."""

    name = "scripted"
    conversion_ns = 0
    own_loop = True
    lost_conversions = 0

    def __init__(self, board: ScriptedBoard, config: dict[str, Any]) -> None:
        self._board = board
        self._channels = len(config["channels"])
        self.running = False
        self.bins = 0

    def start(self, config: dict[str, Any], ring: Any) -> None:
        self.ring = ring
        self.running = True
        if self._board.trouble is not None:
            raise self._board.trouble
        fold = load("fold")
        self._params = array("i", [0, SAMPLES, self._channels, max(config["key_channel"], 0), config["trigger_code"], 0])
        self._fold = fold.fold

    def poll(self) -> None:
        if not self.running:
            return
        slot = self.ring.slot()
        if slot >= 0:
            self._params[load("fold").OUT_AT] = slot
            self._fold(array("H", [self.bins & 4095] * SAMPLES * self._channels), self.ring.bins, self._params)
            first = self.bins * SAMPLES * self._channels
            self.ring.commit(
                first & 0x3FFFFFFF, first >> 30, self._board.clock.ticks_us(), STEP_US, STEP_US // SAMPLES, SAMPLES
            )
        self.bins += 1

    def sample(self) -> None:
        """Nothing to sample in between."""

    def stop(self) -> None:
        self.running = False

    def conversions(self) -> int:
        return self.bins * SAMPLES * self._channels

    def describe(self) -> dict[str, Any]:
        return {"acquisition": self.name, "conversion_ns": 0, "conversions_per_bin": SAMPLES}


class Store:
    """Small tables in memory."""

    def __init__(self, tables: dict[str, Any] | None = None) -> None:
        self.tables = tables or {}

    def load(self, name: str) -> Any:
        return self.tables.get(name)

    def save(self, name: str, table: Any) -> None:
        self.tables[name] = table


class Adc:
    """Reads the same always."""

    @staticmethod
    def read_u16() -> int:
        return 0x8008


class ScriptedBoard:
    """`app` and its parts; `trouble` is what the next acquisition meets, `adcs` makes the inputs of the self-check."""

    def __init__(self, tables: dict[str, Any] | None = None, captures: Any = None) -> None:
        app = load("app")
        self.clock, self.link = Clock(), Link()
        self.trouble: Exception | None = None
        self.made: list[Acquisition] = []
        self.adcs: Callable[[dict[str, Any]], list[Any]] = lambda config: [Adc() for _ in config["channels"]]
        self.refuses: Exception | None = None
        self._deframer = wire.Deframer()
        self._sequence = 0
        self.received: list[wire.Frame] = []
        self.app = app.App(
            app.Parts(
                clock=self.clock,
                stream=self.link,
                acquisition=self._acquire,
                adcs=lambda config: self.adcs(config),
                about={"board": "b", "chip": "scripted", "micropython": "0.0.0", "acquisitions": ["scripted"]},
                store=Store(tables),
                lamp=load("lamp").Lamp(None, self.clock),
                captures=captures,
                temperature_c=lambda: None,
                random8=lambda: b"by-board",
            )
        )

    def _acquire(self, config: dict[str, Any]) -> Acquisition:
        if self.refuses is not None:
            raise self.refuses
        self.made.append(Acquisition(self, config))
        return self.made[-1]

    def send(self, kind: int, body: Any = None, recording_id: bytes = ID) -> None:
        """One command, as JSON or as it is where bytes are given."""
        data = body if isinstance(body, bytes) else b"" if body is None else json.dumps(body).encode()
        self.link.to_board += b"\x00" + wire.encode_frame(kind, recording_id, self._sequence, data)
        self._sequence += 1

    def steps(self, count: int = 64) -> list[wire.Frame]:
        """So many passes of the loop; the frames that arrived in them."""
        for _ in range(count):
            self.app.step()
            self.clock.now_us += STEP_US
        frames = self._deframer.feed(bytes(self.link.to_host))
        self.link.to_host.clear()
        assert self._deframer.bad_frames == 0  # what the board sends is whole, whatever the link does
        self.received += frames
        return frames

    def ask(self, kind: int, body: Any = None) -> dict[str, Any]:
        """The REPLY to a command."""
        self.send(kind, body)
        replies = [table(f) for f in self.steps() if f.kind == wire.REPLY]
        (reply,) = [r for r in replies if r["to"] == kind]
        return reply

    def counters(self) -> dict[str, Any]:
        """The STATUS table."""
        self.send(wire.GET_STATUS)
        (status,) = [table(f) for f in self.steps() if f.kind == wire.STATUS]
        return status


def table(frame: wire.Frame) -> dict[str, Any]:
    """A frame's JSON."""
    return dict(json.loads(frame.body))
