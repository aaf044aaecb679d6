"""The official image on an emulated RP2040, driven step by step: time, inputs, USB and port are in the test's hands.

Some things of rp2040py 0.3.6 are corrected or bent here, each with a test beside it:
- its ADC round robin masks the next channel wrongly, so that only channel 0 would ever be read (CorrectedAdc);
- its USB host takes every packet at once and never goes away. `stall` withholds the completion of IN packets, as a host does
  that has stopped reading; `set_port_open` drops DTR and takes nothing while it is low, as an operating system does that has closed
  the port: what the board's buffers hold is what the next program to open it gets first. PACKET_NS paces IN packets like
  full-speed USB (19 packets of 64 bytes in a 1 ms frame at most, USB 2.0 table 5-9; 55 us each). It also answers every armed
  OUT endpoint with an empty packet after 10 us, which keeps the CPU busy with interrupts for nothing: a host sends no packet
  when it has nothing to say, so here the answer waits until there is something (`_ask_for_data`);
- its flash erases and programs in no time. Here a sector takes ERASE_NS and a page PROGRAM_NS, the CPU held up in the boot ROM with
  interrupts masked all the while, and converter and DMA going on (`SlowFlash`). `cut_power` stops everything at a chosen moment
  of that and leaves half of it done.
"""

from __future__ import annotations

import dataclasses
import random
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rp2040py.boards import BOARDS, FlashLayout
from rp2040py.device import MicroPythonDevice
from rp2040py.peripherals.adc import (
    CS,
    CS_AINSEL_MASK,
    CS_AINSEL_SHIFT,
    CS_ERR,
    CS_ERR_STICKY,
    CS_RROBIN_MASK,
    CS_RROBIN_SHIFT,
    CS_START_MANY,
    FCS_DREQ_EN,
    FCS_EN,
    FCS_ERR,
    FCS_SHIFT,
    FCS_THRES_MASK,
    FCS_THRESH_SHIFT,
    RPADC,
)
from rp2040py.peripherals.dma import BUSY, EN, DREQChannel
from rp2040py.peripherals.ssi import CMD_PAGE_PROGRAM, CMD_SECTOR_ERASE, FLASH_PAGE_SIZE, FLASH_SECTOR_SIZE, RPSSI
from rp2040py.utils.firmware_retrieve import MICROPYTHON, flash_layout

CONVERSION_NS = 2000  # 96 cycles of the 48 MHz ADC clock, RP2040 datasheet 4.9
PACKET_NS = 55_000
CYCLE_NS = 8  # 125 MHz
# Typical values of the 16 Mbit flash on the common boards (W25Q16JV datasheet, AC electrical characteristics, from memory: sector
# erase 45 ms, page program 0.4 ms; at most 400 ms and 3 ms).
ERASE_NS = 45_000_000
PROGRAM_NS = 400_000
FLASH_START = 0x10000000
LED_PIN = 25
DREQ_ADC = int(DREQChannel.DREQ_ADC)
FCS_PLAIN = FCS_THRES_MASK << FCS_THRESH_SHIFT | FCS_DREQ_EN | FCS_ERR | FCS_SHIFT | FCS_EN
FCS_FED = 1 << FCS_THRESH_SHIFT | FCS_DREQ_EN | FCS_EN

Play = Callable[[int, float], int]


class CorrectedAdc(RPADC):
    """The emulator's ADC with the mask that the hardware has: AINSEL is three bits wide.

    `short_cut` moves a conversion straight into the memory of the DMA channel that waits for it, in one step in place of the
    emulator's fourteen; at the end of a transfer, and wherever anything is not the plain case, the emulator's own way is taken.
    """

    def write_uint32(self, offset: int, value: int) -> None:
        """Writing CS.ERR_STICKY clears it; the emulator clears a bit of FCS instead."""
        if offset == CS:
            self.cs &= ~(value & CS_ERR_STICKY)
            value &= ~CS_ERR_STICKY
        super().write_uint32(offset, value)

    _waits: Any = None  # the DMA channel that took the last conversion

    def short_cut(self, code: int) -> bool:
        """True where the conversion has been moved."""
        channel = self._waits
        if channel is None or not (channel._ctrl & BUSY and channel._ctrl & EN) or channel._trans_count < 2:
            self._waits = next((c for c in self.rp2040.dma.channels if c._treq_value == DREQ_ADC and c.active), None)
            return False
        if self.fifo.item_count or self.fcs & FCS_PLAIN != FCS_FED or self.int_enable:
            return False
        self.rp2040.write_uint16(channel._write_addr, code)
        channel._write_addr += 2
        channel._trans_count -= 1
        self.result = code
        self.cs &= ~CS_ERR
        robin = self.cs >> CS_RROBIN_SHIFT & CS_RROBIN_MASK
        if robin:
            following = (self.cs >> CS_AINSEL_SHIFT & CS_AINSEL_MASK) + 1
            while not robin >> following & 1:
                following = (following + 1) % 5
            self.cs = self.cs & ~(CS_AINSEL_MASK << CS_AINSEL_SHIFT) | following << CS_AINSEL_SHIFT
        return True

    @property
    def _active_channel(self) -> int:
        return (self.cs >> CS_AINSEL_SHIFT) & CS_AINSEL_MASK

    @_active_channel.setter
    def _active_channel(self, channel: int) -> None:
        self.cs = (self.cs & ~(CS_AINSEL_MASK << CS_AINSEL_SHIFT)) | ((channel & CS_AINSEL_MASK) << CS_AINSEL_SHIFT)


