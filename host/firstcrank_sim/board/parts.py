"""What the simulated board is made of: its clock, its serial stream, its inputs, its acquisition, its small files."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from typing import Protocol, Required, TypedDict, TypeVar

import numpy as np
from numpy.typing import NDArray

from firstcrank import wire
from firstcrank.trace import FloatArray
from firstcrank.units import US_PER_S
from firstcrank.wire_bodies import ChannelBody
from firstcrank_sim.board.converter import Converter
from firstcrank_sim.board.firmware_program import load
from firstcrank_sim.board.solder_faults import SUPPLY_V

Number = TypeVar("Number", int, float)
CONVERSION_S = 2e-6  # RP2040: 96 cycles of 48 MHz, datasheet section 4.9
BLOCK_S = 0.5  # converted at a time
WARM_UP_S = 0.01  # converted before each block so that the input filter has settled


class Waveforms(Protocol):
    """What the board's inputs need of a simulated start."""

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """Volts at the clip named `role` at times `t`."""
        ...


class Config(TypedDict, total=False):
    """What the firmware's commands made of CONFIGURE."""

    channels: Required[list[ChannelBody]]
    bin_us: Required[int]
    key_channel: Required[int]
    trigger_code: Required[int]
    acquisition: str


class Ring(Protocol):
    """The firmware's ring of bins (bin_ring.py)."""

    bins: bytearray
    bin_bytes: int

    def slot(self) -> int:
        """Where the next bin goes; below 0 where there is no room."""
        ...

    def commit(self, low: int, high: int, at_us: int, span_us: int, gap_us: int, conversions: int) -> None:
        """The bin in the slot is whole."""
        ...


class App(Protocol):
    """The firmware's program (app.py)."""

    def step(self) -> None:
        """One pass of its loop."""
        ...


class Clock:
    """Simulated microseconds, wrapping as a board's do."""

    def __init__(self) -> None:
        self.us = 0

    def ticks_us(self) -> int:
        return self.us % wire.TICKS_WRAP_US

    @staticmethod
    def ticks_diff(later: int, earlier: int) -> int:
        half = wire.TICKS_WRAP_US // 2
        return (later - earlier + half) % wire.TICKS_WRAP_US - half


class Stream:
    """Both directions of the simulated USB serial."""

    def __init__(self) -> None:
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.open = True

    def read(self, most: int) -> bytes:
        data = bytes(self.to_board[:most])
        del self.to_board[:most]
        return data

    def writable(self) -> bool:
        return self.open

    def write(self, view: memoryview) -> int:
        if not self.open:
            return 0
        self.to_host += view
        return len(view)


class Inputs:
    """Codes of all channels, converted round robin from the start's true voltages."""

    def __init__(self, start: Waveforms, converter: Converter, roles: list[str], seed: int) -> None:
        self._start = start
        self._converter = converter
        self._roles = roles
        self._rng = np.random.default_rng([seed, 11])
        self.set_s = CONVERSION_S * len(roles)
        self._block: NDArray[np.uint16] = np.zeros((0, len(roles)), dtype=np.uint16)
        self._first = 0

    def codes(self, first: int, count: int) -> NDArray[np.uint16]:
        """`count` samples of every channel from number `first`, shape (count, channels); must be asked for in rising order."""
        parts = []
        while count > 0:
            if first >= self._first + len(self._block):
                self._convert(first)
            at = first - self._first
            part = self._block[at : at + count]
            parts.append(part)
            first += len(part)
            count -= len(part)
        return np.concatenate(parts)

    def _convert(self, first: int) -> None:
        warm = min(int(WARM_UP_S / self.set_s), first)
        samples_per_bin = np.arange(first - warm, first + int(BLOCK_S / self.set_s))
        columns = []
        for number, role in enumerate(self._roles):
            t = np.asarray(samples_per_bin * self.set_s + number * CONVERSION_S, dtype=np.float64)
            codes = self._converter.codes(role, self._start.volts(role, t), self.set_s, self._rng)
            columns.append(codes[warm:])
        self._block = np.stack(columns, axis=1)
        self._first = first


