"""Two cranks side by side: aligned where the starter engages, and what changed in each finding."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.model.judgement import Finding, Judgement
from firstcrank.trace import FloatArray, Trace

BEFORE_S, AFTER_S, STEP_S = 2.0, 6.0, 0.005


@dataclass(frozen=True, slots=True)
class Change:
    """One check in both starts; None where a start has no such finding. `words` says what changed."""

    check: str
    before: Finding | None
    after: Finding | None
    words: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """`at_s` from starter engagement, shape (n,); lowest readings per lead, NaN outside a recording."""

    at_s: FloatArray
    before_v: dict[str, FloatArray]
    after_v: dict[str, FloatArray]
    changes: tuple[Change, ...]

    def difference_v(self, role: str) -> FloatArray:
        """After minus before, shape (n,), volts."""
        return self.after_v[role] - self.before_v[role]


def compare(before: tuple[Trace, Judgement], after: tuple[Trace, Judgement], cranks: tuple[int, int] = (1, 1)) -> Comparison:
    """Aligns crank `cranks[0]` of one start with `cranks[1]` of the other, counted from 1. Raises ValueError without a crank."""
    at_s = np.arange(-BEFORE_S, AFTER_S, STEP_S)
    sides = []
    for (trace, judgement), which in zip((before, after), cranks, strict=True):
        if len(judgement.cranks) < which:
            raise ValueError(f"a start without crank {which} cannot be compared")
        engaged_s = judgement.cranks[which - 1].start_s
        sides.append({role: _lowest(trace, role, at_s + engaged_s) for role in trace.channels})
    shared = [role for role in sides[0] if role in sides[1]]
    return Comparison(
        at_s,
        {role: sides[0][role] for role in shared},
        {role: sides[1][role] for role in shared},
        _changes(before[1], after[1]),
    )


def _lowest(trace: Trace, role: str, at_s: FloatArray) -> FloatArray:
    """Lowest conversion in each step, NaN where nothing was recorded."""
    first = np.searchsorted(trace.end_s, at_s, side="right")
    past = np.searchsorted(trace.start_s, at_s + STEP_S, side="left")
    lowest = trace.channels[role].lowest_v
    out = np.full(len(at_s), np.nan)
    filled = (past > first) & (first < len(lowest))
    if filled.any():
        bounds = np.column_stack((first[filled], np.minimum(past[filled], len(lowest))))
        out[filled] = [lowest[a:b].min() for a, b in bounds]
    return out


def _changes(before: Judgement, after: Judgement) -> tuple[Change, ...]:
    one = {f.check: f for f in before.findings}
    two = {f.check: f for f in after.findings}
    names = list(dict.fromkeys([*one, *two]))
    return tuple(Change(name, one.get(name), two.get(name), _words(one.get(name), two.get(name))) for name in names)


def _words(before: Finding | None, after: Finding | None) -> str:
    if before is None or after is None:
        return "only in the second start" if before is None else "only in the first start"
    good = {"pass": 2, "warn": 1, "no verdict": 1, "fail": 0}
    if before.result != after.result:
        better = good.get(after.result, 1) > good.get(before.result, 1)
        return f"{before.result} before, {after.result} now{': better' if better else ''}"
    if before.measured is not None and after.measured is not None and before.unit == "V":
        change_v = after.measured - before.measured
        spread_v = ((before.uncertainty or 0.0) ** 2 + (after.uncertainty or 0.0) ** 2) ** 0.5
        if abs(change_v) > max(spread_v, 0.02):
            return f"{change_v:+.2f} V"
    return "same"
