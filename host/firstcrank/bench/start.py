"""One simulated start: what every lead carries at any time, and what is true about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from firstcrank.bench.cranking import Cranking
from firstcrank.bench.vehicle import Vehicle
from firstcrank.trace import FloatArray

CONTACT_S = 0.02  # the starter's own contacts close this long after terminal 50 is live
PINION_S = 0.05


@dataclass(frozen=True, slots=True)
class Script:
    """When the driver turns the key, seconds. `off_s` None: left in RUN to the end."""

    on_s: float = 2.0
    turn_s: float = 5.0  # the key leaves RUN
    start_s: float = 5.12  # START closes: terminal 50 goes live
    release_s: float = 9.0  # START opens
    end_s: float = 12.2
    off_s: float | None = None


@dataclass(frozen=True, slots=True)
class FeedEvent:
    """The feed is changed from `start_s` to `end_s`.

    `kind`: "open" (dead), "series" (`value` ohm more in series), "at" (held at `value` volts), "battery" (back-fed: follows
    the battery less `value` volts).
    """

    start_s: float
    end_s: float
    kind: str = "open"
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class SimulatedStart:
    """A start ready to be looked at. `truth` holds what no judge may be asked for: see scenarios.

    `heater`: (on, off, amperes) stretches of the intake heater. `running_from_s`: the engine runs by itself from here on.
    `leads`: role -> role whose voltage the clip really sits on (leads exchanged, both on one point, off: "none").
    """

    name: str
    seed: int
    vehicle: Vehicle
    script: Script
    cranking: Cranking | None
    feed_events: tuple[FeedEvent, ...] = ()
    heater: tuple[tuple[float, float, float], ...] = ()
    running_from_s: float | None = None
    leads: Mapping[str, str] = field(default_factory=dict)
    ground_off: tuple[tuple[float, float], ...] = ()  # the board's ground clip is off: all leads float low
    roles: tuple[str, ...] = ("battery", "key_switch", "starter_coil")
    coil_dead: bool = False  # cranked by bridging the starter
    cranked_with_key: bool = True
    module_plugged_in: bool = True
    cause: str | None = None

    @property
    def engaged_s(self) -> float:
        """When the starter motor begins to draw."""
        return self.script.start_s + CONTACT_S + PINION_S

    @property
    def stopped_s(self) -> float:
        """When it stops drawing."""
        return self.script.release_s + CONTACT_S

    @property
    def crank_s(self) -> tuple[float, float] | None:
        """The true crank: starter drawing."""
        return (self.engaged_s, self.stopped_s) if self.cranking is not None else None

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """True volts at the clip named `role`, at times `t` (rising, any shape (m,)), against battery negative."""
        on = self.leads.get(role, role)
        seen = np.zeros_like(t) if on == "none" else self._point(on, t)
        for start_s, end_s in self.ground_off:
            seen = np.where((t >= start_s) & (t < end_s), 0.15 * seen, seen)
        return seen

    def _point(self, role: str, t: FloatArray) -> FloatArray:
        if role in ("battery", "feed_source"):
            return self._battery(t)
        if role == "key_switch":
            return self._feed(t)
        if role == "starter_coil":
            live = (t >= self.script.start_s) & (t < self.script.release_s)
            dead = self.coil_dead or self.cranking is None
            return np.where(live & (not dead), self._battery(t) - self.vehicle.solenoid_drop_v, 0.0)
        if role == "heater_coil":
            on = np.zeros(t.shape, dtype=bool)
            for start_s, end_s, _ in self.heater:
                on |= (t >= start_s) & (t < end_s)
            return np.where(on, self._battery(t) - 0.3 * self.vehicle.scale, 0.0)
        if role == "module_supply":
            return self._battery(t) - 0.1
        return 0.01 * np.ones_like(t)  # grounds and returns

    def _battery(self, t: FloatArray) -> FloatArray:
        v = self.vehicle
        key = (t >= self.script.on_s) & (t < (self.script.off_s or np.inf))
        resting = v.open_circuit_v - np.where(key, v.key_on_load_a * v.ohmic_ohm, 0.0)
        volts = resting
        for start_s, end_s, amperes in self.heater:
            volts = volts - np.where((t >= start_s) & (t < end_s), amperes * (v.ohmic_ohm + v.polarisation_ohm), 0.0)
        if self.cranking is not None:
            c = self.cranking
            inside = (t >= self.engaged_s) & (t < self.stopped_s)
            sag = np.interp(t - self.engaged_s, c.at_s, c.battery_v) - v.open_circuit_v + v.key_on_load_a * v.ohmic_ohm
            polarised = v.open_circuit_v - float(c.battery_v[-1]) - float(c.starter_a[-1]) * v.ohmic_ohm
            recovering = -max(polarised, 0.0) * np.exp(-np.maximum(t - self.stopped_s, 0.0) / v.polarisation_s)
            volts = volts + np.where(inside, sag, np.where(t >= self.stopped_s, recovering, 0.0))
        if self.running_from_s is not None:
            since = t - self.running_from_s
            charged = v.charge_v + 0.03 * np.sin(2 * np.pi * 45.0 * t)
            share = np.clip(since / 0.6, 0.0, 1.0)
            volts = np.where(since > 0, volts * (1 - share) + charged * share, volts)
        return np.asarray(volts, dtype=np.float64)

    def _feed(self, t: FloatArray) -> FloatArray:
        v = self.vehicle
        battery = self._battery(t)
        amperes = v.feed_load_a if self.module_plugged_in else 0.0
        key = (t >= self.script.on_s) & (t < (self.script.off_s or np.inf))
        feed = np.where(key, battery - amperes * v.feed_ohm, 0.0)
        for event in self.feed_events:
            during = (t >= event.start_s) & (t < event.end_s)
            if event.kind == "open":
                changed = np.zeros_like(t)
            elif event.kind == "series":
                changed = battery - amperes * (v.feed_ohm + event.value)
            elif event.kind == "battery":
                changed = battery - event.value
            else:
                changed = np.minimum(np.full_like(t, event.value), battery)
            feed = np.where(during, changed, feed)
        return np.maximum(feed, 0.0)

    def with_events(self, *events: FeedEvent) -> SimulatedStart:
        """The same start with more happening to the feed."""
        return replace(self, feed_events=(*self.feed_events, *events))


def true_dropouts(start: SimulatedStart, minimum_v: float, shortest_s: float = 0.0) -> tuple[tuple[float, float], ...]:
    """(start, duration) of every stretch with the true feed below `minimum_v` while the key is in RUN or START.

    From the circuit: sampled every 10 us near the feed's own events and every 0.2 ms elsewhere.
    """
    end_s = start.script.off_s if start.script.off_s is not None else start.script.end_s
    grids = [np.arange(start.script.on_s + 1e-5, end_s, 2e-4)]
    for event in start.feed_events:
        for edge_s in (event.start_s, event.end_s):
            grids.append(np.arange(edge_s - 1e-3, edge_s + 1e-3, 1e-5))
    t = np.unique(np.concatenate(grids))
    t = t[(t > start.script.on_s) & (t < end_s)]
    below = start._feed(t) < minimum_v
    edges = np.flatnonzero(np.diff(np.concatenate(([0], below.astype(np.int8), [0]))))
    found = []
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        begin_s, until_s = float(t[first]), float(t[min(past, len(t) - 1)])
        if until_s - begin_s >= shortest_s:
            found.append((begin_s, until_s - begin_s))
    return tuple(found)
