"""The switch test: what the feed does while the key goes through OFF, ON, START and back with the starter disabled.

It is no start and never passes as one: its three answers are words of their own. What it can't show is part of the answer.
Common practice, no source: three turns at the usual speed, twice slowly, then moving key and column in START.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from firstcrank.analysis.intervals import runs_of
from firstcrank.limits import Limits
from firstcrank.thresholds import thresholds_for
from firstcrank.thresholds.switch import SWITCH
from firstcrank.trace import Trace
from firstcrank.units import counted, format_duration, format_voltage

KIND = "switch test"


class SwitchWord(StrEnum):
    """The three answers."""

    HELD = "FEED HELD, SWITCH TEST ONLY"
    LOST = "FEED LOST IN START"
    NOT_SEEN = "START NOT SEEN"


CANNOT_SHOW = (
    "a contact burnt open only under current",
    "volts that the solenoid's pull-in current takes from the same wire",
    "relays that let go as the battery sags",
    "ground shift, shaking, heat",
)


@dataclass(frozen=True, slots=True)
class SwitchResult:
    """The answer with its reason in one line. `turns` through START, `lost_s` the longest loss, `lowest_v` the feed's lowest in START."""

    word: SwitchWord
    reason: str
    turns: int
    lost_s: float = 0.0
    lowest_v: float | None = None


def judge_switch(trace: Trace, limits: Limits) -> SwitchResult:
    """Judges a recording of a switch test: the feed wherever the removed S wire was live, and the key's travel around it.

    Needs the starter lead on that wire; a wire that never went live is START NOT SEEN, whatever the feed did.
    """
    if not trace.has("starter_coil") or not trace.has("key_switch") or not len(trace):
        return SwitchResult(SwitchWord.NOT_SEEN, "no lead on the removed S wire (50): nothing proved", 0)
    if not trace.complete or trace.holes:
        return SwitchResult(SwitchWord.NOT_SEEN, "the recording has gaps or breaks off: nothing proved", 0)
    turns = _turns(trace, limits)
    if not turns:
        return SwitchResult(SwitchWord.NOT_SEEN, "the removed S wire (50) was never live: nothing proved", 0)
    feed = trace.channels["key_switch"]
    if not _live_before(trace, limits, turns[0][0]):
        return SwitchResult(SwitchWord.LOST, "the feed was not live in ON before START", len(turns))
    low = feed.mean_v < limits["module_minimum_v"]
    low |= feed.lowest_v < limits["feed_off_v"]
    longest_s, at_s, lowest_v = 0.0, 0.0, float("inf")
    for start_s, end_s in turns:
        inside = (trace.start_s >= start_s - SWITCH.around_s) & (trace.end_s <= end_s + SWITCH.around_s)
        if not inside.any():
            continue
        lowest_v = min(lowest_v, float(feed.lowest_v[inside].min()))
        seconds, began_s = _longest(trace, low & inside)
        if seconds > longest_s:
            longest_s, at_s = seconds, began_s
    if longest_s > limits["turn_bounce_max_s"]:
        reason = f"the feed was lost for {format_duration(longest_s)} at {at_s:.2f} s, down to {format_voltage(lowest_v)}"
        return SwitchResult(SwitchWord.LOST, reason, len(turns), longest_s, lowest_v)
    few = "" if len(turns) >= SWITCH.turns_wanted else f"; {SWITCH.turns_wanted} turns are wanted"
    reason = f"through {counted(len(turns), 'turn')} to START and back, lowest {format_voltage(lowest_v)}{few}"
    return SwitchResult(SwitchWord.HELD, reason, len(turns), longest_s, lowest_v)


def _turns(trace: Trace, limits: Limits) -> list[tuple[float, float]]:
    """Stretches in which the S wire was live, seconds; shorter breaks than SWITCH.join_s are bridged, short ones left out."""
    th = thresholds_for(limits.system_v).crank
    live = trace.channels["starter_coil"].mean_v > th.coil_live_v
    found: list[tuple[float, float]] = []
    for first, past in zip(*(edges.tolist() for edges in runs_of(live)), strict=True):
        start_s, end_s = float(trace.start_s[first]), float(trace.end_s[past - 1])
        if found and start_s - found[-1][1] < SWITCH.join_s:
            found[-1] = (found[-1][0], end_s)
        else:
            found.append((start_s, end_s))
    return [(a, b) for a, b in found if b - a >= SWITCH.start_least_s]


def _live_before(trace: Trace, limits: Limits, start_s: float) -> bool:
    before = (trace.end_s <= start_s - SWITCH.before_to_s) & (trace.start_s >= start_s - SWITCH.before_from_s)
    return bool(before.any()) and float(np.median(trace.channels["key_switch"].mean_v[before])) > limits["feed_live_v"]


def _longest(trace: Trace, low: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[float, float]:
    longest_s, at_s = 0.0, 0.0
    for first, past in zip(*(edges.tolist() for edges in runs_of(low)), strict=True):
        seconds = float(trace.end_s[past - 1] - trace.start_s[first])
        if seconds > longest_s:
            longest_s, at_s = seconds, float(trace.start_s[first])
    return longest_s, at_s
