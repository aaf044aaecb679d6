"""Follows a start while it is being recorded: where are we, what does the user do next, when is it over.

Light and only for prompts. The verdict comes from the whole recording afterwards, with none of what is guessed here. What is still
missing, and so how long to go on, is the judge's own question (missing.py).
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from firstcrank.analysis.compressions import find_rhythm
from firstcrank.analysis.missing import Missing, Seen, SeenCrank, missing_evidence
from firstcrank.analysis.thresholds import thresholds_for
from firstcrank.limits import Limits
from firstcrank.trace import FloatArray

State = Literal["key off?", "key off seen", "key on", "cranking", "released", "done"]
Watch = Literal["start", "charge", "off", "visit"]
OFF_SEEN_S = 0.4
ON_SEEN_S = 0.4
CRANK_SEEN_S = 0.12
RELEASE_SEEN_S = 0.25
EXTRA_S = 0.3  # a little more than the judge needs
KEEP_S = 20.0
RECOVERED_SHARE, RECOVERED_S = 0.35, 0.3  # of the crank's sag that is left, for so long: the engine runs up by itself
BRIDGED_SAG_V = 1.5  # at 12 V
CHARGES_V = 0.6  # above the level before the crank, at 12 V
OFF_WAIT_S = 60.0  # for the key to go off, where that is to be watched


class LiveTracker:
    """Feed it bins as they come; `state` says where the start is. Times are the recording's own seconds.

    `running`: the person's answer whether the engine runs, None for not asked. `watch`: what to go on for after the start:
    "charge" for the minute that charging needs, "off" for the key going off and the module's power-down (`hold_on_s`); "visit" for
    as many cranks as come, until the caller ends it.
    """

    def __init__(self, limits: Limits, running: bool | None = None, watch: Watch = "start", hold_on_s: float = 0.0) -> None:
        self._limits = limits
        self._th = thresholds_for(limits.system_v)
        self._scale = limits.system_v / 12.0
        self._running, self._watch, self._hold_on_s = running, watch, hold_on_s
        self.state: State = "key off?"
        self.since_s = 0.0
        self.now_s = 0.0
        self.crank_start_s: float | None = None
        self.crank_end_s: float | None = None
        self.battery_v = 0.0
        self.key_v = 0.0
        self.lowest_key_v: float | None = None
        self.low_s = 0.0  # how long the feed was below the module's minimum in the crank at hand
        self.runs_by_itself = False
        self.sagged_s = 0.0  # a starter's sag before the crank for so long, the starter lead dead
        self._earlier: list[SeenCrank] = []
        self._lowest_battery_v: float | None = None
        self._recovered_s = 0.0
        self._highest_v = 0.0
        self._held_s = 0.0
        self._key_held_s = 0.0
        self._dead_s = self._live_s = 0.0
        self._off_s: float | None = None
        self._level_v: float | None = None
        self._times: list[FloatArray] = []
        self._volts: list[FloatArray] = []

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
        self._times.append((start_s + end_s) / 2.0)
        self._volts.append(battery_v)
        for i in range(len(start_s)):
            coil = None if coil_v is None else float(coil_v[i])
            self._one(float(end_s[i]), float(end_s[i] - start_s[i]), float(battery_v[i]), float(key_v[i]), coil)
            if self.state == "cranking":
                low = float(key_lowest_v[i])
                self.lowest_key_v = low if self.lowest_key_v is None else min(self.lowest_key_v, low)
                if float(key_v[i]) < self._limits["module_minimum_v"]:
                    self.low_s += float(end_s[i] - start_s[i])
        self._forget()

    def missing(self) -> tuple[Missing, ...]:
        """What evidence a PASS of what was recorded so far lacks."""
        cranks: tuple[SeenCrank, ...] = ()
        if self.crank_start_s is not None and self.crank_end_s is not None:
            lasted_s, watched_s = self.crank_end_s - self.crank_start_s, self.now_s - self.crank_end_s
            cranks = (*self._earlier, SeenCrank(lasted_s, self._running is True, watched_s))
        seen = Seen(self._dead_s, self.state not in ("key off?", "key off seen"), self._live_s, cranks, self._running)
        return missing_evidence(seen, self._limits, self._th.key, self._th.evidence)

    @property
    def asks_running(self) -> bool:
        """The person's answer whether the engine runs by itself would bring missing evidence."""
        return self.crank_end_s is not None and any(m.ask_running for m in self.missing())

    def _one(self, now_s: float, span_s: float, battery_v: float, key_v: float, coil_v: float | None) -> None:
        self.now_s, self.battery_v, self.key_v = now_s, battery_v, key_v
        if self.state == "done":
            return
        if self.state in ("key off?", "key off seen", "key on"):
            self._watch_key(span_s, key_v)
            self._watch_for_crank(now_s, span_s, battery_v, coil_v)
        elif self.state == "cranking":
            self._watch_for_running(span_s, battery_v)
            self._watch_for_release(now_s, span_s, battery_v, coil_v)
        elif self._watch == "visit":
            self._watch_between(now_s, span_s, battery_v, coil_v)
        else:
            self._watch_after(now_s, key_v)

    def _watch_key(self, span_s: float, key_v: float) -> None:
        dead, live = key_v < self._limits["feed_off_v"], key_v > self._limits["feed_live_v"]
        self._dead_s += span_s if dead else 0.0
        self._live_s += span_s if live else 0.0
        wanted = dead if self.state == "key off?" else live
        self._key_held_s = self._key_held_s + span_s if wanted else 0.0
        if self.state == "key off?" and self._key_held_s > OFF_SEEN_S:
            self._go("key off seen")
            self._key_held_s = 0.0
        elif self.state == "key off seen" and self._key_held_s > ON_SEEN_S:
            self._go("key on")

    def _watch_for_crank(self, now_s: float, span_s: float, battery_v: float, coil_v: float | None) -> None:
        if self._level_v is None:
            self._level_v = battery_v
        turning = self._coil_live(coil_v) if coil_v is not None else battery_v < self._level_v - self._th.crank.inrush_v
        self._held_s = self._held_s + span_s if turning else 0.0
        if coil_v is not None:
            self._watch_for_sag(span_s, battery_v, turning)
        if not turning:
            share = min(span_s / 0.3, 1.0)
            self._level_v += share * (battery_v - self._level_v)
        elif coil_v is None:  # a heater's sag must not hold the level up for ever
            self._level_v += min(span_s / 30.0, 1.0) * (battery_v - self._level_v)
        if self._held_s > CRANK_SEEN_S:
            self.crank_start_s = now_s - self._held_s
            self._held_s = 0.0
            self._go("cranking")

    def _watch_for_sag(self, span_s: float, battery_v: float, turning: bool) -> None:
        """The battery far below its highest so far, with a starter lead that is on and dead. A heater draws less."""
        self._highest_v = max(self._highest_v, battery_v)
        sagging = not turning and 4.0 * self._scale < battery_v < self._highest_v - BRIDGED_SAG_V * self._scale
        self.sagged_s = self.sagged_s + span_s if sagging else (self.sagged_s if self.sagged_s > 0.5 else 0.0)

    def _watch_for_running(self, span_s: float, battery_v: float) -> None:
        """An engine that runs turns the starter, which then draws little: most of the sag is gone for a while."""
        lowest_v = battery_v if self._lowest_battery_v is None else min(self._lowest_battery_v, battery_v)
        self._lowest_battery_v = lowest_v
        level_v = self._level_v or battery_v
        recovered = level_v - battery_v < RECOVERED_SHARE * (level_v - lowest_v)
        self._recovered_s = self._recovered_s + span_s if recovered else 0.0
        self.runs_by_itself = self.runs_by_itself or self._recovered_s > RECOVERED_S

    def _watch_between(self, now_s: float, span_s: float, battery_v: float, coil_v: float | None) -> None:
        """After a crank of several: another one, or an engine that charges."""
        level_v = self._level_v or 12.0 * self._scale
        charging = battery_v > level_v + CHARGES_V * self._scale
        self._recovered_s = self._recovered_s + span_s if charging else 0.0
        self.runs_by_itself = self.runs_by_itself or self._recovered_s > RECOVERED_S
        start_s, end_s = self.crank_start_s, self.crank_end_s
        if not self.runs_by_itself:
            self._watch_for_crank(now_s, span_s, battery_v, coil_v)
        if self.state == "cranking" and start_s is not None and end_s is not None:
            self._earlier.append(SeenCrank(end_s - start_s, False, now_s - end_s, followed=True))
            self.crank_end_s, self.low_s, self._recovered_s, self._lowest_battery_v = None, 0.0, 0.0, None

    def _watch_for_release(self, now_s: float, span_s: float, battery_v: float, coil_v: float | None) -> None:
        level_v = self._level_v or 12.0 * self._scale
        recovered = battery_v > level_v - 0.5 * self._scale
        over = recovered if coil_v is None else not self._coil_live(coil_v)
        self._held_s = self._held_s + span_s if over else 0.0
        if self._held_s <= RELEASE_SEEN_S:
            return
        end_s = now_s - self._held_s
        self._held_s = 0.0
        if coil_v is None and not self._had_rhythm(end_s):
            self.crank_start_s = None
            self._level_v = battery_v
            self._go("key on")  # an intake heater, not a crank
            return
        self.crank_end_s = end_s
        self._go("released")

    def _watch_after(self, now_s: float, key_v: float) -> None:
        """Goes on as long as waiting can bring what is missing, and as long as was asked."""
        end_s = self.crank_end_s if self.crank_end_s is not None else now_s
        due_s = max([m.wait_s for m in self.missing()], default=0.0)
        if due_s > 0.0 or now_s - end_s < self._limits["after_release_s"] + EXTRA_S:
            return
        if self._watch == "charge" and now_s - end_s < self._th.vehicle.charging_watch_s + EXTRA_S:
            return
        if self._watch == "off":
            if key_v >= self._limits["feed_off_v"]:
                if now_s - end_s < OFF_WAIT_S:
                    return
            else:
                self._off_s = now_s if self._off_s is None else self._off_s
                if now_s - self._off_s < self._hold_on_s + self._th.vehicle.off_quiet_s + EXTRA_S:
                    return
        self._go("done")

    def _coil_live(self, coil_v: float | None) -> bool:
        live_v = max(self._th.crank.coil_live_v, self._th.crank.coil_live_share * min(self.battery_v, 12.0 * self._scale))
        return coil_v is not None and coil_v > live_v

    def _had_rhythm(self, end_s: float) -> bool:
        at_s, volts = np.concatenate(self._times), np.concatenate(self._volts)
        start_s = self.crank_start_s or 0.0
        inside = (at_s >= start_s + self._th.crank.settle_s) & (at_s <= end_s - 0.05)
        sag_v = (self._level_v or 0.0) - float(np.median(volts[inside])) if inside.any() else 0.0
        return find_rhythm(at_s[inside], volts[inside], sag_v, self._th.crank) is not None

    def _forget(self) -> None:
        while len(self._times) > 1 and self._times[0][-1] < self.now_s - KEEP_S:
            self._times.pop(0)
            self._volts.pop(0)

    def _go(self, state: State) -> None:
        self.state = state
        self.since_s = self.now_s
