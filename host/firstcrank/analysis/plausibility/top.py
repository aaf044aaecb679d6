"""A ceiling that cuts the battery: the end of the logger's range."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from firstcrank.analysis.plausibility.examined import Examined, Implausible, runs_of
from firstcrank.thresholds.plausible import PLAUSIBLE


def clipped(view: Examined) -> Iterator[Implausible]:
    """A ceiling: the battery's highest reading again and again in the ripple, or on both sides of a sag and the key feed with it.

    Only the battery is looked at: every other lead hangs on it, and a lead that is clipped alone reads low. An honest battery
    comes back from a crank below its rest and creeps up, or goes above it and ripples there.
    """
    volts, step_v = view.battery_v, max(view.steps_v["battery"], 1e-4)
    top_v = float(volts.max())
    flat = runs_of(volts >= top_v)
    flat = flat[flat[:, 1] - flat[:, 0] >= PLAUSIBLE.top_rows]
    if len(flat) < 2:
        return
    reason = f"the battery never reads more than {top_v:.2f} V and stays exactly there: the logger's range ends there"
    before, after = flat[:, 0] - 1, flat[:, 1]
    entered = np.where(before >= 0, top_v - volts[np.maximum(before, 0)], 0.0) >= PLAUSIBLE.top_steps * step_v
    left = np.where(after < len(volts), top_v - volts[np.minimum(after, len(volts) - 1)], 0.0) >= PLAUSIBLE.top_steps * step_v
    cut = flat[entered | left]
    if len(cut) >= PLAUSIBLE.tops:
        within_s = view.t_s[cut[PLAUSIBLE.tops - 1 :, 0]] - view.t_s[cut[: len(cut) - PLAUSIBLE.tops + 1, 0]]
        if float(within_s.min()) <= PLAUSIBLE.tops_within_s:
            yield view.found("battery", int(cut[0, 0]), int(cut[-1, 1]), "clipped", reason)
            return
    rows = view.rows(PLAUSIBLE.flat_s, PLAUSIBLE.still_rows)
    long = flat[flat[:, 1] - flat[:, 0] >= rows]
    key_v = view.trace.channels["key_switch"].mean_v
    for (_, one_past), (two_first, two_past) in pairwise(long):
        sagged = volts[one_past:two_first] < top_v - PLAUSIBLE.moved_v * view.scale
        with_key = key_v[two_first:two_past][key_v[two_first:two_past] > 0.5 * top_v]
        key_there = len(with_key) >= rows and float((with_key == top_v).mean()) > PLAUSIBLE.key_at_top
        if sagged.any() and key_there and float(key_v.max()) == top_v:
            yield view.found("battery", int(two_first), int(two_past), "clipped", reason)
            return
