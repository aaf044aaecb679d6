"""Follows a start while it is being recorded: where are we, what does the user do next, when is it over.

Light and only for prompts. The verdict comes from the whole recording afterwards, with none of what is guessed here. What is still
missing, and so how long to go on, is the judge's own question (missing.py). The state machine is the board's too (start_tracker.py).
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np

from firstcrank.analysis.compressions import find_rhythm
from firstcrank.analysis.engine_signs import EngineSigns
from firstcrank.analysis.missing import Missing, Seen, SeenCrank, missing_evidence
from firstcrank.limits import Limits
from firstcrank.start_tracker import AFTER, CRANK, DONE, OFF, ON, RUN, StartTracker
from firstcrank.thresholds import Thresholds, thresholds_for
from firstcrank.trace import FloatArray
from firstcrank.units import US_PER_S

State = Literal["key off?", "key off seen", "key on", "cranking", "released", "done"]
Watch = Literal["start", "charge", "off", "visit"]
STATES: dict[str, State] = {
    OFF: "key off?",
    ON: "key off seen",
    RUN: "key on",
    CRANK: "cranking",
    AFTER: "released",
    DONE: "done",
}
UV_PER_V = 1_000_000.0


class _Tracker(StartTracker):
    """The common state machine in microvolts; what whole numbers cannot say is asked of the live tracker."""

    def __init__(self, owner: LiveTracker, th: Thresholds, limits: Limits, has_lead: bool) -> None:
        def uv(volts: float) -> int:
            return round(volts * UV_PER_V)

        super().__init__(
            {
                "live16": uv(limits["feed_live_v"]),
                "off16": uv(limits["feed_off_v"]),
                "coil_live16": uv(th.crank.coil_live_v) if has_lead else 0,
                "sag16": uv(th.crank.inrush_v),
                "recover16": uv(th.tracker.recover_v),
                "turn_sag16": uv(th.tracker.turn_sag_v),
                "ripple16": uv(th.tracker.ripple_v),
                "on_seen_us": round(th.tracker.on_seen_s * US_PER_S),
                "creep_us": round(th.tracker.creep_s * US_PER_S),
            }
        )
        self._owner = owner
        self._share = th.crank.coil_live_share
        self._full16 = uv(limits.system_v)

    def coil_live(self, battery16: int, coil16: int) -> bool:
        """As the judge sees it: above a voltage, and above a share of the battery's."""
        return coil16 > max(self.table["coil_live16"], self._share * min(battery16, self._full16))

    def had_compressions(self, span_us: int) -> bool:
        """As the judge finds them."""
        end_us = self.now_us + span_us - self._held_us
        return self._owner.had_rhythm(self._begin_us / US_PER_S, end_us / US_PER_S, self._level16 / UV_PER_V)

    def _after(self, battery16: int, live: bool, coil16: int, span_us: int) -> None:
        if self._owner.watches_a_visit:
            self._watch_for_crank(battery16, coil16, span_us)
        elif self._owner.is_over():
            self._go(DONE)


