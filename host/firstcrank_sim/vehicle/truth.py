"""One simulated start as it truly was: voltages of every point, phases, cranks, dropouts. All from the circuit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from firstcrank.model.context import Context
from firstcrank.trace import FloatArray, Hole
from firstcrank_sim.vehicle.plan import Plan
from firstcrank_sim.vehicle.power_circuit import Power
from firstcrank_sim.vehicle.schedule import Schedule
from firstcrank_sim.vehicle.vehicle import Vehicle
from firstcrank_sim.vehicle.waveform import Waveform, combine
from firstcrank_sim.vehicle.wiring import points

RELEASE_S = 0.5
OFF_SHARE = 0.12  # what a lead still shows with the board's ground clip off


@dataclass(frozen=True, slots=True)
class TrueDropout:
    """A stretch of the true feed below a voltage. `follows`: only because its source was."""

    phase: str
    start_s: float
    duration_s: float
    lowest_v: float
    follows: bool


@dataclass(frozen=True, slots=True)
class Truth:
    """`point[name]` is the true voltage there against battery negative. `volts(role, t)` is what that role's clip carries.

    A role that this start was not given reads 0 V, as an open lead does.
    """

    name: str
    seed: int
    plan: Plan
    power: Power
    point: Mapping[str, Waveform]
    expected: str | None
    cause: str | None

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle's numbers."""
        return self.plan.vehicle

    @property
    def schedule(self) -> Schedule:
        """When what happened."""
        return self.plan.schedule

    @property
    def roles(self) -> tuple[str, ...]:
        """The leads that were clipped on."""
        return self.plan.roles

    @property
    def context(self) -> Context:
        """What the user would have answered."""
        return self.plan.context

    @property
    def end_s(self) -> float:
        """Length of the recording."""
        return self.plan.schedule.end_s

    @property
    def holes(self) -> tuple[Hole, ...]:
        """Where the recording lacks readings."""
        return self.plan.holes

    @property
    def system_v(self) -> int:
        """12 or 24."""
        return self.plan.vehicle.system_v

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """Volts at the clip named `role` at times `t` (any shape, held beyond the ends)."""
        where = self.plan.leads.get(role, role)
        seen = self.point[where](t) if where in self.point else np.zeros_like(t)
        for start_s, end_s in self.plan.ground_off:
            seen = np.where((t >= start_s) & (t < end_s), OFF_SHARE * seen, seen)
        return seen

    def edges_s(self, role: str) -> FloatArray:
        """Times at which the clip's voltage steps."""
        where = self.plan.leads.get(role, role)
        clip = np.array([e for s in self.plan.ground_off for e in s], dtype=np.float64)
        if where not in self.point:
            return clip
        wave = self.point[where]
        gap_s = np.diff(wave.at_s)
        step = (gap_s < 2e-6) & (np.abs(np.diff(wave.value)) > 0.02)
        return np.concatenate((wave.at_s[:-1][step], clip))

    def feed(self) -> Waveform:
        """The key feed against what it is judged against: the module's ground where that lead is on, else battery negative."""
        key = self.point["key_switch"]
        return combine(key, self.point["module_ground"], -1.0) if "module_ground" in self.roles else key

    def source(self) -> Waveform:
        """What supplies the key switch, as far as a lead shows it."""
        return self.point["feed_source" if "feed_source" in self.roles else "battery"]

    def phases(self) -> dict[str, tuple[float, float]]:
        """The true phases (start, end) in seconds."""
        s = self.schedule
        stop_s = min(s.off_s, s.end_s)
        found = {"key off": (0.0, s.on_s)}
        if s.start_s >= s.end_s:
            return {**found, "key on": (s.on_s, stop_s)}
        released_s = min(s.open_s + RELEASE_S, stop_s)
        return {
            **found,
            "key on": (s.on_s, s.leave_s),
            "key turn": (s.leave_s, s.engage_s),
            "crank": (s.engage_s, s.open_s),
            "release": (s.open_s, released_s),
            "after": (released_s, stop_s),
        }

    @property
    def crank_s(self) -> tuple[float, float] | None:
        """From the inrush to the starter letting go; None where it never engaged."""
        s = self.schedule
        return (s.engage_s, s.drop_s) if s.start_s < s.end_s else None

    def crank_rpm(self) -> float | None:
        """Mean speed over the steady part of the crank by turned angle, before the engine fires; None where too short."""
        s = self.schedule
        begin_s, end_s = s.engage_s + 0.4, min(s.open_s, s.fire_s)
        if s.start_s >= s.end_s or end_s - begin_s < 0.3:
            return None
        turned = np.interp([begin_s, end_s], self.power.at_s, self.power.angle)
        return float((turned[1] - turned[0]) / (end_s - begin_s) * 30.0 / np.pi)

    def dropouts(self, below_v: float, follow_v: float) -> tuple[TrueDropout, ...]:
        """Every stretch of the feed below `below_v` between its first rise and key off, named by the phase it lies in most.

        `follow_v`: a feed within this of its source at its lowest follows it.
        """
        s = self.schedule
        from_s, to_s = s.on_s + 1e-5, min(s.off_s, s.end_s)
        if to_s <= from_s:
            return ()
        feed, source = self.feed(), self.source()
        found = []
        below = feed.below(below_v, from_s, to_s)
        if below and below[0][0] <= from_s:
            below = below[1:]  # not yet risen
        for start_s, end_s in below:
            part = feed.cut(start_s, end_s)
            at = int(np.argmin(part.value))
            lowest_v = float(part.value[at])
            gap_v = float(source(part.at_s[at])) - lowest_v
            found.append(TrueDropout(self._phase(start_s, end_s), start_s, end_s - start_s, lowest_v, gap_v <= follow_v))
        return tuple(found)

    def _phase(self, start_s: float, end_s: float) -> str:
        shared = {name: min(end_s, b) - max(start_s, a) for name, (a, b) in self.phases().items()}
        return max(shared, key=lambda name: shared[name])


def build(name: str, seed: int, plan: Plan, power: Power, expected: str | None, cause: str | None) -> Truth:
    """Works out every point of a solved start."""
    touched = {*plan.roles, *plan.leads.values()}
    found = points(plan.vehicle, plan.schedule, plan.wiring, power, touched)
    return Truth(name, seed, plan, power, found, expected, cause)
