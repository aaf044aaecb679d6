"""Acquisition on the RP2040 and RP2350: every conversion the converter can make, 500,000 a second, folded in an interrupt.

The converter runs free, round robin over the channels (RP2040 datasheet 4.9.2.3), paces a DMA channel through DREQ_ADC, and
that one fills segments of a buffer. When a segment is full the channel chains to a second one, which writes the address of the
next segment into AL2_WRITE_ADDR_TRIG (control blocks, RP2040 datasheet 2.5.6.2) and so starts the first again, with its full
count: no count runs out, however long the recording. Each full segment raises an interrupt, whose callback (rp2_service) folds.
"""

from array import array

import machine
import rp2
import uctypes

from . import arena
from . import rp2_edges as edges
from . import rp2_registers as reg
from . import rp2_service as at
from .bin_ring import SAME_CONVERSIONS, SAME_GAP, SAME_SPAN, UNIFORM_HEADER_WORDS, BinRing
from .close_up import ACTIVE, EDGES_MADE, POOL_AT, CloseUps
from .fold import NO_KEY

if 0:  # for mypy alone: compiled to nothing
    from typing import Sequence

    from board_types import Config, DmaChannel, NotYet, Table

    from .rp2_registers import Chip

CONVERSION_NS = 2000  # 96 cycles of the 48 MHz ADC clock (RP2040 datasheet 4.9.2)
SEGMENTS = 4  # a power of two: the control channel's table wraps
SEGMENT_MOST = 1536  # conversions: 3.1 ms, so that four segments take 12 kB and last 12 ms
BLOCK_LEAST, BLOCK_US = 8, 25000  # short bins share a block of at least so many, long ones of about so long
MOST_EDGES_A_SEGMENT = 16


