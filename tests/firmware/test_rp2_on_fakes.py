"""The fast acquisition's own source on fake hardware: RP2040, RP2350A and RP2350B. NEVER RUN ON AN RP2350.

The RP2040 also runs on the emulated chip (tests/board); for the RP2350 this here is all there is. What the fake hardware is
modelled from stands in fake_rp2.py; it shares no code with the firmware.
"""

from __future__ import annotations

import itertools
import os
import random
import sys
from array import array
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from firstcrank import wire, wire_bodies
from firstcrank_sim.board.firmware_program import load

from .fake_rp2 import LAYOUTS, RP2040, RP2350A, RP2350B, SINGLE, WIDE, Chip, Firmware, Layout, TroubleError

TRIGGER = 1900
chips = pytest.mark.parametrize("layout", LAYOUTS, ids=lambda layout: layout.name)


def noise(seed: int) -> Callable[[int, int], int]:
    """Codes that differ by input, so that a mixed-up input shows: input n reads 512 n to 512 n + 511."""
    dice = random.Random(seed)
    return lambda number, n: number % 8 * 512 + dice.randrange(512)


class Board:
    """One recording on a fake chip with small segments; `keep` takes finished blocks out of the ring."""

    def __init__(
        self,
        layout: Layout,
        inputs: list[int],
        play: Callable[[int, int], int],
        bin_us: int = 64,
        most: int = 96,
        **config: Any,
    ) -> None:
        self.chip = Chip(layout, play)
        self.firmware = Firmware(self.chip)
        self.dma = self.firmware.rp2_dma
        self.dma.SEGMENT_MOST = most
        self.chip_named = getattr(self.firmware.rp2_registers, layout.name)
        self.acquisition = self.dma.DmaAcquisition(self.chip_named, [layout.pins[n] for n in inputs])
        self.config = {
            "bin_us": bin_us,
            "key_channel": 1 if len(inputs) > 1 else 0,
            "trigger_code": TRIGGER,
            "ring_bins": 400,
            "close_ups": False,
            **config,
        }
        self.channels = len(inputs)
        self.ring = self.acquisition.make_ring(self.config, 20000, wire.bin_bytes(self.channels))
        self.blocks: list[tuple[int, int, bytes]] = []  # first conversion, ticks, bins

    def start(self) -> None:
        self.acquisition.start(self.config, self.ring)

    def keep(self) -> None:
        ring = self.ring
        while ring.waiting():
            tail = ring.tail
            first = (ring.header(tail, 1) << 30) + ring.header(tail, 0)
            at = tail * ring.block_bytes
            self.blocks.append((first, ring.header(tail, 2), bytes(ring.bins[at : at + ring.block_bytes])))
            ring.take(1)

    def folded(self, codes: list[int]) -> bytes:
        """The plain fold of whole bins."""
        fold = load("fold")
        samples = self.acquisition.samples * self.acquisition.pieces
        bins = len(codes) // (samples * self.channels)
        size = wire.bin_bytes(self.channels)
        out = bytearray(bins * size)
        for n in range(bins):
            params = [n * samples * self.channels, samples, self.channels, self.config["key_channel"], TRIGGER, n * size]
            fold.fold(array("H", codes), out, array("i", params))
        return bytes(out)


def inputs_of(layout: Layout, count: int) -> list[int]:
    return list(range(min(count, len(layout.pins))))


# --- which chip ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "highest", "name"),
    [
        ("Raspberry Pi Pico with RP2040", 29, "RP2040"),
        ("Raspberry Pi Pico2 with RP2350", 29, "RP2350A"),
        ("Raspberry Pi Pico2 with RP2350-RISCV", 29, "RP2350A"),
        ("A board of another maker with RP2350", 47, "RP2350B"),
        ("ESP32S3 module with ESP32S3", 48, None),
        ("", 0, None),
    ],
)
def test_the_chip_is_told_by_its_name_and_pin_47(text: str, highest: int, name: str | None) -> None:
    """MicroPython's names for the processors: ports/rp2/mpconfigport.h, MICROPY_HW_MCU_NAME, read."""
    found = load("rp2_registers").this_chip(text, lambda pin: pin <= highest)
    assert (found.name if found else None) == name