class Acquisition:
    """Free-running conversion on the simulated clock, folded by the firmware's plain fold."""

    name = "sim"
    own_loop = False
    lost_conversions = 0

    def __init__(self, clock: Clock, inputs: Inputs, channels: int) -> None:
        self._clock = clock
        self._inputs = inputs
        self._channels = channels
        self._fold = load("fold").fold
        self._running = False

    def start(self, config: Config, ring: Ring) -> None:
        fold = load("fold")
        self.samples_per_bin = max(round(config["bin_us"] / US_PER_S / self._inputs.set_s), 1)
        self._ring = ring
        self._params = array("i", bytes(4 * fold.PARAMS))
        self._params[fold.SAMPLES] = self.samples_per_bin
        self._params[fold.CHANNELS] = self._channels
        self._params[fold.KEY] = config["key_channel"]
        self._params[fold.TRIGGER] = config["trigger_code"]
        self._out_at = fold.OUT_AT
        self._spare = bytearray(ring.bin_bytes)
        self._begin_us = self._clock.us
        self._bins = 0
        self._running = True

    def poll(self) -> None:
        """Folds every bin that is due."""
        bin_us = self.samples_per_bin * self._inputs.set_s * US_PER_S
        due = int((self._clock.us - self._begin_us) / bin_us) if self._running else self._bins
        if due <= self._bins:
            return
        codes = array(
            "H", self._inputs.codes(self._bins * self.samples_per_bin, (due - self._bins) * self.samples_per_bin).tobytes()
        )
        per_bin = self.samples_per_bin * self._channels
        ring, params = self._ring, self._params
        for number in range(due - self._bins):
            slot = ring.slot()
            params[0] = number * per_bin
            params[self._out_at] = max(slot, 0)
            self._fold(codes, ring.bins if slot >= 0 else self._spare, params)
            if slot >= 0:
                index = (self._bins + number) * per_bin
                at_us = int(self._begin_us + (self._bins + number) * bin_us) % wire.TICKS_WRAP_US
                gap_us = round(self._inputs.set_s * US_PER_S)
                ring.commit(index & 0x3FFFFFFF, index >> 30, at_us, round(bin_us), gap_us, self.samples_per_bin)
        self._bins = due

    def stop(self) -> None:
        self._running = False

    def conversions(self) -> int:
        return int(self._bins * self.samples_per_bin * self._channels)

    def describe(self) -> dict[str, object]:
        return {
            "acquisition": self.name,
            "conversion_ns": round(CONVERSION_S * 1e9),
            "conversions_per_bin": self.samples_per_bin,
        }


class Input:
    """One pin for the self-check: what the lead carries before the key is touched."""

    def __init__(self, inputs: Inputs, channel: int) -> None:
        self._inputs = inputs
        self._channel = channel
        self._read = 0

    def read_u16(self) -> int:
        self._read += 1
        code = int(self._inputs.codes(self._read, 1)[0, self._channel])
        return (code << 4) | (code >> 8)


class SolderedInput:
    """One pin of a board under test, every clip on the ground clip: what a wrong part lets it read."""

    def __init__(self, pin: Mapping[str, float]) -> None:
        self._code = min(round(pin["rest_v"] / SUPPLY_V * wire.CODE_TOP), wire.CODE_TOP - 1)
        self._read = 0

    def read_u16(self) -> int:
        self._read += 1
        code = min(max(self._code + self._read % 2, 0), wire.CODE_TOP - 1)  # a converter's last bit is never still
        return (code << 4) | (code >> 8)


class Store:
    """The board's small files, in memory."""

    def __init__(self, tables: dict[str, object]) -> None:
        self._tables = tables

    def load(self, name: str) -> object:
        return self._tables.get(name)

    def save(self, name: str, table: object) -> None:
        self._tables[name] = table
