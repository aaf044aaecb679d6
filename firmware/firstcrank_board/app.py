"""The board's program: one loop that answers commands, lets the acquisition work and feeds the link.

Everything from outside is handed in through `Parts`, so the same program runs on a chip, on the Linux interpreter and,
as the simulated board, on the host.
"""

import gc
import json

from . import about, arena, commands, lamp, wire
from .armed import SagWatch
from .bin_ring import CAPACITY, HEAD, HEADER_WORDS, TAIL, BinRing
from .journal import Journal
from .outbox import CHUNK, MOST_BINS, PIECE, Outbox, no_op

if 0:  # for mypy alone: compiled to nothing
    from typing import Any, Callable

    from board_types import Acquisition, Clock, Config, MakeAdcs, NotYet, Store, Stream, Table, Unchecked, Wait, Watchdog

    from .alone import Alone
    from .captures import Captures
    from .lamp import Lamp


IDLE, RECORDING, ARMED, ALONE = "idle", "recording", "armed", "alone"
BEACON_US = 1000000
RING_BYTES = 63744  # bins kept while the host does not read: a little over 2 s of 0.77 ms bins of three channels
MOST_PLAIN_BINS = 512  # their headers fit the buffer that the fast acquisition has for its segments
HANDOVER_BLOCKS = 4  # given up when an armed board begins to send, so that the first new ones find room
INPUT_PIECE = 64
FRAME_US = 98000  # bins are sent together about this often
LAMP_WAITS = 4  # the same where the lamp's rhythm is what counts
MOST_WAITS = 64  # interrupts slept through before the loop goes round again
PIECES_A_WAKE = 1  # of close-ups: what waits is sent in the pauses, at a rate that leaves the chip asleep for the most part
COLLECT_EVERY = 16  # beacons between two collections of garbage while recording, so that none comes unasked
ALONE_AFTER_US = 5000000  # a board that is to work alone begins when no host has spoken for so long after power-up
MOST_TOGETHER = 4  # bins in a frame where the loop samples as well
COMMANDS_EVERY = 8  # where the loop samples, check for a command after this many passes


class Parts:
    """What the program works with.

    clock        ticks_us(), ticks_diff(a, b)
    stream       read(most) -> bytes or b"", write(view) -> count, writable() -> bool
    acquisition  acquisition(config) -> an acquisition for the channels and bin length in config
    adcs         adcs(config) -> objects with read_u16(), one a channel
    about        dict for IDENTITY: board, chip, micropython, acquisitions, adc_pins
    store        load(name) -> dict or None, save(name, dict or None)
    cause        why the board started, in words
    watchdog     start(), feed(), stop(), or None: restarts a board that works alone and hangs
    lamp         a lamp.Lamp
    captures     a captures.Captures, or None on a board that keeps none
    drive        drive(pin) -> codes after the pin was driven high and let go, or None
    temperature_c, random8
    wait         wait(index, since, blocks, most): sleeps until the ring's head is so many blocks past `since`; None: cannot
    """

    clock: "Clock"
    stream: "Stream"
    acquisition: "Callable[[Config], Acquisition]"
    adcs: "MakeAdcs"
    about: "Table"
    store: "Store"
    lamp: "Lamp"
    temperature_c: "Callable[[], float | None]"
    random8: "Callable[[], bytes]"
    wait: "Wait | None"
    captures: "Captures | None"
    watchdog: "Watchdog | None"
    drive: "Callable[[int], list[int]] | None"

    wait = captures = watchdog = drive = None
    cause = "unknown"

    def __init__(self, **parts: "Any") -> None:
        for name, part in parts.items():
            setattr(self, name, part)


