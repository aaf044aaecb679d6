"""Visits that are no single start: several cranks in one recording, an engine that stalls, the switch test, a harness moved by hand.

Each is what a board's leads carry over time. They have no circuit of their own: cranks are pieces of solved starts, the rest are
voltages that step, so nothing finer than that may be read from them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firstcrank.trace import FloatArray
from firstcrank_sim.scenarios.catalogue import simulate
from firstcrank_sim.vehicle.truth import Truth

FLAT_V = 12.55


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a solved start, seconds of that start; held for `hold_s` more at its last moment."""

    start: Truth
    from_s: float
    to_s: float
    hold_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Pieces:
    """Stretches of starts one after the other, as one vehicle's leads would carry them."""

    pieces: tuple[Piece, ...]
    system_v: int = 12

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """Volts at the clip named `role` at times `t`, held beyond the end."""
        seen = np.zeros_like(t)
        begin_s = 0.0
        for number, piece in enumerate(self.pieces):
            end_s = begin_s + piece.to_s - piece.from_s + piece.hold_s
            last = number == len(self.pieces) - 1
            inside = (t >= begin_s) & ((t < end_s) | last)
            if inside.any():
                own_s = np.minimum(t[inside] - begin_s + piece.from_s, piece.to_s)
                seen[inside] = piece.start.volts(role, own_s)
            begin_s = end_s
        return seen


@dataclass(frozen=True, slots=True)
class Doubled:
    """The same at twice the voltage, as a vehicle of 24 V would carry it."""

    of: Pieces | Steps
    system_v: int = 24

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """Volts at the clip named `role` at times `t`."""
        return 2.0 * self.of.volts(role, t)


@dataclass(frozen=True, slots=True)
class Steps:
    """Leads that step between levels: role -> (time, volts from there on), in time order."""

    levels: dict[str, tuple[tuple[float, float], ...]]
    system_v: int = 12

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        """Volts at the clip named `role` at times `t`."""
        steps = self.levels.get(role, ((0.0, 0.0),))
        at_s, level_v = (np.array(column, dtype=np.float64) for column in zip(*steps, strict=True))
        return np.asarray(level_v[np.maximum(np.searchsorted(at_s, t, side="right") - 1, 0)])


def second_burst_starts(seed: int) -> Pieces:
    """Two bursts in one recording: the first does not start, after its rest the second runs by itself."""
    first, second = simulate("marigold_repaired", seed), simulate("runs_on", seed)
    on_s = second.schedule.on_s + 0.6
    return Pieces((Piece(first, 0.0, first.end_s, 32.0), Piece(second, on_s, second.end_s, 75.0)))


def hot_restart(seed: int) -> Pieces:
    """A start, a minute of running, key off; half a minute later the engine is started again, hot."""
    start = simulate("runs_on", seed)
    off = Piece(start, 0.0, 0.5, 30.0)
    return Pieces((Piece(start, 0.0, start.end_s, 75.0), off, Piece(start, 0.5, start.end_s, 20.0), off))


def never_starts(seed: int) -> Pieces:
    """Three bursts, none of them starts the engine."""
    start = simulate("marigold_repaired", seed)
    again_s = start.schedule.on_s + 0.6
    later = Piece(start, again_s, start.end_s, 32.0)
    return Pieces((Piece(start, 0.0, start.end_s, 32.0), later, later))


def cranks_together(seed: int) -> Pieces:
    """Two cranks with hardly a second between them: no rest, no standstill."""
    start = simulate("marigold_repaired", seed)
    s = start.schedule
    return Pieces((Piece(start, 0.0, s.drop_s + 0.9), Piece(start, s.leave_s - 0.1, start.end_s, 5.0)))


def stalls_after_1s(seed: int) -> Pieces:
    """The engine catches, runs for a second and stalls; the key stays ON."""
    start = simulate("runs_on", seed)
    s = start.schedule
    return Pieces((Piece(start, 0.0, s.drop_s + 1.0), Piece(start, s.on_s + 0.6, s.on_s + 0.8, 40.0)))


