"""Obligations on losses of the feed: none that counts in any phase, and not too many that are too short to count."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.feed import expanded_of_feed
from firstcrank.analysis.obligations.recording import lacking
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Dropout, Finding, Interval
from firstcrank.model.measured import COVERAGE, Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.units import format_duration, format_voltage

WHERE = {
    Phase.KEY_OFF: "with the key off",
    Phase.KEY_ON: "with the key ON before the crank",
    Phase.TURN: "while the key turned to START",
    Phase.CRANK: "in START, while cranking",
    Phase.RELEASE: "while the key came back from START",
    Phase.AFTER: "with the key ON after the crank",
}
KIND_ORDER = {"counts": 0, "undecided": 1, "with supply": 2, "short": 3, "tolerated": 4}


def overlaps(drop: Dropout, interval: Interval) -> bool:
    """Whether a loss touches an interval."""
    return drop.start_s < interval.end_s and drop.start_s + max(drop.duration_s, 1e-9) > interval.start_s


def none_counts(view: View, interval: Interval) -> Finding:
    """No loss of the feed's own that counts touches this phase; each loss is told whole, from its start to its end."""
    mine = [d for d in view.dropouts if overlaps(d, interval) and d.kind != "with supply"]
    worst = min(mine, key=lambda d: (KIND_ORDER[d.kind], -d.duration_s), default=None)
    if worst is not None and worst.kind == "counts":
        return _finding(view, interval, Result.FAIL, lost(worst), worst)
    if worst is not None and worst.kind == "undecided":
        why = view.losses.why_undecided.get(worst.start_s, "it cannot be decided")
        return _finding(view, interval, Result.UNDECIDED, f"{lost(worst)}: {why}", worst)
    near = _near(view, interval)
    if near is not None:
        return near
    inside = view.within(interval.start_s, interval.end_s) & ~view.tolerated_bins()
    if view.on_s is not None:
        inside &= view.trace.start_s >= view.on_s
    tolerated = _tolerated(view, interval, mine)
    if not inside.any() and not mine:
        if interval.end_s - interval.start_s < view.limits["dropout_min_s"]:
            return _finding(view, interval, Result.PASS, f"{_where(interval)}: too short to hold a loss", None)
        return lacking(
            CheckId.FEED_DROPOUT, f"the feed was not shown {_where(interval)}", at_s=interval.start_s, crank=interval.crank
        )
    lowest_v = float(view.feed.lowest_v[inside].min(initial=np.inf))
    low = f", lowest {format_voltage(lowest_v)}" if np.isfinite(lowest_v) else ""
    short = [d for d in mine if d.kind == "short"]
    text = f"{_where(interval)}: no dropout that counts{low}"
    if short:
        text += f"; {len(short)} too short to count, the longest {format_duration(max(d.duration_s for d in short))}"
    result = Result.WARN if short or tolerated else Result.PASS
    return _finding(view, interval, result, text + (f"; {tolerated}" if tolerated else ""), worst, tolerated)


def lost(drop: Dropout) -> str:
    """One loss, whole, in plain words."""
    span = f"{drop.start_s:.3f} to {drop.end_s:.3f} s" if drop.duration_s >= 0.1 else f"at {drop.start_s:.3f} s"
    crossed = ", ".join(WHERE[p] for p in drop.phases[:1]) if len(drop.phases) < 2 else _across(drop)
    return f"lost for {format_duration(drop.duration_s)} ({span}), down to {format_voltage(drop.lowest_v)}, {crossed}"


def _across(drop: Dropout) -> str:
    names = {
        Phase.KEY_ON: "ON",
        Phase.TURN: "turn to START",
        Phase.CRANK: "START",
        Phase.RELEASE: "release",
        Phase.AFTER: "ON after",
    }
    return "from " + " through ".join(names.get(p, str(p)) for p in drop.phases)


def _tolerated(view: View, interval: Interval, mine: list[Dropout]) -> str:
    lines = []
    for bounce in view.losses.bounces:
        if any(d.kind == "tolerated" and bounce.start_s - 1e-9 <= d.start_s <= bounce.end_s for d in mine):
            lines.append(
                f"one bounce of {format_duration(bounce.end_s - bounce.start_s)} {bounce.window.name} at {bounce.start_s:.3f} s"
            )
    return "; ".join(lines)


