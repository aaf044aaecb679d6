"""Cranks from the battery alone: an inrush, then compressions, then an abrupt rise as the starter lets go.

Never from the key feed: that is what is on trial. Without a starter lead the key's edges are known only within widths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from firstcrank.analysis.compressions import Rhythm, find_rhythm, turning_points
from firstcrank.analysis.grid import resampled, smoothed
from firstcrank.model.judgement import Border
from firstcrank.thresholds import CrankThresholds
from firstcrank.thresholds.sag import SAG
from firstcrank.trace import FloatArray, Trace

RHYTHM_S = (SAG.rhythm_early_s, SAG.rhythm_s, SAG.rhythm_late_s)


@dataclass(frozen=True, slots=True)
class SagCrank:
    """A crank seen by the battery. `start` and `end` are borders of the starter coil's live time."""

    start: Border
    end: Border
    sag_s: float
    sag_v: float


def find_sag_cranks(
    trace: Trace, falls_s: FloatArray, th: CrankThresholds, known: tuple[tuple[float, float], ...] = ()
) -> list[SagCrank]:
    """Every sag that an engine being turned explains, in time order; those that begin within `known` stretches, s, are left out.

    `falls_s`: see `sag_falls`.
    """
    battery_v = trace.channels["battery"].mean_v
    found: list[SagCrank] = []
    from_s = float(trace.start_s[0]) if len(trace) else 0.0
    for fall_s in falls_s.tolist():
        if fall_s < from_s or any(begin_s <= fall_s <= end_s for begin_s, end_s in known):
            continue
        crank, past_s = _crank_at(trace, battery_v, fall_s, th)
        if crank is not None:
            found.append(crank)
        from_s = past_s + th.inrush_s
    return found


def suspected_cranks(
    trace: Trace, falls_s: FloatArray, cranks: Sequence[tuple[float, float]], th: CrankThresholds
) -> tuple[float, ...]:
    """Begins of sags beside `cranks` (begin, end) in which an engine may have turned, all in seconds.

    As deep, long and abrupt as a starter's and with a ripple that is not regular enough to be sure; or of any depth, with an inrush and
    compressions (`_turns_at`). A heater is smooth.

    `falls_s`: see `sag_falls`.
    """
    battery_v = trace.channels["battery"].mean_v
    found: list[float] = []
    free_s = float(trace.start_s[0]) if len(trace) else 0.0
    for fall_s in falls_s.tolist():
        beside = any(begin_s - SAG.beside_crank_s <= fall_s <= end_s + SAG.beside_crank_s for begin_s, end_s in cranks)
        if fall_s < free_s or beside:
            continue
        first, early, settled, past = (
            int(np.searchsorted(trace.start_s, fall_s + after_s))
            for after_s in (th.inrush_s / 2, th.inrush_deepest_s + th.inrush_s, th.settle_s, th.like_starter_s)
        )
        if past >= len(trace):
            break
        level_v = _level_v(trace, battery_v, fall_s, th)
        next_s = min((begin_s for begin_s, _ in cranks if begin_s > fall_s), default=math.inf)
        sag_v = level_v - float(np.quantile(battery_v[settled:past], SAG.high_quantile))
        abrupt = _is_starters(np.zeros(0), battery_v[first:early], level_v, sag_v, th, sure=False)
        if (abrupt and _ripples(trace.mid_s[settled:past], battery_v[settled:past], sag_v, th)) or (
            sag_v >= th.sag_begin_v and _turns_at(trace, battery_v, fall_s, level_v, next_s, th)
        ):
            found.append(fall_s)
            free_s = fall_s + th.like_starter_s
    return tuple(found)


def sag_falls(trace: Trace, th: CrankThresholds) -> FloatArray:
    """Times before which the battery stood and after which it falls by an inrush; none where the samples are too coarse to tell."""
    if len(trace) < 8 or float(np.median(np.diff(trace.start_s))) > th.coarsest_s:
        return np.zeros(0)
    grid_s, volts = resampled(trace.mid_s, trace.channels["battery"].mean_v, th.grid_hz)
    width = max(int(th.inrush_s * th.grid_hz), 2)
    if len(grid_s) < 3 * width:
        return np.zeros(0)
    windows = np.lib.stride_tricks.sliding_window_view(volts, width)
    fell = np.median(windows[:-width], axis=1) - windows[width:].min(axis=1) >= th.inrush_v
    return np.asarray(grid_s[np.flatnonzero(fell) + width])


