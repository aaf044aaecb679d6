"""What the rules on causes look at, computed once from a view and its findings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.intervals import BoolArray
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Dropout, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.thresholds.cause import CAUSE

TRAVEL = (Phase.TURN, Phase.RELEASE)


@dataclass(frozen=True, slots=True)
class Symptoms:
    """What the rules look at. Shares are of the crank's time, 0 to 1, in the crank where most was lost."""

    view: View
    findings: tuple[Finding, ...]
    own: tuple[Dropout, ...]  # losses of the feed that the battery does not explain, the tolerated left out
    lost_share: float
    lost_mean_v: float
    turn: tuple[Dropout, ...]
    inside: tuple[Dropout, ...]  # counting losses that begin and end within a crank
    tracks_current: (
        float  # correlation of the feed's drop with the battery's sag while cranking, -1 to 1; above 0: with current
    )
    whole_drop_v: float  # mean of source less feed while cranking, losses and all
    coil_share: float  # what the starter's own control loses while cranking, as a share of the feed's loss; 0 without that lead
    ground_share: float  # share of the feed's drop while cranking that the module's ground explains; 0 without that lead

    def found(self, check: CheckId, *results: Result) -> Finding | None:
        """The first finding of a check with one of these results."""
        return next((f for f in self.findings if f.check is check and f.result in results), None)

    def all_found(self, check: CheckId, *results: Result) -> tuple[Finding, ...]:
        """Every finding of a check with one of these results."""
        return tuple(f for f in self.findings if f.check is check and f.result in results)

    def drop_v(self, *phases: Phase) -> float | None:
        """Median of source less feed over these phases, the largest of several intervals; None where they are too short."""
        medians = [m for p in self.view.named(*phases) if (m := _median_drop_v(self.view, p.start_s, p.end_s)) is not None]
        return max(medians, default=None)


def _median_drop_v(view: View, start_s: float, end_s: float) -> float | None:
    on_s = view.on_s if view.on_s is not None else start_s
    chosen = view.within(max(start_s, on_s + view.th.key.settle_s), end_s)
    return float(np.median(view.feed.drop_v[chosen])) if chosen.sum() >= 8 else None


def symptoms_of(view: View, findings: tuple[Finding, ...]) -> Symptoms:
    """Compute the symptoms from a view and its findings."""
    own = tuple(d for d in view.dropouts if d.kind not in ("with supply", "tolerated"))
    lost_share, lost_mean_v = _most_lost(view)
    turn = [d for d in own if d.counts and _in_travel(view, d) and not _held_low(view, d)]
    inside = [
        d
        for d in own
        if d.counts and d not in turn and any(c.start_s < d.start_s and d.end_s < c.end_s for c in view.crank_intervals)
    ]
    return Symptoms(
        view=view,
        findings=findings,
        own=own,
        lost_share=lost_share,
        lost_mean_v=lost_mean_v,
        turn=tuple(turn),
        inside=tuple(inside),
        tracks_current=_tracks_current(view),
        whole_drop_v=_whole_drop_v(view),
        coil_share=_coil_share(view),
        ground_share=_ground_share(view),
    )


def _held_low(view: View, drop: Dropout) -> bool:
    """Long and never dead: no contact that was open."""
    return drop.duration_s > CAUSE.contact_s and drop.lowest_v > view.limits["feed_live_v"]


def _in_travel(view: View, drop: Dropout) -> bool:
    """In the key's travel, across its border, or as near to START or LET GO as a relay's delay and the borders' widths allow."""
    if drop.phase in TRAVEL:
        return True
    if drop.duration_s >= CAUSE.held_s:
        return False
    if any(p in TRAVEL for p in drop.phases) and Phase.CRANK in drop.phases:
        return True
    return any(
        (c.start.early_s - CAUSE.travel_before_s <= drop.start_s <= c.start.late_s + CAUSE.late_start_s)
        or (c.end.early_s - CAUSE.near_travel_s <= drop.end_s and drop.start_s <= c.end.late_s + CAUSE.travel_before_s)
        for c in view.crank_intervals
    )


def is_contact(view: View, drop: Dropout) -> bool:
    """Whether a loss looks like a contact that opens: not held between dead and good, and deeper than the feed's usual drop there."""
    if drop.duration_s >= CAUSE.held_s and drop.lowest_v > view.limits["feed_off_v"]:
        return False
    if drop.lowest_v <= view.limits["feed_off_v"]:
        return True
    around = view.within(drop.start_s - CAUSE.around_s, drop.end_s + CAUSE.around_s) & view.in_phase(drop.phase)
    if not around.any():
        return True
    usual_v = float(np.median(view.feed.drop_v[around]))
    within = view.within(drop.start_s, drop.end_s)
    deepest_v = float(view.feed.drop_v[within].max()) if within.any() else 0.0
    return not (
        usual_v > 0.5 * view.limits["feed_drop_warn_v"]
        and deepest_v < CAUSE.shallow_share * usual_v + CAUSE.shallow_v * view.scale
    )


def _most_lost(view: View) -> tuple[float, float]:
    """Share of a crank in which the feed was lost, and its mean then, in the crank where most was."""
    best = (0.0, 0.0)
    for crank in view.crank_intervals:
        inside = view.within(crank.start_s, crank.end_s)
        lost = inside & (view.feed.mean_v < view.limits["module_minimum_v"])
        if lost.any() and float(lost.sum() / inside.sum()) > best[0]:
            best = (float(lost.sum() / inside.sum()), float(view.feed.mean_v[lost].mean()))
    return best


def steady_crank(view: View) -> BoolArray:
    """Bins of all cranks behind the first moment, shape (n,)."""
    chosen = np.zeros(len(view.trace), dtype=bool)
    for crank in view.crank_intervals:
        begin_s = crank.sag_s if crank.sag_s is not None else crank.start_s
        chosen |= view.within(begin_s + CAUSE.crank_settle_s, crank.end_s)
    return chosen


def _tracks_current(view: View) -> float:
    """A bad joint that carries the starter's current drops more the lower the battery is; one in the feed alone does not."""
    chosen = steady_crank(view) & (view.feed.mean_v > view.limits["feed_off_v"])
    if chosen.sum() < CAUSE.least_bins:
        return 0.0
    drop, sag = view.feed.drop_v[chosen], -view.trace.channels["battery"].mean_v[chosen]
    if np.std(drop) < CAUSE.least_deviation_v or np.std(sag) < CAUSE.least_deviation_v:
        return 0.0
    return float(np.corrcoef(drop, sag)[0, 1])


def _whole_drop_v(view: View) -> float:
    chosen = steady_crank(view)
    return float(view.feed.drop_v[chosen].mean()) if chosen.any() else 0.0


def _coil_share(view: View) -> float:
    """Near 1: feed and starter control lose the same, so the loss lies before the switch. A contact in the feed leaves the coil alone."""
    chosen = steady_crank(view)
    feed_v = _whole_drop_v(view)
    if not view.trace.has("starter_coil") or not chosen.any() or feed_v < view.limits["feed_drop_warn_v"]:
        return 0.0
    battery_v, coil_v = (view.trace.channels[role].mean_v[chosen] for role in ("battery", "starter_coil"))
    return float((battery_v - coil_v).mean()) / feed_v


def _ground_share(view: View) -> float:
    if not view.trace.has("module_ground"):
        return 0.0
    chosen = steady_crank(view)
    if not chosen.any():
        return 0.0
    drop_v = float(view.feed.drop_v[chosen].mean())
    return float(view.trace.channels["module_ground"].mean_v[chosen].mean()) / drop_v if drop_v > CAUSE.least_v else 0.0
