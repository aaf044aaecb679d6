"""The board's program: one loop that answers commands, lets the acquisition work and feeds the link.

Everything from outside is handed in through `Parts`, so the same program runs on a chip, on the Linux interpreter and,
as the simulated board, on the host.
"""

import gc
import json

from . import commands, wire
from .armed import SagWatch
from .bin_ring import CAPACITY, BinRing
from .outbox import MOST_BINS, MOST_PIECE, PIECE, Outbox

IDLE, RECORDING, ARMED = "idle", "recording", "armed"
BEACON_US = 1000000
RING_BYTES = 64512  # bins kept while the host does not read: a little over 2 s of 0.77 ms bins of three channels
HANDOVER_BLOCKS = 8  # given up when an armed board begins to send, so that the first new ones find room
INPUT_PIECE = 64
FRAME_US = 25000  # bins are sent together about this often
MOST_WAITS = 32  # interrupts slept through before the loop looks round again
COLLECT_EVERY = 4  # beacons between two collections of garbage while recording, so that none comes unasked
COMMANDS_EVERY = 8  # while recording, look for a command after this many passes


class Parts:
    """What the program works with.

    clock        ticks_us(), ticks_diff(a, b)
    stream       read(most) -> bytes or b"", write(view) -> count, writable() -> bool
    acquisition  acquisition(config) -> an acquisition for the channels and bin length in config
    adcs         adcs(channels) -> objects with read_u16(), one a channel
    about        dict for IDENTITY: board, chip, micropython, acquisitions, adc_pins
    store        load(name) -> dict or None, save(name, dict)
    temperature_c, lamp, random8
    wait         sleeps until any interrupt, or None
    """

    wait = None

    def __init__(self, **parts):
        for name, part in parts.items():
            setattr(self, name, part)