@chips
def test_choose_asks_uname_and_the_pins(layout: Layout, monkeypatch: pytest.MonkeyPatch) -> None:
    firmware = Firmware(Chip(layout, noise(0)))
    monkeypatch.setattr(os, "uname", lambda: SimpleNamespace(machine=layout.machine))
    with firmware.in_place():
        assert load("choose").chip().name == layout.name
    assert load("choose").chip() is None  # here is no machine module


@chips
def test_addresses_and_requests_are_the_c_sdks(layout: Layout) -> None:
    """src/rp2040 and src/rp2350 of the chip maker's SDK: addressmap.h, timer.h (TIMERAWL), dreq.h, platform_defs.h; read."""
    registers = load("rp2_registers")
    chip = getattr(registers, layout.name)
    assert (chip.adc, chip.timer_low, chip.dreq_adc) == (layout.adc, layout.timer + 0x28, layout.dreq_adc)
    assert tuple(chip.adc_pins) == layout.pins
    assert (registers.DMA_BASE, registers.CHANNEL_STRIDE, registers.AL2_WRITE_ADDR_TRIG) == (0x50000000, 0x40, 0x2C)
    assert (registers.WRITE_ADDR, registers.AL1_CTRL) == (0x04, 0x10)
    assert (registers.CS, registers.FCS, registers.FIFO, registers.DIV) == (0x00, 0x08, 0x0C, 0x10)


def test_pins_of_another_package_are_refused() -> None:
    registers = load("rp2_registers")
    with pytest.raises(ValueError, match="GP40 is not an ADC pin"):
        registers.RP2350A.channel(40)
    with pytest.raises(ValueError, match="GP26 is not an ADC pin"):
        registers.RP2350B.channel(26)
    assert [registers.RP2350B.channel(pin) for pin in range(40, 48)] == list(range(8))


@chips
def test_round_robin_bits(layout: Layout) -> None:
    """RROBIN from bit 16, AINSEL from bit 12, never a bit that this chip's CS does not have."""
    chip = getattr(load("rp2_registers"), layout.name)
    for count in range(1, len(layout.pins) + 1):
        for inputs in itertools.combinations(range(len(layout.pins)), count):
            bits = chip.round_robin(list(inputs))
            assert bits & ~layout.cs_mask == 0
            assert [n for n in range(9) if bits >> 16 >> n & 1] == list(inputs)
            assert bits >> 12 & layout.ainsel_mask == inputs[0]


@pytest.mark.parametrize("order", [(1, 0), (0, 0), (0, 2, 1), (0, 1, 1)])
def test_inputs_out_of_order_or_twice_are_refused(order: tuple[int, ...]) -> None:
    """The hardware takes each input once a round, in rising order: anything else would mix up the leads."""
    firmware = Firmware(Chip(RP2350B, noise(0)))
    with pytest.raises(ValueError, match="rising"):
        firmware.rp2_dma.DmaAcquisition(firmware.rp2_registers.RP2350B, [RP2350B.pins[n] for n in order])