def plan(bin_us: int, channels: int, group: int = 0) -> "tuple[int, int, int, int]":
    """(samples in a piece, pieces in a bin, bins in a segment, bins in a block) for a bin of about `bin_us`; `group` 0: choose."""
    conversions = max(bin_us * 1000 // CONVERSION_NS, channels)
    if conversions <= SEGMENT_MOST:
        samples = _even(conversions // channels)
        bins = max(SEGMENT_MOST // (samples * channels), 1)
        return samples, 1, bins, bins * max(BLOCK_LEAST // bins, 1)
    pieces = -(-conversions // SEGMENT_MOST)
    return _even(conversions // pieces // channels), pieces, 1, group or max(BLOCK_US // bin_us, 1)


def _even(samples: int) -> int:
    """Pieces of an even number of conversions begin on words, and four segments of them are whole groups of eight."""
    return max(samples // 2 * 2, 2)


class DmaAcquisition:
    """One per recording. `chip` is a rp2_registers.Chip, `pins` the GPIO numbers in rising order."""

    name = "rp2_dma"
    conversion_ns = CONVERSION_NS
    _data: "DmaChannel | NotYet"
    _control: "DmaChannel | NotYet"
    own_loop = False  # an interrupt samples; poll() only tends it

    def __init__(self, chip: "Chip", pins: "Sequence[int]", segments: int = SEGMENTS) -> None:
        inputs = [chip.channel(pin) for pin in pins]
        if sorted(set(inputs)) != inputs:
            raise ValueError("the converter takes each input once, in rising order: list the channels by rising pin number")
        self._chip = chip
        self._inputs = inputs
        self._pins = pins
        self._segments = segments
        self._data = self._control = None
        self._running = False
        self._state = array("i", bytes(4 * at.STATE))
        self.restarts = 0
        self.close_ups: "CloseUps | None" = None

    def start(self, config: "Config", ring: "BinRing") -> None:
        """Claims two DMA channels and lets the converter run; bins appear in `ring` from now on."""
        s = self._state
        channels = len(self._inputs)
        self.samples, self.pieces, bins_a_segment, group = self.shape(config)
        conversions = self.samples * channels * bins_a_segment
        self._segment_conversions = conversions
        self._raw = arena.take(arena.SEGMENTS, (conversions * self._segments + 1) // 2)
        # RP2040: the control channel's read address wraps on a power of two, and its table must begin on one.
        table_bytes = 4 * self._segments
        self._table = bytearray(2 * table_bytes)
        table = uctypes.addressof(self._table)
        table += -table % table_bytes
        raw = uctypes.addressof(self._raw)
        for n in range(self._segments):
            machine.mem32[table + 4 * n] = raw + 2 * conversions * ((n + 1) % self._segments)
        self._table_at = table
        self._acc = array("i", bytes(4 * 3 * channels * (bins_a_segment + 1)))  # pieces of a bin are added up in the last
        self._shape = array("i", [0, 0, self.samples, channels, 0])
        self._edges = array("i", bytes(4 * MOST_EDGES_A_SEGMENT))
        self._spare = bytearray(ring.block_bytes)
        self._ring = ring
        if config["key_channel"] >= 0 and config.get("close_ups", True):
            self.close_ups = CloseUps(CONVERSION_NS, channels, edges.copy_codes, arena.take_most(arena.CLOSE_UPS))
            self.close_ups.index[POOL_AT] = uctypes.addressof(self.close_ups.pool)
            s[at.CLOSE_UPS_AT] = uctypes.addressof(self.close_ups.index)
        for index, value in (
            (at.RAW_AT, raw),
            (at.SEGMENTS, self._segments),
            (at.SEGMENT_BYTES, 2 * conversions),
            (at.SEGMENT_US, conversions * CONVERSION_NS // 1000),
            (at.ADC_AT, self._chip.adc),
            (at.TIMER_AT, self._chip.timer_low),
            (at.SAMPLES, self.samples),
            (at.CHANNELS, channels),
            (at.KEY, config["key_channel"] if config["key_channel"] >= 0 else NO_KEY),
            (at.SCAN_STEP, 2 * channels),
            (at.TRIGGER, config["trigger_code"]),
            (at.CONFIRM, config["trigger_code"] + at.HYSTERESIS),
            (at.SHIFT, _shift(self.samples * self.pieces)),
            (at.PIECES, self.pieces),
            (at.BINS_A_SEGMENT, bins_a_segment),
            (at.BINS_A_BLOCK, group),
            (at.ACC_AT, uctypes.addressof(self._acc)),
            (at.SHAPE_AT, uctypes.addressof(self._shape)),
            (at.INDEX_AT, uctypes.addressof(ring.index)),
            (at.HEADERS_AT, uctypes.addressof(ring.headers)),
            (at.BLOCKS_AT, uctypes.addressof(ring.bins)),
            (at.BLOCK_BYTES, ring.block_bytes),
            (at.SPARE_AT, uctypes.addressof(self._spare)),
            (at.EDGES_AT, uctypes.addressof(self._edges)),
            (at.MOST_EDGES, MOST_EDGES_A_SEGMENT),
            (at.RISE_AT, 0),
        ):
            s[index] = value
        for pin in self._pins:
            machine.ADC(machine.Pin(pin))  # sets the pad: no digital input, no pulls, output off
        self._data = rp2.DMA()
        self._control = rp2.DMA()  # not in one line: where there is no second one, stop() gives the first back
        self._go()

    def shape(self, config: "Config") -> "tuple[int, int, int, int]":
        """See plan."""
        return plan(config["bin_us"], len(self._inputs), config.get("group", 0))

    def make_ring(self, config: "Config", ring_bytes: int, bin_bytes: int) -> "BinRing":
        """A BinRing of at most `ring_bytes` whose blocks are whole segments, or a group of long bins."""
        samples, pieces, _, group = self.shape(config)
        bins = min(min(ring_bytes, arena.room(arena.BINS)) // bin_bytes, config["ring_bins"])
        blocks = min(max(bins // group, 4), arena.room(arena.HEADERS) // UNIFORM_HEADER_WORDS)
        bins = arena.take(arena.BINS, blocks * group * bin_bytes)
        ring = BinRing(blocks, bin_bytes, group, True, bins, arena.take(arena.HEADERS, blocks * UNIFORM_HEADER_WORDS))
        channels = len(self._inputs)
        ring.index[SAME_SPAN] = samples * channels * pieces * group * CONVERSION_NS // 1000
        ring.index[SAME_GAP] = channels * CONVERSION_NS // 1000
        ring.index[SAME_CONVERSIONS] = samples * pieces
        return ring

    def _go(self) -> None:
        """Starts, or starts again after `_halt`; the state's LOW and HIGH say with which conversion."""
        adc = self._chip.adc
        s = self._state
        mem32 = machine.mem32
        mem32[adc + reg.CS] = reg.CS_EN | reg.CS_ERR_STICKY  # the flag is cleared by writing it
        while not mem32[adc + reg.CS] & reg.CS_READY:
            pass
        mem32[adc + reg.DIV] = 0  # back to back
        mem32[adc + reg.FCS] = reg.FCS_OVER | reg.FCS_UNDER  # FIFO off, flags cleared
        while mem32[adc + reg.FCS] >> reg.FCS_LEVEL_SHIFT & 15:
            mem32[adc + reg.FIFO]
        mem32[adc + reg.FCS] = 1 << reg.FCS_THRESH_SHIFT | reg.FCS_DREQ_EN | reg.FCS_EN | reg.FCS_OVER | reg.FCS_UNDER
        data, control = self._data, self._control
        raw = s[at.RAW_AT]
        data_registers = reg.DMA_BASE + reg.CHANNEL_STRIDE * data.channel
        s[at.WRITE_ADDR_AT] = data_registers + reg.WRITE_ADDR
        # Every field is passed: up to 1.25 the defaults corrupt ring and chain bits on the RP2350.
        control.config(
            read=self._table_at,
            write=data_registers + reg.AL2_WRITE_ADDR_TRIG,
            count=1,
            ctrl=control.pack_ctrl(
                enable=True,
                high_pri=True,
                size=2,
                inc_read=True,
                inc_write=False,
                ring_size=_log2(4 * self._segments),
                ring_sel=False,
                chain_to=control.channel,
                treq_sel=63,
                irq_quiet=True,
                bswap=False,
                sniff_en=False,
                write_err=True,
                read_err=True,
            ),
            trigger=False,
        )
        data.config(
            read=adc + reg.FIFO,
            write=raw,
            count=self._segment_conversions,
            ctrl=data.pack_ctrl(
                enable=True,
                high_pri=True,
                size=1,
                inc_read=False,
                inc_write=True,
                ring_size=0,
                ring_sel=False,
                chain_to=control.channel,
                treq_sel=self._chip.dreq_adc,
                irq_quiet=False,
                bswap=False,
                sniff_en=False,
                write_err=True,
                read_err=True,
            ),
            trigger=True,
        )
        s[at.NEXT] = s[at.PIECE] = s[at.IN_BLOCK] = s[at.STOPPED] = s[at.SINCE] = 0
        s[at.RISE_AT] = 0
        self._running = True
        state, service = self._state, at.service

        def full(_channel: object) -> None:
            service(state)

        data.irq(handler=full, hard=True)
        mem32[adc + reg.CS] = reg.CS_EN | self._chip.round_robin(self._inputs)
        s[at.NEXT_US] = mem32[s[at.TIMER_AT]] & 0x3FFFFFFF
        mem32[adc + reg.CS] = reg.CS_EN | self._chip.round_robin(self._inputs) | reg.CS_START_MANY

    def poll(self) -> None:
        """Starts again after a FIFO overflow or a converter error, the time between counted as lost conversions."""
        if not self._running or not self._state[at.STOPPED]:
            return
        s = self._state
        self._halt()
        now_us = machine.mem32[s[at.TIMER_AT]] & 0x3FFFFFFF
        per_set = len(self._inputs)
        gone = ((now_us - s[at.NEXT_US]) & 0x3FFFFFFF) * 1000 // CONVERSION_NS // per_set * per_set
        half_done = (s[at.LOW] - s[at.BIN_LOW]) & 0x3FFFFFFF if s[at.IN_BLOCK] or s[at.PIECE] else 0
        s[at.LOST] = (s[at.LOST] + gone + half_done) & 0x3FFFFFFF
        low = s[at.LOW] + gone
        s[at.HIGH] += low >> 30
        s[at.LOW] = low & 0x3FFFFFFF
        s[at.BELOW] = 0
        if self.close_ups is not None and self.close_ups.index[ACTIVE]:
            edges.close_window(self.close_ups.index)
        self.restarts += 1
        self._go()

    def _halt(self) -> None:
        """Converter first: without its requests the DMA stands still, then it is ended.

        Both channels are disabled before either is aborted: on the RP2350 an abort else triggers the channel chained to (erratum
        RP2350-E5, as the C SDK tells it at dma_channel_abort).
        """
        mem32 = machine.mem32
        adc = self._chip.adc
        mem32[adc + reg.CS] = reg.CS_EN
        mem32[adc + reg.FCS] = reg.FCS_OVER | reg.FCS_UNDER
        channels = [channel for channel in (self._data, self._control) if channel is not None]
        for channel in channels:
            channel.irq(handler=None)
            control_word = reg.DMA_BASE + reg.CHANNEL_STRIDE * channel.channel + reg.AL1_CTRL
            mem32[control_word] = mem32[control_word] >> 1 << 1  # the lowest bit enables it
        for channel in channels:
            channel.active(0)

    def stop(self) -> None:
        """Safe in every state, and called on every way out: up to MicroPython 1.26 a DMA left alone writes on after a reset."""
        if self._data is None and self._control is None:
            self._running = False
            return
        self._running = False
        self._halt()
        for channel in (self._data, self._control):
            if channel is not None:
                channel.close()
        if self.close_ups is not None and self.close_ups.index[ACTIVE]:
            edges.close_window(self.close_ups.index)
        self._data = self._control = None

    @property
    def lost_conversions(self) -> int:
        """Conversions that were made, or should have been, and are in no bin."""
        return self._state[at.LOST]

    def conversions(self) -> int:
        """Conversions since the start, all channels, up to the last whole block; those lost are counted in."""
        s = self._state
        if s[at.IN_BLOCK] or s[at.PIECE]:
            return (s[at.BIN_HIGH] << 30) + s[at.BIN_LOW]
        return (s[at.HIGH] << 30) + s[at.LOW]

    def counters(self) -> "Table":
        """For STATUS and END."""
        s = self._state
        return {
            "fifo_overflows": s[at.FIFO_OVERFLOWS],
            "ring_overruns": s[at.OVERRUNS],
            "restarts": self.restarts,
            "interrupts": s[at.CALLS],
            "worst_callback_us": s[at.WORST_US],
            "edges": self.close_ups.index[EDGES_MADE] if self.close_ups else 0,
            "edges_dropped": self.close_ups.dropped if self.close_ups else 0,
            "converter_errors": s[at.CONVERTER_ERRORS],
            "converter_late_us": self._late_us(),
        }

    def _late_us(self) -> int:
        """How much later than counted the converter was, by the timer, when the interrupt last came; the interrupt's own delay in it."""
        late_us = (self._state[at.LAST_US] - self._state[at.NEXT_US]) & 0x3FFFFFFF
        return late_us if late_us < 0x20000000 else late_us - 0x40000000

    def describe(self) -> "Table":
        """What STREAM reports of this acquisition."""
        return {
            "acquisition": self.name,
            "conversion_ns": CONVERSION_NS,
            "conversions_per_bin": self.samples * self.pieces,
        }


def _shift(total: int) -> int:
    """The power of two that `total` is, as far as a sum of so many codes times 16 fits 31 bits; NO_SHIFT for another number."""
    bits = _log2(total)
    return bits if 1 << bits == total and bits < 14 else at.NO_SHIFT


def _log2(value: int) -> int:
    bits = 0
    while value > 1:
        value >>= 1
        bits += 1
    return bits