def _crank_at(trace: Trace, battery_v: FloatArray, fall_s: float, th: CrankThresholds) -> tuple[SagCrank | None, float]:
    """The crank that begins with this fall, or None; and when to look on. A sag refused as a whole hides no other crank."""
    level_v = _level_v(trace, battery_v, fall_s, th)
    past = int(np.searchsorted(trace.start_s, fall_s + 2 * th.inrush_s))
    near = slice(max(int(np.searchsorted(trace.end_s, fall_s - SAG.fall_slack_s)), 0), past)
    low = np.flatnonzero(battery_v[near] < level_v - th.sag_begin_v)
    if not len(low):
        return None, fall_s
    first = near.start + int(low[0])
    sag_s = float(trace.start_s[first])
    reach = _reach(trace, battery_v, first, level_v, th)
    inside = slice(int(np.searchsorted(trace.start_s, sag_s + th.settle_s)), reach)
    if inside.stop - inside.start < 8:
        return None, fall_s
    typical_v = float(np.median(battery_v[inside]))
    rhythm = find_rhythm(trace.mid_s[inside], battery_v[inside], level_v - typical_v, th)
    if rhythm is None:
        return None, fall_s
    if not _deepest_first(trace, battery_v, first, level_v, rhythm, th):
        # Compressions from the sag's begin on: a sag refused as a whole hides no other crank. Else one may begin within it.
        from_begin = rhythm.lows_s[0] <= sag_s + th.settle_s + SAG.from_begin * rhythm.period_s
        return None, rhythm.last_s if from_begin else fall_s
    end = _end(trace, battery_v, rhythm, reach, level_v, level_v - typical_v, th)
    start = Border(sag_s - th.coil_on_before_s, float(trace.end_s[first]), "the battery's sag begins")
    crank = slice(first, max(int(np.searchsorted(trace.start_s, end.early_s)), first + 1))
    sag_v = level_v - float(battery_v[crank].mean())
    early = slice(first, int(np.searchsorted(trace.start_s, sag_s + th.inrush_deepest_s)))
    if not _is_starters(battery_v[:first], battery_v[early], level_v, sag_v, th, sure=True):
        return None, end.late_s
    return SagCrank(start, end, sag_s, sag_v), end.late_s


def _turns_at(trace: Trace, battery_v: FloatArray, fall_s: float, level_v: float, next_s: float, th: CrankThresholds) -> bool:
    """Whether an inrush and then compressions follow a fall, however small the sag: a starter on a strong battery.

    `next_s`: when the next crank begins, whose compressions are its own. A fall is seen up to an inrush early.
    """
    first, settled, early = (
        int(np.searchsorted(trace.start_s, min(fall_s + s, next_s)))
        for s in (0.0, th.settle_s + th.inrush_s, th.like_starter_s)
    )
    sag_v = level_v - float(np.median(battery_v[settled:early])) if early > settled else 0.0
    if sag_v < th.sag_begin_v or level_v - float(battery_v[first:settled].min()) < th.maybe_inrush_of_sag * sag_v:
        return False
    for after_s, until_s in product((th.settle_s, th.settle_s + 2 * th.inrush_s), RHYTHM_S):
        begin, past = (int(np.searchsorted(trace.start_s, s)) for s in (fall_s + after_s, min(fall_s + until_s, next_s)))
        if past <= begin:
            continue
        volts = battery_v[begin:past]
        rhythm = find_rhythm(trace.mid_s[begin:past], volts, sag_v, th, SAG.step_noise)
        if rhythm is None or len(rhythm.lows_s) < th.swings_enough:
            continue
        if rhythm.last_s - float(rhythm.lows_s[0]) >= th.maybe_rhythm_share * float(
            trace.end_s[past - 1] - trace.start_s[begin]
        ):
            return True
    return False


def _ripples(at_s: FloatArray, volts: FloatArray, sag_v: float, th: CrankThresholds) -> bool:
    """Whether the battery swings, beside its course, by as much as a compression does."""
    grid_s, raw_v = resampled(at_s, volts, th.grid_hz)
    if len(grid_s) < 8:
        return False
    fine_v = smoothed(raw_v, round(th.smooth_s * th.grid_hz))
    course_v = np.polyval(np.polyfit(grid_s - grid_s[0], fine_v, 3), grid_s - grid_s[0])
    return float(np.ptp(fine_v - course_v)) >= max(th.swing_least_v, th.swing_of_sag * sag_v)


def _is_starters(
    before: FloatArray, early: FloatArray, level_v: float, sag_v: float, th: CrankThresholds, *, sure: bool
) -> bool:
    """Whether a starter's current explains the sag, or may: a fan or a pump takes less, and more of it as inrush."""
    least_v = th.sag_no_lead_v if sure else th.maybe_sag_v
    risen_v = (
        max(float(np.quantile(before, SAG.high_quantile)) - level_v, 0.0) if len(before) else 0.0
    )  # a heater that was on until now
    inrush_v = level_v - float(np.quantile(early, SAG.inrush_quantile)) if len(early) else 0.0
    sag_v, inrush_v = risen_v + sag_v, risen_v + inrush_v
    return sag_v >= least_v and th.inrush_no_lead_v <= inrush_v <= th.inrush_of_sag * sag_v


def _level_v(trace: Trace, battery_v: FloatArray, fall_s: float, th: CrankThresholds) -> float:
    """The battery before the fall; where a heater has gone off just before, what it then came back to."""
    past = int(np.searchsorted(trace.end_s, fall_s)) + 1
    befores = (slice(int(np.searchsorted(trace.start_s, fall_s - span_s)), past) for span_s in (th.level_s, th.inrush_s))
    return max((float(np.median(battery_v[b])) for b in befores if b.stop > b.start), default=float(battery_v[0]))