# --- what it does with the hardware ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("layout", "count"), [(chip, n + 1) for chip in LAYOUTS for n in range(len(chip.pins))], ids=lambda v: getattr(v, "name", v)
)
def test_every_conversion_is_in_its_bin_over_many_laps(layout: Layout, count: int) -> None:
    """More than a hundred segments of at most 96 conversions: each is begun with its full count, at its own place."""
    board = Board(layout, inputs_of(layout, count), noise(count))
    board.start()
    for _ in range(100):
        board.chip.convert(131)
        board.keep()
    acquisition, chip = board.acquisition, board.chip
    conversions = acquisition._segment_conversions
    data = chip.channels[acquisition._data.channel]
    assert len(data.triggers) >= 130
    assert {size for _, size in data.triggers} == {conversions}
    raw = chip.memory.address_of(acquisition._raw)
    assert [at for at, _ in data.triggers] == [raw + 2 * conversions * (n % 4) for n in range(len(data.triggers))]
    assert board.blocks[0][0] == 0
    codes = b"".join(block for _, _, block in board.blocks)
    assert codes == board.folded(chip.converted)[: len(codes)]
    per_block = len(chip.converted) // max(len(board.blocks), 1)
    assert len(chip.converted) - len(board.blocks) * per_block < 2 * conversions + per_block
    size = board.ring.group * acquisition.samples * acquisition.pieces * count
    assert [first for first, _, _ in board.blocks] == [n * size for n in range(len(board.blocks))]
    assert [ticks for _, ticks, _ in board.blocks] == [7 + 2 * first for first, _, _ in board.blocks]
    assert acquisition.lost_conversions == board.ring.lost_bins == 0
    assert acquisition.conversions() == len(board.blocks) * size


@chips
@pytest.mark.parametrize("bin_us", [250, 768, 3000, 24576])
def test_shipped_segment_sizes(layout: Layout, bin_us: int) -> None:
    """As shipped, three leads and, where the chip has them, eight: bins shorter and longer than a segment."""
    for count in {3, len(layout.pins)}:
        board = Board(layout, inputs_of(layout, count), noise(bin_us), bin_us, 1536)
        board.start()
        wanted = 2 * board.ring.group * board.acquisition.samples * board.acquisition.pieces * count
        board.chip.convert(wanted + 3000)
        board.keep()
        assert len(board.blocks) >= 2
        codes = b"".join(block for _, _, block in board.blocks)
        assert codes == board.folded(board.chip.converted)[: len(codes)]
        assert board.ring.bin_bytes * board.ring.group + wire.BINS_BYTES <= load("outbox").MOST_BODY  # a block fits a frame


@chips
def test_every_field_of_the_control_word_is_given(layout: Layout) -> None:
    """Up to MicroPython 1.25 the defaults corrupt ring and chain bits on the RP2350. Here they are all ones."""
    board = Board(layout, [0, 1, 2], noise(1))
    board.start()
    assert len(board.firmware.packed) == 2
    chip, acquisition = board.chip, board.acquisition
    data, control = chip.channels[acquisition._data.channel], chip.channels[acquisition._control.channel]
    for channel in (data, control):
        assert chip.get(channel, "chain_to") == control.number
        assert chip.get(channel, "high_pri") == 1
        assert chip.get(channel, "bswap") == chip.get(channel, "sniff_en") == 0
    assert [chip.get(data, f) for f in ("size", "inc_read", "inc_write", "ring_size", "irq_quiet")] == [1, 0, 1, 0, 0]
    assert [chip.get(control, f) for f in ("size", "inc_read", "inc_write", "ring_sel", "irq_quiet")] == [2, 1, 0, 0, 1]
    assert chip.get(data, "treq_sel") == layout.dreq_adc
    assert 1 << chip.get(control, "ring_size") == 4 * 4
    assert chip.memory.span(acquisition._table_at) is not None
    assert acquisition._table_at % 16 == 0  # the ring wraps the address's low bits: the table must begin on their boundary


@chips
def test_each_call_names_each_field(layout: Layout) -> None:
    seen: list[set[str]] = []
    board = Board(layout, [0, 1, 2], noise(1))
    pack = board.firmware.fakes["rp2"].DMA.pack_ctrl

    def noted(channel: object, **fields: int) -> object:
        seen.append(set(fields))
        return pack(channel, **fields)

    board.firmware.fakes["rp2"].DMA.pack_ctrl = noted
    board.start()
    assert seen == [{*SINGLE, *WIDE}] * 2


# --- every way out --------------------------------------------------------------------------------------------------


def no_dma_write(board: Board) -> bool:
    """Whoever uses the converter next: no channel of ours writes into memory that may be someone else's by then."""
    raw = bytes(board.acquisition._raw)
    layout, chip = board.chip.layout, board.chip
    chip.memory.write(layout.adc + 0x08, 4, 1 << 24 | 1 << 3 | 1)
    chip.memory.write(layout.adc, 4, 1 << 16 | 1 << 3 | 1)
    chip.convert(1000)
    return bytes(board.acquisition._raw) == raw


