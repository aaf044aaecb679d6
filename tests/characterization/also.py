"""What else is said of a start beside its judgement: the live screen's prompts, the switch test's answer, a comparison."""

from __future__ import annotations

from typing import Any

import numpy as np

from firstcrank.analysis.as_json import from_table, to_table
from firstcrank.analysis.compare import compare
from firstcrank.analysis.live import LiveTracker
from firstcrank.analysis.switch_test import judge_switch
from firstcrank.limits import Limits
from firstcrank.model.judgement import Judgement
from firstcrank.trace import Trace

AT_ONCE = 16  # bins that a live screen is given at a time


def also(trace: Trace, limits: Limits, judgement: Judgement) -> dict[str, Any]:
    """Plain values."""
    table = to_table(judgement)
    return {
        "live": followed(trace, limits),
        "visit": followed(trace, limits, "visit") if len(judgement.cranks) > 1 else [],
        "switch": _switch(trace, limits),
        "compared": _compared(trace, judgement),
        "read_again": to_table(from_table(table)) == table,  # type: ignore[arg-type]
    }


def followed(trace: Trace, limits: Limits, watch: str = "start") -> list[Any]:
    """Every change of the live tracker's state, with what it says then: `AT_ONCE` bins are one, so that it is quick."""
    if not trace.has("battery", "key_switch") or len(trace) < 2 * AT_ONCE or not bool((np.diff(trace.start_s) > 0).all()):
        return []
    tracker = LiveTracker(limits, None, watch)  # type: ignore[arg-type]
    count = len(trace) // AT_ONCE
    start, end = trace.start_s[: count * AT_ONCE : AT_ONCE], trace.end_s[AT_ONCE - 1 : count * AT_ONCE : AT_ONCE]

    def folded(role: str) -> Any:
        return trace.channels[role].mean_v[: count * AT_ONCE].reshape(count, AT_ONCE)

    coil = folded("starter_coil").mean(1) if trace.has("starter_coil") else None
    battery, key = folded("battery").mean(1), folded("key_switch")
    prompts: list[Any] = []
    before: Any = None
    for i in range(count):
        one = slice(i, i + 1)
        tracker.feed(start[one], end[one], battery[one], key[one].mean(1), key[one].min(1), None if coil is None else coil[one])
        signs = tracker.signs
        now = (tracker.state, signs.runs_by_itself, signs.bridged)
        if now != before or i == count - 1:
            missing = [[m.wait_s, bool(m.ask_running)] for m in tracker.missing()]
            prompts.append([*now, end[i], tracker.since_s, signs.low_s, tracker.lowest_key_v, tracker.asks_running, missing])
            before = now
        if tracker.state == "done":
            break
    return prompts


def _switch(trace: Trace, limits: Limits) -> list[Any]:
    result = judge_switch(trace, limits)
    return [str(result.word), result.turns, result.lost_s, result.lowest_v]


def _compared(trace: Trace, judgement: Judgement) -> list[float]:
    """Of the first crank beside the last: shares that are there, and sums."""
    if not judgement.cranks:
        return []
    found = compare((trace, judgement), (trace, judgement), (1, len(judgement.cranks)))
    return [
        float(number)
        for role in found.before_v
        for number in (
            np.isnan(found.before_v[role]).mean(),
            np.nansum(found.after_v[role]),
            np.nansum(np.abs(found.difference_v(role))),
        )
    ]
