"""The curves of two cranks side by side, aligned where the starter engages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.model.judgement import Judgement
from firstcrank.trace import FloatArray, Trace

BEFORE_S, AFTER_S, STEP_S = 2.0, 6.0, 0.005


@dataclass(frozen=True, slots=True)
class Comparison:
    """`at_s` from starter engagement, shape (n,); lowest readings per lead, NaN outside a recording."""

    at_s: FloatArray
    before_v: dict[str, FloatArray]
    after_v: dict[str, FloatArray]

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