def _near(view: View, interval: Interval) -> Finding | None:
    """A feed that may be below the minimum for as long as counts is undecided, unless a supply dip explains it (see there)."""
    for start_s, end_s in view.near_limit:
        if start_s < interval.end_s and end_s > interval.start_s and not _dips_with_source(view, start_s, end_s):
            minimum_v = view.limits["module_minimum_v"]
            inside = view.within(start_s, end_s)
            low_v = float(view.feed.lowest_v[inside].min())
            guard_v = expanded_of_feed(view.trace, view.feed, minimum_v, 1.0)
            text = (
                f"{_where(interval)}: {format_voltage(low_v)} at {start_s:.3f} s is too close to the module's "
                f"minimum of {format_voltage(minimum_v)} "
                f"to tell (± {format_voltage(guard_v)})"
            )
            value = Measured(low_v, guard_v / COVERAGE, "V")
            return Finding(
                CheckId.FEED_DROPOUT, Result.UNDECIDED, text, value, minimum_v, start_s, interval.name, interval.crank, 0.5
            )
    return None


def _dips_with_source(view: View, start_s: float, end_s: float) -> bool:
    """Within a crank, short approaches to the minimum in which the feed follows its source are the supply's, with its dips."""
    crank = next((c for c in view.crank_intervals if c.start.early_s <= start_s and end_s <= c.end.late_s), None)
    if crank is None:
        return False
    dips = [s for s in view.near_limit if crank.start.early_s <= s[0] and s[1] <= crank.end.late_s]
    dips += [
        (d.start_s, d.end_s)
        for d in view.dropouts
        if d.kind == "with supply" and d.start_s < crank.end.late_s and d.end_s > crank.start.early_s
    ]
    if sum(b - a for a, b in dips) > view.limits["supply_dip_max_s"]:
        return False
    inside = view.within(start_s, end_s)
    return bool((view.feed.drop_v[inside] <= view.limits["feed_drop_fail_v"]).all())


def short_together(view: View) -> Finding:
    """Losses too short to count alone: their total time and their number, from ON to OFF."""
    limit_s = view.limits["dropout_total_max_s"]
    short = [d for d in view.dropouts if d.kind == "short"]
    more, more_s = view.hidden_losses(short)
    least_s, most_s = sum(d.duration_low_s for d in short), sum(d.duration_high_s for d in short) + more_s
    best_s = sum(d.duration_s for d in short)
    value = Measured(best_s, (most_s - least_s) / (2 * COVERAGE), "s")
    check = CheckId.FEED_SHORT_LOSSES
    if not short:
        return Finding(check, Result.PASS, "no losses too short to count", value, limit_s)
    where = f"{len(short)} loss{'es' if len(short) > 1 else ''} too short to count alone, {format_duration(best_s)} in all"
    if more and (most_s > limit_s >= most_s - more_s or len(short) <= view.th.feed.short_most < len(short) + more):
        where += f", and about {more} more that lie too close beside them to be told apart"
    first = short[0]
    if least_s > limit_s:
        text = f"{where}: more than the {format_duration(limit_s)} allowed together"
        return Finding(check, Result.FAIL, text, value, limit_s, first.start_s, first.phase)
    if most_s > limit_s:
        text = f"{where}: too close to the {format_duration(limit_s)} allowed together to tell"
        return Finding(check, Result.UNDECIDED, text, value, limit_s, first.start_s, first.phase)
    if len(short) + more > view.th.feed.short_most:
        text = f"{where}: so many are no chance, and none is long enough to be sure of"
        return Finding(check, Result.UNDECIDED, text, value, limit_s, first.start_s, first.phase)
    return Finding(check, Result.WARN, where, value, limit_s, first.start_s, first.phase, tolerated=where)


def _finding(view: View, interval: Interval, result: Result, reason: str, drop: Dropout | None, tolerated: str = "") -> Finding:
    value = Measured(0.0, 0.0, "s")
    if drop is not None:
        value = Measured(drop.duration_s, (drop.duration_high_s - drop.duration_low_s) / (2 * COVERAGE), "s")
    return Finding(
        CheckId.FEED_DROPOUT,
        result,
        reason,
        value,
        view.limits["dropout_min_s"],
        drop.start_s if drop else interval.start_s,
        interval.name,
        interval.crank,
        tolerated=tolerated,
    )


def _where(interval: Interval) -> str:
    return WHERE[interval.name]
