"""Converter, DMA, timer and interrupt of the RP2040 and RP2350 as far as rp2_dma.py touches them, on CPython.

What is modelled and from where. Bit positions, reset masks, DREQ numbers and FIFO depths: the register headers of the chip
maker's C SDK (src/rp2040 and src/rp2350 hardware_regs: adc.h, dma.h, timer.h, dreq.h; hardware_adc/adc.h), read, and the same as
the datasheets' tables as far as remembered. Behaviour: RP2040 datasheet 2.5 and 4.9. Nothing of it has been held against an
RP2350: NEVER RUN ON AN RP2350.

Bent to the worst side: pack_ctrl's defaults are all ones for every field (up to MicroPython 1.25 those on the RP2350 corrupt
ring and chain bits), and aborting a channel that is still enabled triggers the channel it chains to (erratum RP2350-E5, as the
SDK describes it at dma_channel_abort).
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from types import ModuleType, SimpleNamespace
from typing import Any

from firstcrank import wire
from firstcrank.board.files import firmware_folder

from .chip_memory import Mem32, Memory, pointer, viper

CONVERSION_NS = 2000
PACKAGE = "firstcrank_board_on_fakes"
MODULES = (
    "fold",
    "bin_ring",
    "arena",
    "rp2_registers",
    "fold_viper",
    "close_up",
    "edge_viper",
    "rp2_edges",
    "rp2_service",
    "rp2_dma",
)
SINGLE = ("enable", "high_pri", "inc_read", "inc_write", "ring_sel", "irq_quiet", "bswap", "sniff_en", "write_err", "read_err")
WIDE = {"size": 2, "ring_size": 4, "chain_to": 4, "treq_sel": 6}


@dataclass(frozen=True)
class Layout:
    """Where one chip differs from the other."""

    name: str
    machine: str
    pins: tuple[int, ...]
    highest_pin: int
    adc: int
    timer: int
    dreq_adc: int
    fifo: int
    cs_mask: int
    ainsel_mask: int
    fields: dict[str, int]  # lowest bit of each field of CTRL
    busy_bit: int
    abort_chains: bool


RP2040 = Layout(
    "RP2040",
    "Raspberry Pi Pico with RP2040",
    (26, 27, 28, 29),
    29,
    0x4004C000,
    0x40054000,
    36,
    4,
    0x001F770F,
    0x7,
    {
        "enable": 0,
        "high_pri": 1,
        "size": 2,
        "inc_read": 4,
        "inc_write": 5,
        "ring_size": 6,
        "ring_sel": 10,
        "chain_to": 11,
        "treq_sel": 15,
        "irq_quiet": 21,
        "bswap": 22,
        "sniff_en": 23,
        "write_err": 29,
        "read_err": 30,
    },
    24,
    False,
)
FIELDS_2350 = {
    "enable": 0,
    "high_pri": 1,
    "size": 2,
    "inc_read": 4,
    "inc_write": 6,
    "ring_size": 8,
    "ring_sel": 12,
    "chain_to": 13,
    "treq_sel": 17,
    "irq_quiet": 23,
    "bswap": 24,
    "sniff_en": 25,
    "write_err": 29,
    "read_err": 30,
}
RP2350A = Layout(
    "RP2350A",
    "Raspberry Pi Pico2 with RP2350",
    (26, 27, 28, 29),
    29,
    0x400A0000,
    0x400B0000,
    48,
    8,
    0x01FFF70F,
    0xF,
    FIELDS_2350,
    26,
    True,
)
RP2350B = Layout(
    "RP2350B",
    "Some board with RP2350",
    (40, 41, 42, 43, 44, 45, 46, 47),
    47,
    0x400A0000,
    0x400B0000,
    48,
    8,
    0x01FFF70F,
    0xF,
    FIELDS_2350,
    26,
    True,
)
LAYOUTS = (RP2040, RP2350A, RP2350B)


class TroubleError(OSError):
    """What the hardware is to meet at a certain step."""


@dataclass
class Channel:
    """One DMA channel's registers and what it is doing."""

    number: int
    read: int = 0
    write: int = 0
    reload: int = 0
    count: int = 0
    ctrl: int = 0
    busy: bool = False
    claimed: bool = False
    handler: Callable[[Any], None] | None = None
    triggers: list[tuple[int, int]] = field(default_factory=list)  # write address and count at each start