class PowerCutError(Exception):
    """The power went away in the middle of a flash operation."""


class SlowFlash(RPSSI):
    """The flash with the time that it takes, and with an end in the middle. `cut_after` erases or programs are still done whole."""

    erase_ns, program_ns = ERASE_NS, PROGRAM_NS
    operations = 0
    cut_after: int | None = None
    half: float = 0.5

    def _apply_command(self) -> None:
        command = self._tx_buffer[0] if self._tx_buffer else 0
        if command in (CMD_SECTOR_ERASE, CMD_PAGE_PROGRAM) and self._write_enabled and len(self._tx_buffer) >= 4:
            if self.cut_after is not None and self.operations >= self.cut_after:
                self._half_done(command)
                raise PowerCutError
            self.operations += 1
            super()._apply_command()
            self.rp2040.clock.tick(self.erase_ns if command == CMD_SECTOR_ERASE else self.program_ns)
        else:
            super()._apply_command()

    def _half_done(self, command: int) -> None:
        """A page of which the first bytes are programmed; a sector of which some bits are ones again and some are not."""
        flash, at = self.rp2040.flash, self._address_from_buffer()
        if command == CMD_PAGE_PROGRAM:
            data = self._tx_buffer[4 : 4 + FLASH_PAGE_SIZE]
            for i, byte in enumerate(data[: int(len(data) * self.half)]):
                flash[at + i] &= byte
        else:
            at &= ~(FLASH_SECTOR_SIZE - 1)
            dice = random.Random(self.operations)
            for i in range(FLASH_SECTOR_SIZE):
                if dice.random() < self.half:
                    flash[at + i] |= dice.randrange(256)


def make_device(image: Path, flash: Path) -> MicroPythonDevice:
    """The board with its flash file system: the wireless board where the image's name says so."""
    kind = board_kind(image)
    layout = flash_layout(MICROPYTHON, kind)
    board = dataclasses.replace(
        BOARDS[kind],
        image=image,
        layout=FlashLayout(
            fs_start=layout["fs_start"], fs_blockcount=layout["fs_blockcount"], fs_blocksize=layout["fs_blocksize"]
        ),
    )
    return MicroPythonDevice(board=board, filesystem=flash)


def board_kind(image: Path) -> str:
    """The emulator's name for the board that an image is for: MicroPython's names are RPI_PICO and RPI_PICO_W."""
    return "pico_w" if "PICO_W" in image.name.upper() else "pico"