def _reach(trace: Trace, battery_v: FloatArray, first: int, level_v: float, th: CrankThresholds) -> int:
    """Index behind the last bin before the battery is back at its level, at most SAG.longest_s on."""
    last = int(np.searchsorted(trace.start_s, float(trace.start_s[first]) + SAG.longest_s))
    settled = int(np.searchsorted(trace.start_s, float(trace.start_s[first]) + th.settle_s))
    early = battery_v[settled : int(np.searchsorted(trace.start_s, float(trace.start_s[first]) + SAG.depth_s))]
    depth_v = level_v - float(np.median(early)) if len(early) else 0.0
    back = battery_v[settled:last] > level_v - max(SAG.back_share * depth_v, 0.0)
    if not back.any():
        return last
    step_s = max(float(np.median(np.diff(trace.start_s[first : last + 1]))) if last - first > 1 else SAG.back_s, 1e-6)
    need = max(round(SAG.back_s / step_s), 1)
    held = np.convolve(back.astype(np.int64), np.ones(need, dtype=np.int64), mode="valid") >= need
    at = np.flatnonzero(held)
    return settled + int(at[0]) + need if len(at) else last


def _deepest_first(
    trace: Trace, battery_v: FloatArray, first: int, level_v: float, rhythm: Rhythm, th: CrankThresholds
) -> bool:
    begin_s = float(trace.start_s[first])
    early = battery_v[first : int(np.searchsorted(trace.start_s, begin_s + th.inrush_deepest_s))]
    whole = battery_v[first : int(np.searchsorted(trace.start_s, rhythm.last_s)) + 1]
    if not len(early) or not len(whole):
        return False
    return level_v - float(early.min()) >= th.inrush_deepest_share * (level_v - float(whole.min()))


def _end(
    trace: Trace, battery_v: FloatArray, rhythm: Rhythm, reach: int, level_v: float, sag_v: float, th: CrankThresholds
) -> Border:
    """The first abrupt rise after which no compressions follow; where there is none, anywhere up to the battery's return."""
    begin = int(np.searchsorted(trace.start_s, float(rhythm.lows_s[0]) + rhythm.period_s))
    stop_s = float(trace.end_s[min(reach, len(trace)) - 1]) + SAG.beside_s
    stop = int(np.searchsorted(trace.start_s, stop_s))
    gradual = Border(min(rhythm.until_s, stop_s), stop_s, "the battery is back")
    if stop - begin < 4:
        return gradual
    after = np.minimum(np.searchsorted(trace.start_s, trace.start_s[begin:stop] + th.step_s), len(trace) - 1)
    rise = battery_v[after] - battery_v[begin:stop]
    least_v = max(th.release_least_v, th.release_of_sag * sag_v)
    for k in np.flatnonzero(rise >= least_v).tolist():
        if k + 1 < len(rise) and rise[k + 1] > rise[k]:
            continue  # the steepest point of this rise is still ahead
        i = begin + k
        at_s = float(trace.start_s[i])
        below = battery_v[int(np.searchsorted(trace.start_s, at_s - SAG.beside_s)) : i + 1]
        above = battery_v[int(after[k]) : int(np.searchsorted(trace.start_s, at_s + SAG.beside_s + th.step_s)) + 1]
        whole_v = float(np.median(above)) - float(np.median(below)) if len(above) and len(below) else 0.0
        abrupt = whole_v >= least_v and rise[k] >= th.release_share * whole_v
        if abrupt and not _turns_on(trace, battery_v, int(after[k]), rhythm, th):
            return Border(at_s - SAG.border_s, float(trace.end_s[min(int(after[k]), len(trace) - 1)]), "the battery steps up")
    return gradual


def _next_rise(trace: Trace, battery_v: FloatArray, first: int, past: int, th: CrankThresholds) -> int:
    """Index of the next abrupt rise between these two, `past` where there is none: a charger that comes on makes turning points too."""
    after = np.minimum(np.searchsorted(trace.start_s, trace.start_s[first:past] + th.step_s), len(trace) - 1)
    rises = np.flatnonzero(battery_v[after] - battery_v[first:past] >= SAG.next_rise * th.release_least_v)
    return first + int(rises[0]) if len(rises) else past


def _turns_on(trace: Trace, battery_v: FloatArray, first: int, rhythm: Rhythm, th: CrankThresholds) -> bool:
    """Whether compressions go on behind bin `first`: a heater that switched off, not the starter that let go."""
    past = int(np.searchsorted(trace.start_s, float(trace.start_s[first]) + SAG.follow_periods * rhythm.period_s))
    past = _next_rise(trace, battery_v, first, past, th)
    at_s, volts = resampled(trace.mid_s[first:past], battery_v[first:past], th.grid_hz)
    if len(at_s) < 8:
        return False
    bent = np.polyfit(at_s - at_s[0], volts, 2)
    points = turning_points(volts - np.polyval(bent, at_s - at_s[0]), SAG.follow_share * rhythm.swing_v)
    return len(points) >= SAG.follow_points