class Chip:
    """The hardware. `play(input, n)` is the code of conversion n; `convert` lets time pass."""

    def __init__(self, layout: Layout, play: Callable[[int, int], int]) -> None:
        self.layout, self.play = layout, play
        self.memory = Memory()
        self.cs = self.fcs = self.div = 0
        self.level: list[int] = []
        self.over = self.under = False
        self.error_sticky = False
        self.now_ns = 7_000
        self.conversions = 0
        self.converted: list[int] = []  # of conversions while the FIFO was on
        self.channels = [Channel(n) for n in range(12)]
        self.held_up = False  # the interrupt waits
        self.waiting: list[Channel] = []
        self.dma_stands = False  # as if the bus were taken
        self.steps = 0
        self.trouble_at: int | None = None
        self.log: list[str] = []
        self.memory.add(layout.adc, 0x24, SimpleNamespace(read=self._adc_read, write=self._adc_write))
        self.memory.add(layout.timer, 0x40, SimpleNamespace(read=self._timer_read, write=None))
        self.memory.add(0x50000000, 12 * 0x40, SimpleNamespace(read=self._dma_read, write=self._dma_write))

    def step(self) -> None:
        """Counts what the firmware asks of the hardware, and meets trouble where that was asked for."""
        self.steps += 1
        if self.steps == self.trouble_at:
            raise TroubleError(5, "as the test wants it")

    # --- registers ---------------------------------------------------------------------------------------

    def _adc_read(self, offset: int) -> int:
        if offset == 0x00:
            return self.cs | 1 << 8 | self.error_sticky << 10  # always ready
        if offset == 0x08:
            return self.fcs | len(self.level) << 16 | self.over << 11 | self.under << 10
        if offset == 0x0C:
            if not self.level:
                self.under = True
                return 0
            return self.level.pop(0)
        raise AssertionError(f"ADC register {offset:#x} is read")

    def _adc_write(self, offset: int, value: int) -> None:
        self.step()
        if offset == 0x00:
            assert value & ~self.layout.cs_mask == 0, f"{value:#x} sets bits that this chip's CS does not have"
            self.error_sticky = self.error_sticky and not value & 1 << 10
            self.cs = value & ~(1 << 10 | 1 << 8)
            self.log.append("converter runs" if value & 8 else "converter stands")
        elif offset == 0x08:
            assert value & ~0x0F0F0F0F == 0
            self.fcs = value & (0x0F00000F)
            self.over = self.over and not value & 1 << 11
            self.under = self.under and not value & 1 << 10
        elif offset == 0x10:
            self.div = value
        else:
            raise AssertionError(f"ADC register {offset:#x} is written")

    def _timer_read(self, offset: int) -> int:
        assert offset == 0x28, "TIMERAWL is the one that latches nothing"
        return self.now_ns // 1000 & 0xFFFFFFFF

    def _dma_read(self, offset: int) -> int:
        channel, register = self.channels[offset // 0x40], offset % 0x40
        return {0x00: channel.read, 0x04: channel.write, 0x08: channel.count, 0x10: self._ctrl_of(channel)}[register]

    def _ctrl_of(self, channel: Channel) -> int:
        return channel.ctrl | channel.busy << self.layout.busy_bit

    def _dma_write(self, offset: int, value: int) -> None:
        channel, register = self.channels[offset // 0x40], offset % 0x40
        if register == 0x10:  # AL1_CTRL: no trigger
            channel.ctrl = value & ~(1 << self.layout.busy_bit)
            self.log.append(f"channel {channel.number} {'enabled' if value & 1 else 'disabled'}")
        elif register == 0x2C:  # AL2_WRITE_ADDR_TRIG
            channel.write = value
            self.trigger(channel)
        else:
            raise AssertionError(f"DMA register {register:#x} is written")

    # --- the DMA -----------------------------------------------------------------------------------------

    def get(self, channel: Channel, name: str) -> int:
        """A field of CTRL."""
        return channel.ctrl >> self.layout.fields[name] & ((1 << WIDE.get(name, 1)) - 1)

    def trigger(self, channel: Channel) -> None:
        """Starts it with its full count, if it is enabled."""
        if not self.get(channel, "enable") or channel.busy:
            return
        channel.count, channel.busy = channel.reload, True
        channel.triggers.append((channel.write, channel.count))
        self._serve(channel)

    def _serve(self, channel: Channel) -> None:
        """Transfers as many as its pacing allows."""
        while channel.busy and self.get(channel, "enable") and not self.dma_stands:
            treq = self.get(channel, "treq_sel")
            if treq == self.layout.dreq_adc:
                threshold = self.fcs >> 24 & 15
                if not self.fcs & 8 or len(self.level) < max(threshold, 1):
                    return
            else:
                assert treq == 63, f"nothing asks with request {treq}"
            self._transfer(channel)

    def _transfer(self, channel: Channel) -> None:
        size = 1 << self.get(channel, "size")
        value = self.memory.read(channel.read, size)
        before = channel.count
        channel.count -= 1
        target = channel.write
        channel.read = self._next(channel, channel.read, size, "inc_read", 0)
        channel.write = self._next(channel, channel.write, size, "inc_write", 1)
        self.memory.write(target, size, value)
        assert before > 0
        if channel.count == 0:
            channel.busy = False
            self._done(channel)

    def _next(self, channel: Channel, address: int, size: int, increment: str, which: int) -> int:
        if not self.get(channel, increment):
            return address
        ring = self.get(channel, "ring_size") if self.get(channel, "ring_sel") == which else 0
        if not ring:
            return address + size
        mask = (1 << ring) - 1
        return address & ~mask | (address + size) & mask

    def _done(self, channel: Channel) -> None:
        following = self.channels[self.get(channel, "chain_to")]
        if following is not channel:
            self.trigger(following)
        if not self.get(channel, "irq_quiet") and channel.handler is not None:
            self.waiting.append(channel)

    def interrupts(self) -> None:
        """Calls the handlers that wait: once each, however often they were asked for."""
        waiting, self.waiting = self.waiting, []
        for channel in {c.number: c for c in waiting}.values():
            if channel.handler is not None:
                channel.handler(channel)

    def abort(self, channel: Channel) -> None:
        """CHAN_ABORT."""
        self.log.append(f"channel {channel.number} aborted")
        was_busy, channel.busy = channel.busy, False
        following = self.channels[self.get(channel, "chain_to")]
        if self.layout.abort_chains and was_busy and self.get(channel, "enable") and following is not channel:
            self.trigger(following)

    # --- the converter -----------------------------------------------------------------------------------

    def convert(self, count: int) -> None:
        """So many conversions, where the converter runs; time passes all the same."""
        for _ in range(count):
            self.now_ns += CONVERSION_NS
            if not self.cs & 8:
                continue
            ainsel = self.cs >> 12 & self.layout.ainsel_mask
            code = self.play(ainsel, self.conversions)
            self.conversions += 1
            if self.fcs & 1:
                self.converted.append(code)
                if len(self.level) == self.layout.fifo:
                    self.over = True
                else:
                    self.level.append(code)
            robin = self.cs >> 16 & 0x1FF
            if robin:
                ainsel = next(n % 9 for n in range(ainsel + 1, ainsel + 10) if robin >> n % 9 & 1)
                self.cs = self.cs & ~(self.layout.ainsel_mask << 12) | ainsel << 12
            for channel in self.channels:
                self._serve(channel)
            if self.waiting and not self.held_up:
                self.interrupts()

    def quiet(self) -> bool:
        """Nothing runs and nothing can start by itself: no channel is busy or claimed, the converter stands."""
        return not self.cs & 8 and not any(c.busy or c.claimed or c.handler for c in self.channels)


def dma_class(chip: Chip, packed: list[dict[str, int]]) -> type:
    """rp2.DMA of an old MicroPython: close() only gives the channel back."""

    class DMA:
        def __init__(self) -> None:
            chip.step()
            free = [c for c in chip.channels if not c.claimed]
            if not free:
                raise OSError(16)
            self._channel = free[0]
            self._channel.claimed = True

        @property
        def channel(self) -> int:
            return self._channel.number

        def pack_ctrl(self, **fields: int) -> int:
            chip.step()
            packed.append(fields)
            value = 0
            for name in chip.layout.fields:
                width = WIDE.get(name, 1)
                given = int(fields.pop(name)) if name in fields else (1 << width) - 1
                assert 0 <= given < 1 << width, (name, given)
                value |= given << chip.layout.fields[name]
            if fields:
                raise TypeError(f"pack_ctrl has no {sorted(fields)}")
            return value

        def config(self, *, read: int, write: int, count: int, ctrl: int, trigger: bool) -> None:
            chip.step()
            channel = self._channel
            channel.read, channel.write, channel.reload = read, write, count
            channel.ctrl = ctrl & ~(3 << 29)  # the error flags are cleared by writing ones
            if trigger:
                chip.trigger(channel)

        def irq(self, handler: Any = None, hard: bool = False) -> None:
            chip.step() if handler is not None else None
            assert handler is None or hard, "a soft callback would wait for the loop"
            self._channel.handler = handler

        def active(self, value: int | None = None) -> bool:
            if value == 0:
                chip.abort(self._channel)
            elif value:
                chip.trigger(self._channel)
            return self._channel.busy

        def close(self) -> None:
            self._channel.claimed = False

    return DMA


class Firmware:
    """The firmware's modules on a chip, each an attribute; `packed` is what pack_ctrl was called with."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.packed: list[dict[str, int]] = []
        memory = chip.memory

        class Pin:
            def __init__(self, number: int) -> None:
                if not 0 <= number <= chip.layout.highest_pin:
                    raise ValueError("invalid pin")
                self.number = number

        def adc(pin: Pin) -> None:
            chip.step()
            if pin.number not in chip.layout.pins:
                raise ValueError("Pin doesn't have ADC capabilities")

        micropython = SimpleNamespace(viper=viper, const=lambda value: value)
        self.fakes = {
            "machine": SimpleNamespace(mem32=Mem32(memory), Pin=Pin, ADC=adc),
            "rp2": SimpleNamespace(DMA=dma_class(chip, self.packed)),
            "uctypes": SimpleNamespace(addressof=memory.address_of),
            "micropython": micropython,
        }
        pointers = {f"ptr{8 * size}": pointer(memory, size, size == 4) for size in (1, 2, 4)}
        folder = firmware_folder() / "firstcrank_board"
        package = ModuleType(PACKAGE)
        package.__path__ = [str(folder)]
        package.__dict__["wire"] = wire
        with self.in_place():
            sys.modules[PACKAGE] = package
            sys.modules[PACKAGE + ".wire"] = wire
            for name in MODULES:
                spec = importlib.util.spec_from_file_location(f"{PACKAGE}.{name}", folder / f"{name}.py")
                assert spec is not None
                assert spec.loader is not None
                module = importlib.util.module_from_spec(spec)
                module.__dict__.update(pointers)
                sys.modules[spec.name] = module
                setattr(package, name, module)
                spec.loader.exec_module(module)
                setattr(self, name, module)

    def __getattr__(self, name: str) -> Any:
        raise AttributeError(name)

    @contextmanager
    def in_place(self) -> Iterator[None]:
        """The fakes stand where `import` finds them; afterwards all is as before."""
        before = dict(sys.modules)
        sys.modules.update(self.fakes)  # type: ignore[arg-type]
        try:
            yield
        finally:
            for name in [n for n in sys.modules if n in self.fakes or n.startswith(PACKAGE)]:
                del sys.modules[name]
            sys.modules.update({n: m for n, m in before.items() if n in self.fakes})