class App:
    """`run` until a LEAVE command, or call `step` again and again."""

    def __init__(self, parts):
        self.parts = parts
        self.state = IDLE
        self.leaving = False
        self.bad_commands = 0
        self.config = commands.default_config(parts.store.load("config"))
        self.acquisition = None
        self.ring = None
        self.outbox = Outbox(parts.stream)
        self.deframer = wire.Deframer()
        self._beacon_us = self.parts.clock.ticks_us()
        self._pass = 0
        self._said_bad = 0
        self.outbox.put(wire.IDENTITY, self.identity())

    def run(self):
        """Until told to leave. The acquisition is stopped whatever happens."""
        try:
            while not self.leaving or not self.outbox.idle():
                self.step()
        finally:
            if self.acquisition is not None:
                self.acquisition.stop()

    def step(self):
        """One pass of the loop."""
        self._pass += 1
        if self.state != IDLE:
            self.acquisition.poll()
            if self._pass % COMMANDS_EVERY == 0:
                self._read_commands()
        else:
            self._read_commands()
        self._repeat()
        if self.state == RECORDING:
            sent = self.outbox.pump(self.ring, self.acquisition.lost_conversions)
            if not self.acquisition.own_loop and (
                not sent or (self.ring.waiting() < 2 * self.outbox.least_bins and not self._close_ups_wait())
            ):
                self._rest()
        elif self.state == ARMED:
            self._watch_for_crank()
            if not self.outbox.pump(None, 0) and not self.acquisition.own_loop:
                self._rest()
        else:
            self.outbox.pump(self.ring, 0)

    def _rest(self):
        """Sleeps until the interrupt has finished bins: USB's own interrupts end a wait too, and need but a moment each."""
        wait = self.parts.wait
        if wait is None:
            return
        marks = self.ring.marks
        head = marks[0]
        for _ in range(MOST_WAITS):
            if marks[0] != head:
                return
            wait()

    def _read_commands(self):
        data = self.parts.stream.read(INPUT_PIECE)
        if not data:
            return
        for frame in self.deframer.feed(data):
            try:
                commands.obey(self, frame)
            except commands.Refused as why:
                self.bad_commands += 1
                self.reply(frame.kind, False, str(why))
        if self.deframer.bad_frames != self._said_bad:
            self.bad_commands += self.deframer.bad_frames - self._said_bad
            self._said_bad = self.deframer.bad_frames

    def _repeat(self):
        clock = self.parts.clock
        now_us = clock.ticks_us()
        if clock.ticks_diff(now_us, self._beacon_us) < BEACON_US:
            return
        self._beacon_us = now_us
        if self.state == RECORDING:
            self._beacons += 1
            if self._beacons % COLLECT_EVERY == 0 and not self.acquisition.own_loop:
                gc.collect()  # 20 ms of this loop only: the interrupt goes on folding
            self.outbox.put(wire.STREAM, self._stream_body)
            self.parts.lamp.recording()
        else:
            if self.outbox.idle():
                self.outbox.put(wire.IDENTITY, self.identity())
            self.parts.lamp.idle()

    # --- what commands do ------------------------------------------------------------------------------

    def start(self, recording_id):
        """Begins a recording under the id the host chose. An armed board gives its last seconds first, without a break."""
        if self.state == RECORDING:
            raise commands.Refused("already recording: stop first")
        if self.state != ARMED:
            self._begin()
        self._record(recording_id)
        self.reply(wire.START, True, "")
        self.outbox.put(wire.STREAM, self._stream_body)

    def arm(self):
        """Waits for the crank: the ring keeps the newest bins and nothing is sent but the identity."""
        if self.state != IDLE:
            raise commands.Refused("already %s: stop first" % self.state)
        if self.config["battery_channel"] < 0:
            raise commands.Refused("arming needs a channel with the role battery: its sag is the trigger")
        self._begin()
        self.ring.keep_newest(True)
        self._watch = SagWatch(self.ring, self.config["battery_channel"])
        self.outbox.recording_id = wire.NO_RECORDING
        self.state = ARMED
        kept_us = (self.ring.marks[CAPACITY] - 1 - HANDOVER_BLOCKS) * self.ring.group * self.config["bin_us"]
        self.reply(wire.ARM, True, "", kept_ms=kept_us // 1000)

    def _begin(self):
        """The acquisition runs from now on."""
        self.ring = None
        gc.collect()
        try:
            self.acquisition = self.parts.acquisition(self.config)
            bin_bytes = wire.bin_bytes(len(self.config["channels"]))
            if hasattr(self.acquisition, "make_ring"):
                self.ring = self.acquisition.make_ring(self.config, RING_BYTES, bin_bytes)
            else:
                self.ring = BinRing(min(RING_BYTES // bin_bytes, self.config["ring_bins"]), bin_bytes)
            gc.collect()
            self.acquisition.start(self.config, self.ring)
        except (ValueError, OSError, MemoryError) as error:
            if self.acquisition is not None:
                self.acquisition.stop()
            raise commands.Refused("acquisition did not start: %s" % error)
        own_loop = self.acquisition.own_loop
        self.outbox.piece_bytes = PIECE if own_loop else MOST_PIECE
        self.outbox.least_bins = 1 if own_loop else min(max(FRAME_US // self.config["bin_us"], 1), MOST_BINS)
        self._pretrigger_bins = 0
        self._beacons = 0

    def _record(self, recording_id):
        """What the ring holds and what comes goes out under this id."""
        if self.state == ARMED:
            self.ring.keep_newest(False)
            self.ring.forget_oldest(HANDOVER_BLOCKS)
            self._pretrigger_bins = self.ring.waiting()
        self.outbox.reset()
        self.outbox.recording_id = self.parts.random8() if recording_id == wire.NO_RECORDING else recording_id
        self.outbox.close_ups = getattr(self.acquisition, "close_ups", None)
        self._stream_body = self._describe()
        self.state = RECORDING

    def _watch_for_crank(self):
        """The inrush starts the recording by itself; the bins from before it are in the ring."""
        if self._watch.sagged():
            self._record(wire.NO_RECORDING)
            self.outbox.put(wire.STREAM, self._stream_body)

    def stop(self, why):
        """Ends the recording: what is in the ring still goes out, then END."""
        if self.state == ARMED:
            self.acquisition.stop()
            self.state = IDLE
            self.ring = None
            return
        if self.state != RECORDING:
            return
        self.acquisition.stop()
        self.outbox.least_bins = 1
        self.state = IDLE
        self._drain()
        body = {"why": why, "counters": self.counters()}
        self.outbox.put(wire.END, json.dumps(body).encode())
        while not self.outbox.idle() and self._pumped():
            pass
        self.outbox.recording_id = wire.NO_RECORDING
        self.ring = None
        gc.collect()

    def _drain(self):
        """Sends the bins that wait; gives up where the link takes nothing for a while (they are counted as lost)."""
        while self.ring.waiting() or not self.outbox.idle() or self._close_ups_wait():
            if not self._pumped():
                break
        self.outbox.close_ups = None
        if self.ring.waiting():
            self.ring.lose_waiting()

    def _close_ups_wait(self):
        return self.outbox.close_ups is not None and self.outbox.close_ups.pending()

    def _pumped(self):
        """True when something went out within half a second."""
        clock = self.parts.clock
        begin_us = clock.ticks_us()
        while self.outbox.pump(self.ring, self.acquisition.lost_conversions) == 0:
            if clock.ticks_diff(clock.ticks_us(), begin_us) > 500000:
                return False
        return True

    # --- what is sent ----------------------------------------------------------------------------------

    def reply(self, kind, ok, why, **more):
        """Queues a REPLY to a command of `kind`."""
        body = {"to": kind, "ok": ok, "why": why}
        body.update(more)
        self.outbox.put(wire.REPLY, json.dumps(body).encode())

    def identity(self):
        """Body of IDENTITY."""
        body = {"product": "firstcrank", "firmware": wire.FIRMWARE_VERSION, "wire": wire.VERSION, "state": self.state}
        body.update(self.parts.about)
        return json.dumps(body).encode()

    def _describe(self):
        body = {
            "channels": self.config["channels"],
            "key_channel": self.config["key_channel"],
            "trigger_code": self.config["trigger_code"],
            "bin_us": self.config["bin_us"],
            "mean_scale": wire.MEAN_SCALE,
            "code_top": wire.CODE_TOP,
            "ticks_wrap_us": wire.TICKS_WRAP_US,
            "firmware": wire.FIRMWARE_VERSION,
            "board": self.parts.about.get("board"),
            "chip": self.parts.about.get("chip"),
            "micropython": self.parts.about.get("micropython"),
        }
        body.update(self.acquisition.describe())
        if self._pretrigger_bins:
            body["pretrigger_bins"] = self._pretrigger_bins
        calibration = self.parts.store.load("calibration")
        if calibration:
            body["calibration"] = calibration
        return json.dumps(body).encode()

    def counters(self):
        """Everything lost so far, and a little of what was done."""
        acquisition, ring = self.acquisition, self.ring
        gc.collect()  # so that free_bytes is what is really free; the interrupt goes on folding
        counters = {
            "lost_conversions": acquisition.lost_conversions if acquisition else 0,
            "lost_bins": ring.lost_bins if ring else 0,
            "short_writes": self.outbox.short_writes,
            "dropped_control": self.outbox.dropped_control,
            "bad_commands": self.bad_commands,
            "bins_sent": self.outbox.bins_sent,
            "conversions": str(acquisition.conversions()) if acquisition else "0",
            "free_bytes": gc.mem_free() if hasattr(gc, "mem_free") else 0,
        }
        if hasattr(acquisition, "counters"):
            counters.update(acquisition.counters())
        return counters