class LiveTracker:
    """Feed it bins as they come; `state` says where the start is. Times are the recording's own seconds.

    `running`: the person's answer whether the engine runs, None for not asked. `watch`: what to go on for after the start:
    "charge" for the minute that charging needs, "off" for the key going off and the module's power-down (`hold_on_s`), "visit" for as
    many cranks as come, until the caller ends it. `signs` are of the engine.
    """

    def __init__(self, limits: Limits, running: bool | None = None, watch: Watch = "start", hold_on_s: float = 0.0) -> None:
        self._limits = limits
        self._th = thresholds_for(limits.system_v)
        self._running, self._watch, self._hold_on_s = running, watch, hold_on_s
        self._start: _Tracker | None = None
        self.signs = EngineSigns(limits.system_v / 12.0)
        self._has_lead = False
        self.since_s = 0.0
        self.now_s = 0.0
        self.battery_v = 0.0
        self.key_v = 0.0
        self.lowest_key_v: float | None = None
        self._dead_s = self._live_s = 0.0
        self._off_s: float | None = None
        self._times: list[FloatArray] = []
        self._volts: list[FloatArray] = []

    @property
    def state(self) -> State:
        """Where the start is."""
        return STATES[self._start.state] if self._start else "key off?"

    @property
    def crank_start_s(self) -> float | None:
        """When the crank began; None before one."""
        start = self._start
        if start is None or start.state not in (CRANK, AFTER, DONE):
            return None
        return (start.crank_begin_us if start.state == CRANK else start.cranks[-1][0]) / US_PER_S

    @property
    def crank_end_s(self) -> float | None:
        """When the crank ended; None before that."""
        start = self._start
        return start.cranks[-1][1] / US_PER_S if start and start.cranks and start.state != CRANK else None

    @property
    def watches_a_visit(self) -> bool:
        """Whether it goes on for as many cranks as come."""
        return self._watch == "visit"

    def feed(
        self,
        start_s: FloatArray,
        end_s: FloatArray,
        battery_v: FloatArray,
        key_v: FloatArray,
        key_lowest_v: FloatArray,
        coil_v: FloatArray | None,
    ) -> None:
        """Bins in time order, shapes (n,), seconds and volts; `coil_v` None where there is no starter lead."""
        if self._start is None:
            self._has_lead = coil_v is not None
            self._start = _Tracker(self, self._th, self._limits, self._has_lead)
        self._times.append((start_s + end_s) / 2.0)
        self._volts.append(battery_v)
        for i in range(len(start_s)):
            coil = 0.0 if coil_v is None else float(coil_v[i])
            self._one(self._start, float(start_s[i]), float(end_s[i]), float(battery_v[i]), float(key_v[i]), coil)
            if self.state == "cranking":
                low = float(key_lowest_v[i])
                self.lowest_key_v = low if self.lowest_key_v is None else min(self.lowest_key_v, low)
        self._forget()

    def missing(self) -> tuple[Missing, ...]:
        """What evidence a PASS of what was recorded so far lacks."""
        cranks: tuple[SeenCrank, ...] = ()
        if self.crank_start_s is not None and self.crank_end_s is not None:
            lasted_s, watched_s = self.crank_end_s - self.crank_start_s, self.now_s - self.crank_end_s
            cranks = (*self._earlier(), SeenCrank(lasted_s, self._running is True, watched_s))
        seen = Seen(self._dead_s, self.state not in ("key off?", "key off seen"), self._live_s, cranks, self._running)
        return missing_evidence(seen, self._limits, self._th.key, self._th.evidence)

    def _earlier(self) -> list[SeenCrank]:
        """The cranks before the last, each followed by another."""
        times = [(begin / US_PER_S, end / US_PER_S) for begin, end in self._start.cranks] if self._start else []
        return [SeenCrank(end - begin, False, later - end, followed=True) for (begin, end), (later, _) in pairwise(times)]

    @property
    def asks_running(self) -> bool:
        """The person's answer whether the engine runs by itself would bring missing evidence."""
        return self.crank_end_s is not None and any(m.ask_running for m in self.missing())

    def _one(self, start: _Tracker, begin_s: float, end_s: float, battery_v: float, key_v: float, coil_v: float) -> None:
        span_s = end_s - begin_s
        self.now_s, self.battery_v, self.key_v = end_s, battery_v, key_v
        was = start.state
        if was in (OFF, ON, RUN):
            self._dead_s += span_s if key_v < self._limits["feed_off_v"] else 0.0
            self._live_s += span_s if key_v > self._limits["feed_live_v"] else 0.0
        start.now_us = round(begin_s * US_PER_S)  # the recording's clock, so that lost bins shift nothing
        battery16, key16, coil16 = (round(volts * UV_PER_V) for volts in (battery_v, key_v, coil_v))
        start.bin(battery16, key16, coil16, round(end_s * US_PER_S) - start.now_us)
        if start.state != was:
            self.since_s = self.now_s
            if start.state == CRANK:
                self.signs.begin_crank()
        self._watch_engine(start.state, span_s)

    def _watch_engine(self, state: str, span_s: float) -> None:
        if state in (OFF, ON, RUN):
            self.signs.before_crank(span_s, self.battery_v, self._has_lead)
        elif state == CRANK:
            self.signs.in_crank(span_s, self.battery_v, self.key_v < self._limits["module_minimum_v"])
        else:
            self.signs.after_crank(span_s, self.battery_v)

    def is_over(self) -> bool:
        """After the crank: whether waiting can bring nothing that is missing, nor what was asked to be watched."""
        now_s = self.now_s
        end_s = self.crank_end_s if self.crank_end_s is not None else now_s
        due_s = max([m.wait_s for m in self.missing()], default=0.0)
        if due_s > 0.0 or now_s - end_s < self._limits["after_release_s"] + self._th.tracker.extra_s:
            return False
        if self._watch == "charge":
            return now_s - end_s >= self._th.vehicle.charging_watch_s + self._th.tracker.extra_s
        if self._watch == "off":
            if self.key_v >= self._limits["feed_off_v"]:
                self._off_s = None  # a feed that came back was no key off
                return now_s - end_s >= self._th.tracker.off_wait_s
            self._off_s = now_s if self._off_s is None else self._off_s
            return now_s - self._off_s >= self._hold_on_s + self._th.vehicle.off_quiet_s + self._th.tracker.extra_s
        return True

    def had_rhythm(self, start_s: float, end_s: float, level_v: float) -> bool:
        """Whether the battery shows compressions between these times, below a level of `level_v` before them."""
        at_s, volts = np.concatenate(self._times), np.concatenate(self._volts)
        inside = (at_s >= start_s + self._th.crank.settle_s) & (at_s <= end_s - self._th.tracker.crank_end_s)
        sag_v = level_v - float(np.median(volts[inside])) if inside.any() else 0.0
        return find_rhythm(at_s[inside], volts[inside], sag_v, self._th.crank) is not None

    def _forget(self) -> None:
        while len(self._times) > 1 and self._times[0][-1] < self.now_s - self._th.tracker.keep_s:
            self._times.pop(0)
            self._volts.pop(0)