@chips
def test_stop_ends_converter_then_channels(layout: Layout) -> None:
    board = Board(layout, [0, 1, 2], noise(2))
    board.start()
    board.chip.convert(1000)
    board.chip.log.clear()
    data, control = board.acquisition._data.channel, board.acquisition._control.channel
    board.acquisition.stop()
    disabled_first = [f"channel {n} {what}" for what in ("disabled", "aborted") for n in (data, control)]
    assert board.chip.log == ["converter stands", *disabled_first]  # disabled before: erratum RP2350-E5
    assert board.chip.quiet()
    assert no_dma_write(board)
    board.acquisition.stop()  # safe twice


@chips
def test_stop_before_start_is_safe(layout: Layout) -> None:
    board = Board(layout, [0, 1, 2], noise(2))
    board.acquisition.stop()
    assert board.chip.quiet()


@chips
def test_an_error_at_any_step_of_the_start_leaves_nothing_running(layout: Layout) -> None:
    at = 0
    while True:
        at += 1
        board = Board(layout, [0, 1, 2], noise(3))
        board.chip.trouble_at = at
        try:
            board.start()
        except TroubleError:
            board.acquisition.stop()
            assert board.chip.quiet(), f"after an error at step {at}: {board.chip.log}"
            assert no_dma_write(board)
            continue
        break
    assert at > 12  # three inputs, two channels, their words and settings, the interrupt, the converter
    board.chip.trouble_at = None
    board.acquisition.stop()
    assert board.chip.quiet()


@chips
def test_no_free_channel_is_an_error_that_leaves_none_taken(layout: Layout) -> None:
    """Eleven of twelve are somebody else's: the one that was got is given back."""
    board = Board(layout, [0, 1, 2], noise(3))
    for channel in board.chip.channels[:11]:
        channel.claimed = True
    with pytest.raises(OSError, match="16"):
        board.start()
    board.acquisition.stop()
    assert not board.chip.channels[11].claimed


# --- trouble on the way ------------------------------------------------------------------------------------------------


@chips
def test_an_overflow_is_counted_and_leads_stay_apart(layout: Layout) -> None:
    board = Board(layout, [0, 1, 2], noise(4))
    board.start()
    board.chip.convert(3001)
    board.keep()
    before = len(board.blocks)
    board.chip.dma_stands = True  # the FIFO runs over
    board.chip.convert(layout.fifo + 20)
    board.chip.dma_stands = False
    board.chip.convert(500)
    board.acquisition.poll()
    board.chip.convert(4000)
    board.keep()
    counters = board.acquisition.counters()
    assert (counters["fifo_overflows"], counters["restarts"]) == (1, 1)
    lost = board.acquisition.lost_conversions
    assert lost > 0
    assert lost % 3 == 0
    starts = [first for first, _, _ in board.blocks]
    size = board.ring.group * board.acquisition.samples * 3
    jumps = [b - a - size for a, b in itertools.pairwise(starts)]
    assert [j for j in jumps if j] == [lost]
    bin_fields = np.frombuffer(b"".join(block for _, _, block in board.blocks), "<u2").reshape(-1, 12)
    assert len(board.blocks) > before + 5
    for lead in range(3):
        assert (bin_fields[:, 3 * lead + 1] >= 512 * lead).all()
        assert (bin_fields[:, 3 * lead + 2] < 512 * lead + 512).all()


