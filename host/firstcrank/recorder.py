"""Records one start from a board into a file: configure, start, follow, stop by itself, close.

What the user sees is an observer's; what the user must do follows from the tracker's state. No printing here.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import numpy as np

from firstcrank import __version__, wire
from firstcrank.analysis.leads import check_leads
from firstcrank.analysis.live import LiveTracker, Watch
from firstcrank.board.bins_decoder import BinsDecoder
from firstcrank.calibration import Calibration
from firstcrank.errors import BoardRefusedError, LinkLostError
from firstcrank.limits import Limits
from firstcrank.link.board_client import BoardClient, patience, table_of
from firstcrank.link.loss_log import LossLog
from firstcrank.log import logger
from firstcrank.model.context import Context
from firstcrank.printable import printable
from firstcrank.trace import FloatArray
from firstcrank.tracefiles.native import RecordingFile, context_to_json
from firstcrank.wire_bodies import ChannelBody

LOG = logger(__name__)
LEADS_EVERY_S = 0.3  # the leads are looked at again and again until the crank: the user may be moving them
QUIET_S = 8.0  # longer than a laptop that does nothing for a while; what the board had to drop shows as a hole
LONGEST_READ_S = 0.5
STANDING_S = 1.0
END_S = 5.0


class RecordingObserver(Protocol):
    """Receives what happens while recording, and is asked what only the person at the vehicle knows."""

    def leads(self, lines: tuple[str, ...], key_is_off: bool) -> None:
        """The lead check's lines, each time they change.

        Args:
            lines: What looks wrong, a line each; empty where all looks well.
            key_is_off: Whether they were checked as with the key off.
        """

    def bins(self, tracker: LiveTracker, battery_v: FloatArray, key_v: FloatArray, key_lowest_v: FloatArray) -> None:
        """New bins were followed.

        Args:
            tracker: `tracker.state` says where the start is.
            battery_v: Mean of each new bin, shape (n,), volts.
            key_v: Mean of each new bin, shape (n,), volts.
            key_lowest_v: Lowest conversion in each new bin, shape (n,), volts.
        """

    def ended(self, why: str) -> None:
        """The recording is over.

        Args:
            why: In plain words.
        """

    def runs(self) -> bool | None:
        """Asked after a short crank: does the engine run by itself?

        Returns:
            The answer; None where nobody can be asked.
        """

    def over(self) -> str:
        """Asked after every read: is the person's part over?

        Returns:
            Why it is; empty while it goes on.
        """

    def account(self) -> tuple[str, ...]:
        """Asked at the end: what is kept of the visit beside the readings?

        Returns:
            A line each.
        """


@dataclass(frozen=True, slots=True)
class Plan:
    """What to record and how.

    Attributes:
        path: The new file.
        limits: Noted in the recording; the lead check and the trigger go by them.
        calibration: Noted in the recording; a line for every role in `channels`.
        context: What was answered before, noted in the recording.
        channels: Role and pin of each lead, battery and key_switch among them.
        bin_us: Length of a bin, microseconds, 250 to 100000.
        acquisition: Name of one (docs/acquisition.md), or "auto" for the fastest that board and pins allow.
        longest_s: Give up after this much time, recorded or passed in vain, seconds.
        kind: What kind of recording it is ("start", or "switch test" where no engine is started), noted as its identity.
        watch: What to go on for when the start is over: "charge" (a minute of running), "off" (key off and the module's power-down),
            "visit" (as many cranks as come, until the observer ends it), "start" for none of these.
    """

    path: Path
    limits: Limits
    calibration: Calibration
    context: Context
    channels: Sequence[ChannelBody]
    bin_us: int = 768
    acquisition: str = "auto"
    longest_s: float = 180.0
    kind: str = "start"
    watch: Watch = "start"


def record(client: BoardClient, plan: Plan, observer: RecordingObserver) -> None:
    """Records until the release has been watched, the cable is pulled, or Ctrl-C. The file is always left readable.

    A link lost after the first reading ends the recording without its closing note; it is no error.

    Args:
        client: A board after its handshake.
        plan: What to record and how.
        observer: Receives leads, bins and the end, is asked whether the engine runs (RecordingObserver).

    Raises:
        BoardRefusedError: The board refused, so the recording never began; no file is left.
        LinkLostError: The link was lost or the board went silent before the first reading; no file is left.
        UnwritableFileError: The file is already there or cannot be written.
        KeyboardInterrupt: Ctrl-C came before the first reading; no file is left.
        CalibrationError: The calibration has no line for a lead.
    """
    line = plan.calibration.channel("key_switch")
    client.idle()
    client.configure(plan.channels, plan.bin_us, line.code(plan.limits["module_minimum_v"]), plan.acquisition)
    recording_id = os.urandom(8)
    file = RecordingFile(plan.path, recording_id)
    session = _RecordingSession(client, plan, observer, file, recording_id)
    try:
        file.protect(
            identity=_identity(client, plan),
            calibration={"calibration": plan.calibration.to_json()},
            limits={"limits": plan.limits.to_json()},
            answers=context_to_json(plan.context),
        )
        LOG.info("recording %s begins: %s, bins of %d us", recording_id.hex(), plan.kind, plan.bin_us)
        client.command(wire.START, {}, recording_id)
        why = session.run()
        LOG.info("recording %s ends after %.1f s: %s", recording_id.hex(), session.recorded_s, why or "broke off")
        if not session.begun:
            raise LinkLostError(f"nothing was recorded: {why}")
        if why is not None:
            answer = observer.runs() if session.asks_running else None
            if answer is not None:
                file.answered(engine_running=answer)
            account = observer.account()
            if account:
                file.note("visit", lines=list(account))
            file.end(why=why, utc=datetime.now(UTC).isoformat(timespec="seconds"))
            observer.ended(why)
    except BaseException:
        if not session.begun:
            file.discard()  # it holds notes alone: nothing was recorded
        raise
    finally:
        file.close()


def _identity(client: BoardClient, plan: Plan) -> dict[str, object]:
    return {
        "kind": plan.kind,
        "host_version": __version__,
        "utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "port": client.link.name,
        "board": client.identity.get("board"),
        "synthetic": client.link.synthetic,
    }


def _raise_refusal(frames: Sequence[wire.Frame]) -> None:
    """Raises BoardRefusedError with the board's reason where it refused to start."""
    for frame in frames:
        if frame.kind == wire.REPLY:
            reply = table_of(frame.body)
            if reply.get("to") == wire.START and not reply.get("ok"):
                raise BoardRefusedError(f"the board refused to start: {reply.get('why')}")


class _RecordingSession:
    """The loop of one recording."""

    def __init__(
        self, client: BoardClient, plan: Plan, observer: RecordingObserver, file: RecordingFile, recording_id: bytes
    ) -> None:
        self._client, self._plan, self._observer, self._file, self._id = client, plan, observer, file, recording_id
        answers = plan.context
        self._tracker = LiveTracker(plan.limits, answers.engine_running, plan.watch, answers.hold_on_s or 0.0)
        self._decoder = BinsDecoder([str(channel["role"]) for channel in plan.channels], plan.calibration)
        self._leads_from_s = 0.0
        self._leads_v: list[tuple[float, float]] = []
        self._announced: tuple[str, ...] | None = None
        self.begun = False  # a reading was recorded
        self._heard = False  # the board answered under our recording's id
        self._lost = LossLog()
        self._seen_s = self._standing_s = self._stood_s = self._silent_s = self._useless_s = 0.0

    @property
    def recorded_s(self) -> float:
        """Seconds of readings so far."""
        return self._tracker.now_s

    @property
    def asks_running(self) -> bool:
        """Whether the person's answer would bring evidence that is missing."""
        return self._tracker.asks_running

    def run(self) -> str | None:
        """Why it ended; None where the link was lost, so that the file stays without a closing note.

        Raises BoardRefusedError, LinkLostError and KeyboardInterrupt as long as nothing was recorded.
        """
        try:
            while True:
                why = self._step()
                if why is not None:
                    return why
        except LinkLostError as error:
            if not self.begun:
                raise
            self._file.note("broke off", why=str(error))
            self._observer.ended(str(error))
            return None
        except KeyboardInterrupt:
            why = self._stop("stopped by the user")
            if not self.begun:
                raise
            return why

    def _step(self) -> str | None:
        """Takes what has arrived; why the recording is over, None while it goes on."""
        frames = self._take()
        ours = [frame for frame in frames if frame.recording_id == self._id]
        if not self.begun:
            _raise_refusal(frames)
        if not ours and self._heard and any(frame.kind == wire.IDENTITY for frame in frames):
            raise LinkLostError("the board started again (its supply failed for a moment: the USB cable or plug?)")
        self._heard = self._heard or bool(ours)
        for frame in ours:
            self._lost.frame(frame.sequence)
            if frame.kind == wire.END:
                return f"the board ended the recording ({printable(str(table_of(frame.body).get('why', 'no reason given')))})"
            if frame.kind == wire.BINS and self._bins(frame.body):
                self.begun, self._useless_s = True, 0.0
        if ours:
            self._silent_s = 0.0
        if self._silent_s > QUIET_S * patience():
            raise LinkLostError("the board went silent")
        if self._useless_s > QUIET_S * patience():
            raise LinkLostError(
                "the board sends no readings that can be used: unplug it, plug it in again, then run firstcrank board check"
            )
        if self._tracker.state == "done":
            return self._stop("the release was watched")
        over = self._observer.over() if self.begun else ""
        if over:
            return self._stop(over)
        if self._spent_s() > self._plan.longest_s:
            return self._stop("nothing more happened")
        return None

    def _spent_s(self) -> float:
        """Recorded time, and time that passed while it stood still for a second and more: a board's clock may not run at all."""
        advanced_s = self._tracker.now_s - self._seen_s
        if advanced_s > 0:
            if self._standing_s > STANDING_S * patience():
                self._stood_s += max(self._standing_s - advanced_s, 0.0)
            self._seen_s, self._standing_s = self._tracker.now_s, 0.0
        standing_s = self._standing_s if self._standing_s > STANDING_S * patience() else 0.0
        return self._tracker.now_s + (self._stood_s + standing_s) / patience()

    def _take(self) -> list[wire.Frame]:
        """Frames that arrive within a tenth of a second, with the time that passed put on the clocks of silence.

        A program that was stopped and goes on again finds everything waiting: of a long pause of its own only the share counts
        that the board could have used to say something.
        """
        before_s = self._client.link.now_s()
        frames = self._client.frames(0.1 * patience(), raw=self._file.write)
        passed_s = self._client.link.now_s() - before_s
        self._standing_s += passed_s
        self._silent_s += min(passed_s, LONGEST_READ_S * patience())
        self._useless_s += min(passed_s, LONGEST_READ_S * patience())
        return frames

    def _stop(self, why: str) -> str:
        """Stops the board and takes what it still has to send. Ctrl-C once more ends the waiting."""
        try:
            self._client.stop()
            deadline_s = self._client.link.now_s() + END_S * patience()
            while self._client.link.now_s() < deadline_s:
                for frame in self._client.frames(0.1 * patience(), raw=self._file.write):
                    if frame.kind == wire.END and frame.recording_id == self._id:
                        return why
        except (LinkLostError, KeyboardInterrupt):
            pass  # everything that is judged has arrived
        return why

    def _bins(self, body: bytes) -> bool:
        """Follows the start by one frame of bins; False where it holds none that can be used."""
        readings = self._decoder.read(body)
        if readings is None:
            return False
        self._lost.counters(readings.head)
        battery_v, key_v = readings.mean_v["battery"], readings.mean_v["key_switch"]
        lowest_v = readings.lowest_v["key_switch"]
        before = self._tracker.state
        coil_v = readings.mean_v.get("starter_coil")
        self._tracker.feed(readings.start_s, readings.end_s, battery_v, key_v, lowest_v, coil_v)
        if self._tracker.state != before:
            LOG.info("%.2f s: %s", self._tracker.now_s, self._tracker.state)
        self._check_leads(float(battery_v.mean()), float(key_v.mean()))
        self._observer.bins(self._tracker, battery_v, key_v, lowest_v)
        return True

    def _check_leads(self, battery_v: float, key_v: float) -> None:
        """Gives the observer what is wrong with the leads, and again whenever that changes, until the engine is cranked."""
        if self._tracker.state not in ("key off?", "key off seen", "key on"):
            return
        self._leads_v.append((battery_v, key_v))
        if self._tracker.now_s - self._leads_from_s < LEADS_EVERY_S:
            return
        battery_v, key_v = np.median(np.asarray(self._leads_v), axis=0)
        self._leads_from_s = self._tracker.now_s
        self._leads_v.clear()
        waiting_for_off = self._tracker.state == "key off?"
        lines = check_leads(float(battery_v), float(key_v), self._plan.limits, key_is_off=waiting_for_off)
        if lines != self._announced:
            self._announced = lines
            self._observer.leads(lines, key_is_off=waiting_for_off)