def no_crank(seed: int) -> Pieces:
    """Key ON and nobody cranks."""
    start = simulate("healthy", seed)
    return Pieces((Piece(start, 0.0, start.schedule.on_s + 0.8, 1e6),))


def battery_disconnected(seed: int) -> Pieces:
    """The battery is taken off while everybody waits for the crank."""
    start = simulate("fuse_out", seed)
    held = Piece(simulate("healthy", seed), 0.0, simulate("healthy", seed).schedule.on_s + 0.8, 2.0)
    return Pieces((held, Piece(_dead(start), 0.0, 0.001, 1e6)))


def _dead(start: Truth) -> Truth:
    from dataclasses import replace

    leads = dict.fromkeys((*start.roles, "battery", "key_switch", "starter_coil"), "none")
    return replace(start, plan=replace(start.plan, leads=leads))


def _switch_turned(times: int, feed_in_start_v: float, s_wire_v: float) -> Steps:
    """OFF 2 s, ON 3 s, START 3 s, back to ON 1 s, so many times; the starter's wire off, so nothing turns."""
    feed: list[tuple[float, float]] = [(0.0, 0.0)]
    wire: list[tuple[float, float]] = [(0.0, 0.0)]
    for number in range(times):
        at_s = 2.0 + 9.0 * number
        feed += [(at_s, FLAT_V - 0.15), (at_s + 3.0, feed_in_start_v), (at_s + 6.0, FLAT_V - 0.15), (at_s + 7.0, 0.0)]
        wire += [(at_s + 3.02, s_wire_v), (at_s + 5.99, 0.0)]
    return Steps({"battery": ((0.0, FLAT_V),), "key_switch": tuple(feed), "starter_coil": tuple(wire)})


def switch_held(seed: int) -> Steps:
    """Switch test, starter disabled: the feed holds through OFF, ON, START and back, ten times."""
    return _switch_turned(10, FLAT_V - 0.2, FLAT_V - 0.1)


def switch_lost(seed: int) -> Steps:
    """Switch test, starter disabled: the feed dies in START."""
    return _switch_turned(10, 0.0, FLAT_V - 0.1)


def switch_no_start(seed: int) -> Steps:
    """Switch test without the starter lead on the removed S wire: START is never seen."""
    return _switch_turned(10, FLAT_V - 0.2, 0.0)


def moved_harness(seed: int) -> Steps:
    """Key ON while somebody moves the harness: five dropouts of 2 to 40 ms, 4 s apart."""
    feed = [(0.0, 0.0), (1.5, FLAT_V - 0.15)]
    for number, seconds in enumerate((0.002, 0.005, 0.012, 0.025, 0.040)):
        at_s = 5.0 + 4.0 * number
        feed += [(at_s, 0.0), (at_s + seconds, FLAT_V - 0.15)]
    return Steps({"battery": ((0.0, FLAT_V),), "key_switch": tuple(feed)})


def sinking_battery(seed: int) -> Steps:
    """Key ON for long: the battery sinks below 12.2 V and then below 12.0 V."""
    battery = tuple((float(n), max(FLAT_V - 0.03 * n, 11.6)) for n in range(40))
    feed = ((0.0, 0.0), (1.5, FLAT_V - 0.2), *((at_s, volts - 0.15) for at_s, volts in battery if at_s > 1.5))
    return Steps({"battery": battery, "key_switch": feed})


VISITS: dict[str, Callable[[int], Pieces | Steps]] = {
    build.__name__: build
    for build in (
        second_burst_starts,
        hot_restart,
        never_starts,
        cranks_together,
        stalls_after_1s,
        no_crank,
        battery_disconnected,
        switch_held,
        switch_lost,
        switch_no_start,
        moved_harness,
        sinking_battery,
    )
}