@chips
@pytest.mark.parametrize("laps", [1, 2, 5])
def test_an_interrupt_that_is_held_up_too_long_is_counted(layout: Layout, laps: int) -> None:
    board = Board(layout, [0, 1, 2], noise(5))
    board.start()
    board.chip.convert(2000)
    segment = board.acquisition._segment_conversions
    board.chip.held_up = True
    board.chip.convert(laps * 4 * segment + 7)
    board.chip.held_up = False
    board.chip.convert(6 * segment)
    board.keep()
    assert board.acquisition.counters()["ring_overruns"] == 1
    lost = board.acquisition.lost_conversions
    size = board.ring.group * board.acquisition.samples * 3
    jumps = [b[0] - a[0] - size for a, b in itertools.pairwise(board.blocks)]
    assert [j for j in jumps if j] == [lost]
    assert lost >= laps * 4 * segment
    for first, ticks, block in board.blocks:
        assert block == board.folded(board.chip.converted[first : first + size])
        assert ticks == 7 + 2 * first


@chips
def test_a_full_ring_counts_what_it_drops(layout: Layout) -> None:
    board = Board(layout, [0, 1, 2], noise(6), ring_bins=16)
    board.start()
    board.chip.convert(20_000)
    lost = board.ring.lost_bins
    board.keep()
    kept = len(board.blocks) * board.ring.group
    made = 20_000 // (board.acquisition.samples * 3)
    assert lost > 0
    assert 0 <= made - kept - lost < 2 * board.ring.group + 4


@chips
def test_close_ups_hold_the_conversions_round_each_edge(layout: Layout) -> None:
    """The feed drops out twice; every code of each close-up is the one that was converted."""
    dropouts = ((9_000, 9_300), (30_000, 30_009))
    dice = random.Random(7)

    def play(number: int, n: int) -> int:
        if number == 1 and any(begin <= n < end for begin, end in dropouts):
            return 300
        return 2400 + dice.randrange(8)

    board = Board(layout, [0, 1, 2], play, 768, 1536, close_ups=True)
    board.start()
    close_ups = board.acquisition.close_ups
    plain = bytearray(4000)
    edges: dict[int, list[tuple[wire_bodies.CloseUpHead, np.ndarray]]] = {}
    for _ in range(60):
        board.chip.convert(1000)
        board.keep()
        while close_ups.pending():
            end = close_ups.put_piece(plain)
            body = bytes(plain[wire.HEADER_BYTES : end])
            head = wire_bodies.unpack_close_up_head(body)
            edges.setdefault(head.edge, []).append((head, np.frombuffer(body, "<u2", offset=wire.CLOSE_UP_BYTES)))
    assert sorted(edges) == [0, 1, 2, 3]
    wanted = [(9_001, 1), (9_301, 0), (30_001, 1), (30_010, 0)]
    for (conversion, falling), pieces in zip(wanted, edges.values(), strict=True):
        head = pieces[0][0]
        assert (head.edge_conversion, head.falling, head.channel_count) == (conversion, falling, 3)
        codes = np.concatenate([codes for _, codes in pieces])
        first = head.first_conversion
        assert first <= conversion - 2000 + 1
        assert first + len(codes) >= conversion + 4000
        assert codes.tolist() == board.chip.converted[first : first + len(codes)]


def test_the_fakes_are_gone_afterwards() -> None:
    Firmware(Chip(RP2350A, noise(0)))
    assert not {"machine", "rp2", "uctypes", "micropython"} & set(sys.modules)
    assert not load("fast").COMPILED


def test_the_pointers_refuse_what_a_chip_would_not_survive() -> None:
    """viper checks nothing: with these, reading past a buffer or off a boundary fails the test that does it."""
    chip = Chip(RP2040, noise(0))
    firmware = Firmware(chip)
    ptr16 = firmware.rp2_service.__dict__["ptr16"]
    buffer = bytearray(8)
    assert ptr16(buffer)[3] == 0
    for index in (4, -1):
        with pytest.raises(IndexError):
            ptr16(buffer)[index]
    with pytest.raises(IndexError, match="boundary"):
        ptr16(chip.memory.address_of(buffer) + 1)[0]
    with pytest.raises(IndexError):
        ptr16(0x1234)[0]