class EmulatedChip:
    """`play(channel, t_s)` gives the ADC code of channel 0 to 4 at emulated time t_s.

    `received` is what the host has got, `conversions` how many the converter made with its FIFO on.
    """

    def __init__(self, image: Path, flash: Path, play: Play, corrected: bool = True) -> None:
        self.device = make_device(image, flash)
        self.mcu: Any = self.device.mcu
        self.clock = self.mcu.clock
        self.play = play
        self.received = bytearray()
        self.conversions = 0
        self.conversions_by_channel = [0] * 8
        self._to_board = bytearray()
        self._stalled = False
        self._withheld: list[tuple[int, bool]] = []
        self._held_data: list[bytes] = []
        self._connected = False
        self._ask_for_data: Callable[[], None] | None = None
        if corrected:
            self.mcu.adc.__class__ = CorrectedAdc
        self.flash: Any = next(p for p in self.mcu.peripherals.values() if isinstance(p, RPSSI))
        self.flash.__class__ = SlowFlash
        self._wire_adc(corrected)
        self._wire_usb()

    # --- inputs ----------------------------------------------------------------------------------------

    def _wire_adc(self, corrected: bool) -> None:
        adc, clock = self.mcu.adc, self.clock
        pending = [0]

        def done() -> None:
            code = pending[0]
            if adc.fcs & FCS_EN:
                self.conversions += 1
            if corrected and adc.cs & CS_START_MANY and not adc.clock_div and adc.short_cut(code):
                channel = adc.cs >> CS_AINSEL_SHIFT & CS_AINSEL_MASK
                counts[channel] += 1
                pending[0] = self.play(channel, clock.nanos * 1e-9)
                alarm.schedule(CONVERSION_NS)
            else:
                adc.complete_adc_read(code, False)

        alarm = clock.create_alarm(done)
        counts = self.conversions_by_channel

        def read(channel: int) -> None:
            self.conversions_by_channel[channel] += 1
            pending[0] = self.play(channel, clock.nanos * 1e-9)
            alarm.schedule(CONVERSION_NS)

        adc.on_adc_read = read

    # --- USB -------------------------------------------------------------------------------------------

    def _wire_usb(self) -> None:
        usb, cdc = self.mcu.usb_ctrl, self.device.cdc
        ready = usb._indicate_buffer_ready

        def release() -> None:
            while self._withheld and not self._stalled:
                endpoint, out = self._withheld.pop(0)
                for data in self._held_data:
                    self.received += data
                self._held_data.clear()
                ready(endpoint, out)

        self._packet_alarm = self.clock.create_alarm(release)

        def indicate(endpoint: int, out: bool) -> None:
            if out or endpoint != cdc._in_endpoint or endpoint <= 0:
                ready(endpoint, out)
                return
            self._withheld.append((endpoint, out))
            if not self._stalled:
                self._packet_alarm.schedule(PACKET_NS)

        def data(buffer: bytes | bytearray) -> None:
            self._held_data.append(bytes(buffer))

        def connected() -> None:
            self._connected = True

        answer = usb.on_endpoint_read

        def read(endpoint: int, size: int) -> None:
            if endpoint == cdc._out_endpoint and endpoint > 0 and cdc.tx_fifo.empty and not self._to_board:
                self._ask_for_data = lambda: answer(endpoint, size)
            else:
                self._fill_fifo()
                answer(endpoint, size)

        usb.on_endpoint_read = read
        usb._indicate_buffer_ready = indicate
        cdc.on_serial_data = data
        cdc.on_device_connected = connected

    def stall(self, stalled: bool) -> None:
        """From now on the host takes nothing (True), or takes again (False)."""
        self._stalled = stalled
        if not stalled and self._withheld:
            self._packet_alarm.schedule(PACKET_NS)

    def set_port_open(self, is_open: bool) -> None:
        """DTR and RTS as opening or closing the port sets them; while it is closed the host asks for no data."""
        if not is_open:
            self.stall(True)
        self.device.set_control_lines(dtr=is_open, rts=is_open)
        if is_open:
            self.stall(False)

    def write(self, data: bytes) -> None:
        """Queues bytes for the board."""
        self._to_board += data

    def take(self) -> bytes:
        """What the host got since the last call."""
        data = bytes(self.received)
        self.received.clear()
        return data

    # --- time ------------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Emulated time since power-up."""
        return float(self.clock.nanos) * 1e-9

    def boot(self, most_s: float = 5.0) -> None:
        """Runs until the host has found the USB device."""
        self.mcu.core.pc = FLASH_START
        self.device.simulator.stopped = False
        self.run_until(lambda: self._connected, most_s)

    def run(self, seconds: float) -> None:
        """Lets emulated time pass."""
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.step()

    def run_until(self, done: Callable[[], bool], most_s: float) -> None:
        """Until `done()`. Raises TimeoutError after `most_s` emulated seconds."""
        end_s = self.now_s + most_s
        while not done():
            if self.now_s > end_s:
                raise TimeoutError(f"not within {most_s} emulated seconds; the host got {bytes(self.received[-400:])!r}")
            self.step()

    def step(self) -> None:
        """One batch of the emulator: 5 ms of real time at most."""
        if self._to_board:
            self._fill_fifo()
            ask, self._ask_for_data = self._ask_for_data, None
            if ask is not None:
                ask()
        before_ns = self.clock.nanos
        self.device.simulator._execute_batch()
        # Asleep with no alarm set (at the prompt, say), the emulator's time stands still: let it go on a little.
        if self.clock.nanos == before_ns:
            self.clock.tick(1e6)

    def _fill_fifo(self) -> None:
        fifo = self.device.cdc.tx_fifo
        while self._to_board and not fifo.full:
            self.device.cdc.send_serial_byte(self._to_board[0])
            del self._to_board[0]

    def busy_cycles(self) -> int:
        """CPU cycles spent on instructions since power-up; time asleep (WFE, WFI) is not in it."""
        return int(self.mcu.core.cycles)

    def file_system(self) -> bytes:
        """The flash file system as it stands."""
        with tempfile.NamedTemporaryFile() as file:
            self.device.dump_flash_image(Path(file.name))
            return Path(file.name).read_bytes()

    def led(self) -> bool:
        """The board's LED."""
        return bool(self.mcu.gpio[LED_PIN].output_value)