class App:
    """`run` until a LEAVE command, or call `step` again and again."""

    def __init__(self, parts: "Parts") -> None:
        self.parts = parts
        self.state = IDLE
        self.leaving = False
        self.bad_commands = 0
        self.config = commands.default_config(parts.store.load("config"))
        self.acquisition: "Acquisition | NotYet" = None
        self.ring: "BinRing | NotYet" = None
        self.outbox = Outbox(parts.stream)
        self.deframer = wire.Deframer()
        self._beacon_us = self.parts.clock.ticks_us()
        self._pass = self._beacons = 0
        self._reported_bad_frames = 0
        self.pretrigger_bins = 0
        self.alone: "Alone | NotYet" = None
        self.alone_error: "str | None" = None  # why the board does not work alone though it was set to
        self.journal = Journal(parts.store, parts.cause)
        self._born_us = self._beacon_us if parts.store.load("alone") else None
        self.outbox.put(wire.IDENTITY, about.identity(self))
        parts.lamp.show(lamp.IDLE)

    def run(self) -> None:
        """Until LEAVE comes. The acquisition is stopped whatever happens."""
        try:
            while not self.leaving or not self.outbox.idle():
                self.step()
        finally:
            if self.acquisition is not None:
                self.acquisition.stop()
            if self.parts.watchdog:
                self.parts.watchdog.stop()

    def step(self) -> None:
        """One pass of the loop."""
        self._pass += 1
        if self.state != IDLE:
            self.acquisition.poll()
            if not self.acquisition.own_loop or self._pass % COMMANDS_EVERY == 0:
                self._read_commands()
            self.outbox.between()
        else:
            self._read_commands()
        self._repeat()
        self.parts.lamp.tick()
        self.outbox.between()
        if self.state == RECORDING:
            self._send()
        elif self.state == ARMED:
            self._watch_for_crank()
            if not self.outbox.pump(None, 0) and not self.acquisition.own_loop:
                self._rest(1, MOST_WAITS)
        elif self.state == ALONE:
            if self.parts.watchdog:
                self.parts.watchdog.feed()
            busy = self.alone.step()
            if not self.outbox.pump(None, 0) and not busy and not self.acquisition.own_loop:
                self._rest(1, LAMP_WAITS)
        else:
            self.outbox.pump(self.ring, 0)

    def _send(self) -> None:
        """What is due goes out; then sleep until more is."""
        outbox, ring = self.outbox, self.ring
        lost = self.acquisition.lost_conversions
        if self.acquisition.own_loop:
            outbox.pump(ring, lost)
            return
        sent = outbox.pump(ring, lost, False)
        pieces = 0
        while pieces < PIECES_A_WAKE and outbox.idle() and not outbox.bins_due(ring) and outbox.pump(ring, lost):
            pieces += 1
        if not sent and (outbox.bins_due(ring) or not outbox.idle()):
            self._rest(1, MOST_WAITS)  # the link takes nothing now
        elif outbox.idle() and not outbox.bins_due(ring):
            if sent or pieces:
                self._rest(self._blocks_due, 1)  # the USB driver needs the interpreter to send the rest
            self._rest(self._blocks_due, MOST_WAITS)

    def _rest(self, blocks: int, most_waits: int) -> None:
        """Sleeps until the interrupt has finished so many blocks of bins more than were sent; 1: any at all."""
        wait = self.parts.wait
        if wait is None:
            return
        index = self.ring.index
        wait(index, index[TAIL] if blocks > 1 else index[HEAD], blocks, most_waits)

    def _read_commands(self) -> None:
        data = self.parts.stream.read(INPUT_PIECE)
        if not data:
            return
        for frame in self.deframer.feed(data):
            self._born_us = None  # a host is there
            try:
                commands.dispatch(self, frame)
            except commands.CommandRejected as why:
                self.bad_commands += 1
                self.reply(frame.kind, False, str(why))
        if self.deframer.bad_frames != self._reported_bad_frames:
            self.bad_commands += self.deframer.bad_frames - self._reported_bad_frames
            self._reported_bad_frames = self.deframer.bad_frames

    def _repeat(self) -> None:
        clock = self.parts.clock
        now_us = clock.ticks_us()
        if self._born_us is not None and clock.ticks_diff(now_us, self._born_us) > ALONE_AFTER_US:
            self._born_us = None
            self._resume()
        if clock.ticks_diff(now_us, self._beacon_us) < BEACON_US:
            return
        self._beacon_us = now_us
        self._beacons += 1
        if self.state != IDLE and self._beacons % COLLECT_EVERY == 0 and not self.acquisition.own_loop:
            gc.collect()  # 20 ms of this loop only: the interrupt goes on folding
        if self.state == RECORDING:
            self.outbox.put(wire.STREAM, self._stream_body)
        elif self.outbox.idle():
            self.outbox.put(wire.IDENTITY, about.identity(self))

    # --- what commands do ------------------------------------------------------------------------------

    def start(self, recording_id: bytes) -> None:
        """Begins a recording under the id the host chose. An armed board gives its last seconds first, without a break."""
        if self.state == RECORDING:
            raise commands.CommandRejected("already recording: stop first")
        if self.state == ALONE:
            self.stop("a host begins")
        if self.state != ARMED:
            self.begin_acquisition(self.config)
        self._record(recording_id)
        self.reply(wire.START, True, "")
        self.outbox.put(wire.STREAM, self._stream_body)

    def arm(self) -> None:
        """Waits for the crank: the ring keeps the newest bins and nothing is sent but the identity."""
        if self.state != IDLE:
            raise commands.CommandRejected("already %s: stop first" % self.state)
        if self.config["battery_channel"] < 0:
            raise commands.CommandRejected("arming needs a channel with the role battery: its sag is the trigger")
        self.journal.begins(ARMED)
        self.begin_acquisition(self.config)
        self.ring.keep_newest(True)
        self._watch = SagWatch(self.ring, self.config["battery_channel"])
        self.outbox.recording_id = wire.NO_RECORDING
        self.state = ARMED
        kept_us = (self.ring.index[CAPACITY] - 1 - HANDOVER_BLOCKS) * self.ring.group * self.config["bin_us"]
        self.reply(wire.ARM, True, "", kept_ms=kept_us // 1000)

    def work_alone(self, table: "Table | Unchecked") -> None:
        """Watches for starts, judges and keeps them by itself, now and after every power-up until set otherwise."""
        if self.state != IDLE:
            raise commands.CommandRejected("already %s: stop first" % self.state)
        if self.parts.captures is None:
            raise commands.CommandRejected("this board has no memory for captures")
        from .alone import Alone
        from .alone_table import check

        check(table)
        self.set_config(table)
        table = dict(table, channels=self.config["channels"])
        alone = Alone(self, table)
        self.journal.begins(ALONE)
        alone.begin()
        if self.parts.watchdog:
            self.parts.watchdog.start()
        self.outbox.recording_id = wire.NO_RECORDING
        self.alone = alone
        self.state = ALONE

    def _resume(self) -> None:
        """After power-up, as it was set before."""
        try:
            self.work_alone(self.parts.store.load("alone"))
        except commands.CommandRejected as why:
            self.alone_error = str(why)
            self.reply(wire.ARM, False, self.alone_error)
            self.parts.lamp.show(lamp.ERROR)

    def set_config(self, body: "Table") -> None:
        """Checks and takes over a configuration. Raises commands.CommandRejected."""
        self.config.update(commands.checked(body, self.config))
        commands.with_key(self.config)

    def begin_acquisition(self, config: "Config") -> None:
        """The acquisition runs from now on. Raises commands.CommandRejected."""
        self.ring = None
        gc.collect()
        try:
            self.used = config
            self.acquisition = self.parts.acquisition(config)
            bin_bytes = wire.bin_bytes(len(config["channels"]))
            if hasattr(self.acquisition, "make_ring"):
                self.ring = self.acquisition.make_ring(config, RING_BYTES, bin_bytes)
            else:
                self.ring = self._plain_ring(min(RING_BYTES // bin_bytes, config["ring_bins"]), bin_bytes)
            gc.collect()
            self.acquisition.start(config, self.ring)
        except (ValueError, OSError, MemoryError) as error:
            if self.acquisition is not None:
                self.acquisition.stop()
            raise commands.CommandRejected("acquisition did not start: %s" % error)
        own_loop = self.acquisition.own_loop
        self.outbox.piece_bytes = PIECE if own_loop else CHUNK
        self.outbox.between = self.acquisition.sample if own_loop else no_op  # type: ignore[attr-defined]  # there with own_loop
        self.outbox.least_bins = min(max(FRAME_US // config["bin_us"], 1), MOST_TOGETHER if own_loop else MOST_BINS)
        self.outbox.most_bins = MOST_TOGETHER if own_loop else MOST_BINS
        self._blocks_due = max(-(-self.outbox.least_bins // self.ring.group), 1)
        self.pretrigger_bins = 0
        self._beacons = 0

    def _plain_ring(self, bins: int, bin_bytes: int) -> "BinRing":
        """For an acquisition that has no ring of its own; on a board that is short of memory in the buffer taken early."""
        if not arena.reserved():
            return BinRing(bins, bin_bytes)
        bins = min(bins, MOST_PLAIN_BINS)
        headers = arena.take(arena.SEGMENTS, bins * HEADER_WORDS)
        return BinRing(bins, bin_bytes, bins=arena.take(arena.BINS, bins * bin_bytes), headers=headers)

    def _record(self, recording_id: bytes) -> None:
        """What the ring holds and what comes goes out under this id."""
        if self.state == ARMED:
            self.ring.keep_newest(False)
            self.ring.forget_oldest(HANDOVER_BLOCKS)
            self.pretrigger_bins = self.ring.waiting()
        self.outbox.reset()
        self.outbox.recording_id = self.parts.random8() if recording_id == wire.NO_RECORDING else recording_id
        self.outbox.close_ups = getattr(self.acquisition, "close_ups", None)
        if self.parts.wait and not self.acquisition.own_loop:
            self.outbox.sleep = self.parts.wait, self.ring.index
        self._stream_body = about.stream(self)
        self.state = RECORDING
        self.parts.lamp.show(lamp.RECORDING)

    def _watch_for_crank(self) -> None:
        """The inrush starts the recording by itself; the bins from before it are in the ring."""
        if self._watch.sagged():
            self._record(wire.NO_RECORDING)
            self.outbox.put(wire.STREAM, self._stream_body)

    def stop(self, why: str) -> None:
        """Ends the recording: what is in the ring still goes out, then END."""
        if self.state in (ARMED, ALONE):
            self.acquisition.stop()
            if self.parts.watchdog:
                self.parts.watchdog.stop()
            self.state = IDLE
            self.ring = self.alone = None
            self.journal.ends()
            self.parts.lamp.show(lamp.IDLE)
            return
        if self.state != RECORDING:
            return
        self.acquisition.stop()
        self.outbox.sleep = None  # its interrupts were what ended a wait
        self.outbox.least_bins = 1
        self.state = IDLE
        self._drain()
        body = {"why": why, "counters": about.counters(self)}
        self.outbox.put(wire.END, json.dumps(body).encode())
        while not self.outbox.idle() and self._pumped():
            pass
        self.outbox.recording_id = wire.NO_RECORDING
        self.ring = None
        self.parts.lamp.show(lamp.IDLE)
        gc.collect()
        self.journal.ends()

    def test_link(self, count: int) -> None:
        """CHECK frames of filling, as fast as the link takes them, the last one marked: the host measures."""
        filling = b"{}" + b" " * 898
        sent = 0
        while sent < count:
            self.outbox.put(wire.CHECK, filling)
            sent += len(filling)
            while not self.outbox.idle():
                if not self._pumped():
                    return
        self.outbox.put(wire.CHECK, b'{"last": true}')

    def _drain(self) -> None:
        """Sends the bins that wait; gives up where the link takes nothing for a while (they are counted as lost)."""
        while self.ring.waiting() or not self.outbox.idle() or self._close_ups_wait():
            if not self._pumped():
                break
        self.outbox.close_ups = None
        if self.ring.waiting():
            self.ring.lose_waiting()

    def _close_ups_wait(self) -> bool:
        return self.outbox.close_ups is not None and self.outbox.close_ups.pending()

    def _pumped(self) -> bool:
        """True when something went out within half a second."""
        clock = self.parts.clock
        begin_us = clock.ticks_us()
        lost = self.acquisition.lost_conversions if self.acquisition else 0
        while self.outbox.pump(self.ring, lost) == 0:
            if clock.ticks_diff(clock.ticks_us(), begin_us) > 500000:
                return False
        return True

    # --- what is sent ----------------------------------------------------------------------------------

    def reply(self, kind: int, ok: bool, why: str, **more: "Any") -> None:
        """Queues a REPLY to a command of `kind`."""
        body = {"to": kind, "ok": ok, "why": why}
        body.update(more)
        self.outbox.put(wire.REPLY, json.dumps(body).encode())