@chips
def test_a_converter_error_costs_what_is_not_folded_and_is_counted(layout: Layout) -> None:
    """CS.ERR_STICKY: some conversion since the last segment is not to be believed. A hole, and the leads stay apart."""
    board = Board(layout, [0, 1, 2], noise(8))
    board.start()
    board.chip.convert(3001)
    board.keep()
    board.chip.error_sticky = True
    board.chip.convert(500)
    board.acquisition.poll()
    assert not board.chip.error_sticky  # cleared by writing it
    board.chip.convert(4000)
    board.keep()
    counters = board.acquisition.counters()
    assert (counters["converter_errors"], counters["fifo_overflows"], counters["restarts"]) == (1, 0, 1)
    size = board.ring.group * board.acquisition.samples * 3
    jumps = [b[0] - a[0] - size for a, b in itertools.pairwise(board.blocks)]
    assert [j for j in jumps if j] == [board.acquisition.lost_conversions]


@chips
def test_a_converter_that_is_slow_shows_against_the_timer(layout: Layout) -> None:
    board = Board(layout, [0, 1, 2], noise(9))
    board.start()
    board.chip.convert(2000)
    assert 0 <= board.acquisition.counters()["converter_late_us"] < 5
    board.chip.now_ns += 150_000  # as if 75 conversions had taken twice their time
    board.chip.convert(2000)
    assert 145 < board.acquisition.counters()["converter_late_us"] < 155


@chips
def test_a_close_up_that_cannot_be_copied_in_time_is_cut_and_counted(layout: Layout) -> None:
    """The interrupt comes so late that the oldest wanted conversions are being overwritten: no wrong code is ever sent."""
    dice = random.Random(11)
    board = Board(
        layout,
        [0, 1, 2],
        lambda number, n: 300 if number == 1 and 9_000 <= n < 9_300 else 2400 + dice.randrange(8),
        768,
        1536,
        close_ups=True,
    )
    board.start()
    board.chip.convert(8_900)
    board.chip.held_up = True
    board.chip.convert(4_588)  # within the segments' four, so nothing is lost of the bins
    board.chip.held_up = False
    plain = bytearray(4000)
    for _ in range(20):
        board.chip.convert(1000)
        board.keep()
        close_ups = board.acquisition.close_ups
        while close_ups.pending():
            end = close_ups.put_piece(plain)
            body = bytes(plain[wire.HEADER_BYTES : end])
            head = wire_bodies.unpack_close_up_head(body)
            codes = np.frombuffer(body, "<u2", offset=wire.CLOSE_UP_BYTES)
            assert codes.tolist() == board.chip.converted[head.first_conversion : head.first_conversion + len(codes)]
    counters = board.acquisition.counters()
    assert board.acquisition.lost_conversions == 0
    assert counters["edges"] + counters["edges_dropped"] >= 2
    assert counters["edges_dropped"] > 0


@chips
def test_many_edges_are_all_counted(layout: Layout) -> None:
    """Every twelve conversions the feed falls and comes back: kept or not, each edge is in one count or the other."""
    board = Board(
        layout,
        [0, 1, 2],
        lambda number, n: 300 if number == 1 and 3_000 <= n < 9_000 and n // 6 % 2 else 2400,
        768,
        1536,
        close_ups=True,
    )
    board.start()
    board.chip.convert(15_000)
    counters = board.acquisition.counters()
    assert counters["edges"] + counters["edges_dropped"] == 1000


@chips
def test_the_interrupts_numbers_are_the_same_in_both_files(layout: Layout) -> None:
    """The compiler takes numbers from its own file alone, so rp2_edges repeats those of rp2_service and close_up."""
    firmware = Firmware(Chip(layout, noise(0)))
    edges, service, index = firmware.rp2_edges, firmware.rp2_service, firmware.close_up
    names = [name for name in vars(edges) if name.isupper() and hasattr(service, name)]
    assert len(names) >= 13
    assert {n: getattr(edges, n) for n in names} == {n: getattr(service, n) for n in names}
    names = [name for name in vars(edges) if name.isupper() and hasattr(index, name) and name != "EDGES"]
    assert len(names) >= 19
    assert {n: getattr(edges, n) for n in names} == {n: getattr(index, n) for n in names}
