"""Without a laptop: watches for a start, judges it, shows the outcome on the LED, keeps the trace in flash, waits for the next.

Flash is written only when the start is over and the acquisition has stopped: erasing holds interrupts off for tens of
milliseconds, and a crank must not have such a hole. The ring holds a little over a minute of coarse bins; what is kept begins
shortly before the key was turned on.
"""

import gc
import json
import struct

from . import about, lamp, wire
from .bin_ring import CONVERSIONS, SPAN
from .quick_judge import QuickJudge
from .start_tracker import AFTER, CRANK, DONE, OFF, ON, RUN

if 0:  # for mypy alone: compiled to nothing
    from board_types import NotYet, Table

    from .app import App
    from .bin_ring import BinRing

BLOCK_BINS = 8  # bins that share a block of the ring: their headers would else fill the memory
BEFORE_ON_US = 1500000
OLD_EDGE_US = 3000000
NO_RESULT = (None, None)
LAMP = {OFF: lamp.WAITING, ON: lamp.WAITING, CRANK: lamp.CRANKING, AFTER: lamp.CRANKING}


class Alone:
    """`app` lends its acquisition and ring. `table` is what ARM carried (docs/wire_format.md)."""

    verdict: "str | NotYet"
    why: "str | NotYet"

    def __init__(self, app: "App", table: "Table") -> None:
        self._app = app
        self._table = table
        self.kept: "int | None" = None  # number of the last capture
        self.verdict, self.why = NO_RESULT
        self._is_kept = True
        self._woke = app.journal.waiting is not None  # it waited when it went down: is the key on?
        self._words = [0] * (len(table["channels"]) * 3 + 3)
        self._format = "<%dH" % len(self._words)
        self._key16 = [channel["role"] for channel in table["channels"]].index("key_switch") * 3

    def begin(self) -> None:
        """Waits for a start from now on. Raises commands.CommandRejected where the acquisition cannot run."""
        app = self._app
        app.begin_acquisition(dict(app.config, bin_us=self._table["bin_us"], group=BLOCK_BINS))
        app.ring.keep_newest(True)
        self._judge = QuickJudge(self._table)
        self._seen = app.ring.index[0]
        self._on_block: "int | None" = None
        self._blocks = 0

    def step(self) -> bool:
        """Looks at the bins that are new. True when there was something to do."""
        ring = self._app.ring
        head, capacity = ring.index[0], ring.index[2]
        if self._seen == head:
            return False
        while self._seen != head and self._judge.start.state != DONE:
            self._follow(ring, self._seen)
            self._seen = (self._seen + 1) % capacity
        self._show()
        if self._judge.start.state == DONE:
            self._finish()
        elif self._judge.start.state in (OFF, ON, RUN):
            self._drop_old_edges()
        return True

    def _follow(self, ring: "BinRing", block: int) -> None:
        span_us = ring.header(block, SPAN) // ring.group
        conversions = ring.header(block, CONVERSIONS)
        at = block * ring.block_bytes
        start = self._judge.start
        for _ in range(ring.group):
            was_on = start.key_on_us
            self._words[:] = struct.unpack_from(self._format, ring.bins, at)
            if self._woke:
                self._woke = False
                if self._words[self._key16] > self._table["live16"]:
                    self._app.journal.missed()  # the power went in the middle of a start
            self._judge.bin(self._words, 0, span_us, conversions)
            if start.key_on_us is not None and was_on is None:
                self._on_block = self._blocks
            at += ring.bin_bytes
        self._blocks += 1
        self._block_us = span_us * ring.group

    def _show(self) -> None:
        state = self._judge.start.state
        shown = self._app.parts.lamp
        if state in (OFF, ON) and self.verdict:
            shown.show(self.verdict, self._is_kept)  # the last outcome stays until the key comes on again
        else:
            shown.show(LAMP.get(state, lamp.READY))

    def _drop_old_edges(self) -> None:
        """Close-ups from before the key came on would fill the pool."""
        close_ups = getattr(self._app.acquisition, "close_ups", None)
        if close_ups is not None:
            acquisition = self._app.acquisition
            close_ups.forget_before(acquisition.conversions() - OLD_EDGE_US * 1000 // acquisition.conversion_ns)

    def _finish(self) -> None:
        app = self._app
        if app.acquisition.lost_conversions:
            self._judge.invalidate("the board lost readings")
        app.acquisition.stop()
        self.verdict, self.why = self._judge.outcome()
        app.parts.lamp.show(lamp.KEEPING)
        try:
            self._keep()
            self._is_kept = True
        except OSError as error:
            self._is_kept = False
            self.why += " (not kept: %s)" % error
        app.parts.lamp.show(self.verdict, self._is_kept)
        self.begin()

    def _keep(self) -> None:
        app = self._app
        ring = app.ring
        ring.keep_newest(False)
        if self._on_block is not None:
            wanted = self._blocks - self._on_block + BEFORE_ON_US // self._block_us + 1
            ring.forget_oldest_but(wanted)
        close_ups = getattr(app.acquisition, "close_ups", None)
        most_bytes = ring.waiting() * (ring.bin_bytes + 4) + (close_ups.bytes_waiting() if close_ups else 0) + 4096
        gc.collect()
        writer = app.parts.captures.begin(most_bytes)  # type: ignore[union-attr]  # App.work_alone has checked
        outbox = app.outbox
        link = outbox.redirect(writer)
        try:
            outbox.recording_id = app.parts.random8()
            outbox.close_ups = close_ups
            outbox.least_bins = 1
            outbox.put(wire.STREAM, about.stream(app))
            while outbox.pump(ring, app.acquisition.lost_conversions):
                app.parts.lamp.tick()
                if app.parts.watchdog:
                    app.parts.watchdog.feed()
            result = {"verdict": self.verdict, "why": self.why, "number": writer.number}
            result.update(self._judge.feed.report())
            outbox.put(
                wire.END, json.dumps({"why": "the start is over", "counters": about.counters(app), "alone": result}).encode()
            )
            while outbox.pump(None, 0):
                pass
            writer.close()
        except OSError:
            writer.give_up()
            raise
        finally:
            outbox.redirect(link)
            outbox.recording_id = wire.NO_RECORDING
            outbox.close_ups = None
        self.kept = writer.number

    def given(self) -> "Table":
        """What the host gave along for whoever judges the capture later."""
        return {key: self._table.get(key) for key in ("limits", "feed_kind")}

    def status(self) -> "Table":
        """For STATUS."""
        return {"watching": self._judge.start.state, "verdict": self.verdict, "why": self.why, "kept": self.kept}
