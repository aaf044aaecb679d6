"""Prints the table of what the acquisition on the chip reaches, measured by emulated time.

    python -m tests.board.measure [SECONDS]

Boots the official image with the shipped firmware, streams SECONDS (5) of three channels in 0.77 ms bins, then reads the
counters. CPU is 1 minus the share of time asleep, everything included. Takes a few minutes.
"""

from __future__ import annotations

import sys

from firstcrank import wire

from .dropouts import TRIGGER, Dropouts
from .session import ID, Session


def main(seconds: float) -> None:
    """Measures and prints."""
    board = Session(Dropouts())
    chip = board.chip
    made_before = chip.conversions
    board.start(trigger_code=TRIGGER)
    chip.run(0.1)
    made, busy, at_s = chip.conversions, chip.busy_cycles(), chip.now_s
    chip.run(seconds)
    elapsed_s = chip.now_s - at_s
    rate = (chip.conversions - made) / elapsed_s
    cpu = (chip.busy_cycles() - busy) * 8e-9 / elapsed_s
    board.send(wire.GET_STATUS, None, ID)
    status = board.wait(wire.STATUS, 1.0)
    end = board.stop()
    heads = board.heads()
    folded = sum(h.bin_count * h.conversions * h.channel_count for h, _ in heads)
    sent_bytes = sum(wire.BINS_BYTES + wire.HEADER_BYTES + 6 + w.nbytes for _, w in heads)
    rows = [
        ("emulated seconds streamed", f"{elapsed_s:.2f}"),
        ("conversions a second, made by the converter", f"{rate:,.0f}"),
        ("conversions made, whole recording", f"{chip.conversions - made_before:,}"),
        ("conversions folded and received", f"{folded:,}"),
        ("conversions reported lost", str(end["lost_conversions"])),
        ("bins lost", str(end["lost_bins"])),
        ("FIFO overflows, ring overruns", f"{end['fifo_overflows']}, {end['ring_overruns']}"),
        ("CPU used (fold, framing, link, loop)", f"{cpu:.1%}"),
        ("longest interrupt callback", f"{end['worst_callback_us']} us"),
        ("bytes a second on the link", f"{sent_bytes / elapsed_s:,.0f}"),
        ("free heap while recording", f"{status['free_bytes']:,} bytes"),
    ]
    width = max(len(name) for name, _ in rows)
    for name, value in rows:
        print(f"{name:{width}}  {value}")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 5.0)
