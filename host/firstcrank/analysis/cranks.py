"""Where the starter turned the engine. A working starter lead decides; without one the battery's compressions do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.crank_sag import SagCrank, find_sag_cranks, sag_falls, suspected_cranks
from firstcrank.analysis.intervals import stretches_of
from firstcrank.model.judgement import Border
from firstcrank.thresholds import CrankThresholds
from firstcrank.thresholds.sag import SAG
from firstcrank.trace import BoolArray, FloatArray, Trace


@dataclass(frozen=True, slots=True)
class CrankInterval:
    """A stretch in which the starter coil was live (`start`, `end` are its edges with their widths).

    `sag_s`: the battery's sag began, None where it did not sag; `sag_v`: how far, mean while cranking, volts.
    """

    start: Border
    end: Border
    sag_s: float | None
    sag_v: float
    by_lead: bool

    @property
    def start_s(self) -> float:
        """The coil goes live, at the latest."""
        return self.start.late_s

    @property
    def end_s(self) -> float:
        """The coil goes dead, at the earliest."""
        return self.end.early_s


@dataclass(frozen=True, slots=True)
class Cranks:
    """What was found. `unseen_by_lead`: cranks of the battery that a starter lead, clipped on, did not show.

    `like_a_starter_s`: begins of other sags in which an engine may have turned: with a lead, it may have come off.
    """

    intervals: tuple[CrankInterval, ...]
    unseen_by_lead: tuple[SagCrank, ...] = ()
    lead_always_live: bool = False
    like_a_starter_s: tuple[float, ...] = ()


def find_cranks(trace: Trace, th: CrankThresholds) -> Cranks:
    """Every crank in time order."""
    falls_s = sag_falls(trace, th)
    if not trace.has("starter_coil"):
        sags = find_sag_cranks(trace, falls_s, th)
        unsure = suspected_cranks(trace, falls_s, [(s.start.early_s, s.end.late_s) for s in sags], th)
        return Cranks(tuple(_from_sag(sag) for sag in sags), like_a_starter_s=unsure)
    live = coil_live(trace, th)
    stretches = [s for s in stretches_of(live, trace.start_s, trace.end_s, th.coil_join_s) if s[1] - s[0] >= th.coil_shortest_s]
    always = bool(live[0]) and bool(live.mean() > 0.5)
    started = [s for s in stretches if s[0] > trace.start_s[0]]
    intervals = tuple(_from_lead(trace, begin_s, end_s, th) for begin_s, end_s in started)
    beside = tuple((i.start.early_s - SAG.beside_crank_s, i.end.late_s + SAG.beside_crank_s) for i in intervals)
    unseen = tuple(
        sag
        for sag in find_sag_cranks(trace, falls_s, th, beside)
        if not any(begin_s <= sag.end.late_s and sag.sag_s <= end_s for begin_s, end_s in beside)
    )
    begun = [*((i.start.early_s, i.end.late_s) for i in intervals), *((s.sag_s, s.end.late_s) for s in unseen)]
    return Cranks(intervals, unseen, always, suspected_cranks(trace, falls_s, begun, th))


def coil_live(trace: Trace, th: CrankThresholds) -> BoolArray:
    """Bins in which the starter lead is live, shape (n,)."""
    battery_v = trace.channels["battery"].mean_v
    full_v = th.full_battery_v
    return np.asarray(
        trace.channels["starter_coil"].mean_v > np.maximum(th.coil_live_v, th.coil_live_share * np.minimum(battery_v, full_v))
    )


def _from_sag(sag: SagCrank) -> CrankInterval:
    return CrankInterval(sag.start, sag.end, sag.sag_s, sag.sag_v, by_lead=False)


def _from_lead(trace: Trace, begin_s: float, end_s: float, th: CrankThresholds) -> CrankInterval:
    """The coil's edges are known to the bins beside them; the sag is what the battery does meanwhile."""
    first = int(np.searchsorted(trace.start_s, begin_s))
    last = int(np.searchsorted(trace.end_s, end_s))
    starts_s: FloatArray = trace.start_s
    start = Border(float(starts_s[max(first - 1, 0)]), float(trace.end_s[first]), "the starter lead goes live")
    past = min(last + 1, len(trace) - 1)
    end = Border(float(trace.start_s[last]), float(trace.end_s[past]), "the starter lead goes dead")
    battery_v = trace.channels["battery"].mean_v
    before = battery_v[int(np.searchsorted(trace.start_s, begin_s - th.level_s)) : first]
    level_v = float(np.median(before)) if len(before) else float(battery_v[0])
    inside = battery_v[first : last + 1]
    fell = np.flatnonzero(inside < level_v - th.sag_begin_v)
    sag_s = float(trace.start_s[first + fell[0]]) if len(fell) else None
    sag_v = level_v - float(np.median(inside)) if len(inside) else 0.0
    return CrankInterval(start, end, sag_s, sag_v, by_lead=True)
