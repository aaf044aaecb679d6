"""Prints what the acquisition reaches on each MicroPython image that is there, every figure in its worst moment.

    python -m tests.board.worst [IMAGE ...]      images: those in ~/.cache/firstcrank by default

All of it is time and cycles of an emulated RP2040 at 125 MHz, three leads with the converter's noise, bins of 0.77 ms, the compiled
files that `board install` puts there. CPU is 1 less the share asleep, everything included. Takes minutes an image.
"""

from __future__ import annotations

import itertools
import random
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from firstcrank import wire

from .dropouts import TRIGGER, Dropouts
from .emulator import CYCLE_NS
from .image import CACHED
from .session import ID, Session

QUIET_S, WAITING_S, STALL_S = 0.8, 0.6, 1.0
SHORTEST_S = 6.001e-6
SHORTEST_COUNT = 40
KEY, LOW_OF_KEY = 1, 4
Row = tuple[str, str, str]


def images() -> list[Path]:
    """Those named, or those that are there."""
    return [Path(name) for name in sys.argv[1:]] or sorted(CACHED.parent.glob("*.uf2"))


class Measured:
    """One image: a recording that meets one thing after the other."""

    def __init__(self, image: Path) -> None:
        self.inputs = Dropouts(noise=True)
        self.board = Session(self.inputs, image=image)
        self.chip = self.board.chip

    def cpu(self, seconds: float) -> float:
        """Share of the time not asleep, in per cent."""
        busy, at_s = self.chip.busy_cycles(), self.chip.now_s
        self.chip.run(seconds)
        return (self.chip.busy_cycles() - busy) * CYCLE_NS * 1e-7 / (self.chip.now_s - at_s)

    def status(self) -> dict[str, object]:
        """The board's counters."""
        self.board.send(wire.GET_STATUS, None, ID)
        return self.board.wait(wire.STATUS, 1.0)

    def rows(self) -> Iterator[Row]:
        """(what, reached, aim)."""
        board, chip, dice = self.board, self.chip, random.Random(5)
        yield "MicroPython", f"{board.identity['micropython']} on {board.identity['chip']}", ""
        made = chip.conversions
        stream = board.start(trigger_code=TRIGGER)
        yield "acquisition", str(stream["acquisition"]), "rp2_dma"
        chip.run(0.15)
        rate = chip.conversions
        at_s = chip.now_s
        yield "CPU, the feed quiet", f"{self.cpu(QUIET_S):.1f} %", "15 %"
        yield "conversions a second, made", f"{(chip.conversions - rate) / (chip.now_s - at_s):,.0f}", "500,000"
        quiet_us = self.status()["worst_callback_us"]
        for _ in range(5):  # short dropouts and long ones, single and together, at any phase
            at_s = chip.now_s + dice.uniform(0.001, 0.005)
            for _ in range(dice.choice((1, 3))):
                length_s = dice.choice((20e-6, 100e-6, 700e-6))
                self.inputs.add(KEY, at_s, length_s)
                at_s += length_s + dice.uniform(50e-6, 1.5e-3)
            chip.run(0.05)
        yield "CPU, close-ups waiting to be sent", f"{self.cpu(WAITING_S):.1f} %", "20 %"
        status = self.status()
        yield "longest callback, the feed quiet", f"{quiet_us} us", ""
        yield "longest callback, at an edge", f"{status['worst_callback_us']} us", "400 us"
        yield "edges seen, without a close-up", f"{status['edges']}, {status['edges_dropped']}", "reported"
        chip.stall(True)
        chip.run(STALL_S)
        chip.stall(False)
        chip.run(0.5)
        after_stall = board.wait(wire.STREAM, 0.5)
        assert after_stall
        status = self.status()
        yield f"bins lost, the host not reading for {STALL_S:.1f} s", str(status["lost_bins"]), "0"
        yield "free heap while recording", f"{status['free_bytes']:,} bytes", "40 kB"
        begin = len(board.heads())
        at_s = chip.now_s + 0.002
        for _ in range(SHORTEST_COUNT):
            self.inputs.add(KEY, at_s, SHORTEST_S)
            at_s += 0.0021 + dice.uniform(0, 1e-3)
        chip.run(SHORTEST_COUNT * 0.0031 + 0.02)
        end = board.stop()
        heads = board.heads()
        fields = np.concatenate([w for _, w in heads[begin:]])
        low = np.concatenate(([False], fields[:, LOW_OF_KEY] < TRIGGER, [False])).astype(int)
        yield "6 us dropouts at the pin, seen", f"{int((np.diff(low) == 1).sum())} of {SHORTEST_COUNT}", "all"
        folded = sum(h.bin_count * h.conversions * h.channel_count for h, _ in heads)
        holes = sum(
            b.first_conversion != a.first_conversion + a.bin_count * a.conversions * 3
            for (a, _), (b, _) in itertools.pairwise(heads)
        )
        yield "conversions made; received", f"{chip.conversions - made:,}; {folded:,} (the open block less)", ""
        yield "conversions reported lost; holes seen", f"{end['lost_conversions']}; {holes}", "0; 0"
        yield (
            "FIFO overflows, ring overruns, converter errors",
            (f"{end['fifo_overflows']}, {end['ring_overruns']}, {end['converter_errors']}"),
            "0, 0, 0",
        )


def main() -> None:
    """Every image's table."""
    for image in images():
        print(f"\n{image.name}\n| What | Reached | Aim |\n|---|---|---|", flush=True)
        for row in Measured(image).rows():
            print("| " + " | ".join(row) + " |", flush=True)


if __name__ == "__main__":
    main()
