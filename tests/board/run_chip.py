"""Boots the official image on an emulated RP2040 and offers its USB serial as a pseudo-terminal. Run as its own process.

    python -m tests.board.run_chip IMAGE FLASH SCENARIO

prints the port, then runs until killed. The played start begins with the first conversion of pin GP26 after a pause.
"""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

from rp2040py.cli.pty_repl import PtyInteractiveRepl
from rp2040py.device import MicroPythonDevice
from rp2040py.peripherals.adc import CS_AINSEL_MASK, CS_AINSEL_SHIFT, RPADC

from tests.board import played_start
from tests.board.emulator import make_device

PAUSE_NS = 50_000_000
CONVERSION_NS = 2000


def correct_round_robin() -> None:
    """rp2040py 0.3.6 masks the next channel with the shift (12) and not with the mask (7): only channel 0 would be read."""

    def active(self: RPADC) -> int:
        return (self.cs >> CS_AINSEL_SHIFT) & CS_AINSEL_MASK

    def set_active(self: RPADC, channel: int) -> None:
        self.cs = (self.cs & ~(CS_AINSEL_MASK << CS_AINSEL_SHIFT)) | ((channel & CS_AINSEL_MASK) << CS_AINSEL_SHIFT)

    RPADC._active_channel = property(active, set_active)  # type: ignore[assignment, method-assign]


def play(device: MicroPythonDevice, scenario: str) -> None:
    """Answers every conversion from the played start, by emulated time."""
    adc, clock = device.mcu.adc, device.mcu.clock
    state = {"began_ns": 0.0, "last_ns": -1e12}
    alarm_value = [0]

    def done() -> None:
        adc.complete_adc_read(alarm_value[0], False)

    alarm = clock.create_alarm(done)

    def read(channel: int) -> None:
        now_ns = clock.nanos
        if now_ns - state["last_ns"] > PAUSE_NS:
            state["began_ns"] = now_ns
        state["last_ns"] = now_ns
        alarm_value[0] = played_start.code(channel, (now_ns - state["began_ns"]) * 1e-9, scenario)
        alarm.schedule(CONVERSION_NS)

    adc.on_adc_read = read


async def run(image: Path, flash: Path, scenario: str) -> None:
    """Until killed."""
    correct_round_robin()
    device = make_device(image, flash)
    play(device, scenario)
    await device.astart()
    port = PtyInteractiveRepl(device.cdc, device.simulator, on_quit=device.simulator.shutdown_request.request)
    await port.start()
    print(port.slave_path, flush=True)
    while True:
        await asyncio.sleep(3600)


if __name__ == "__main__":
    asyncio.run(run(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3]))
