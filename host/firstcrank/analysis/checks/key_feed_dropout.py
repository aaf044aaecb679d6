"""Dropouts of the key feed, phase by phase: below the module's minimum for longer than the shortest that counts."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.dropouts import total_below_s
from firstcrank.analysis.findings import Dropout, Finding, Phase, Result
from firstcrank.analysis.view import View
from firstcrank.units import text_s, text_v

ID = "key_feed_dropout"
JUDGED = ("key on", "key turn", "crank", "release", "after")
TRAVEL = ("key turn", "release")  # contacts may bounce once while the key travels
RISE_BOUNCE_S = 0.1  # and while the key comes on


def check(view: View) -> list[Finding]:
    """One finding per phase that occurs."""
    findings = []
    for name in JUDGED:
        phases = list(view.named(name))
        if phases:
            findings.append(_worst([_judge_phase(view, phase) for phase in phases]))
    return findings


def follows_source(view: View, drop: Dropout) -> bool:
    """True where the feed went low because its source did: the difference stays within the steady drop limit."""
    first = np.searchsorted(view.trace.end_s, drop.start_s, side="right")
    last = np.searchsorted(view.trace.start_s, drop.start_s + drop.duration_s, side="left")
    bins = slice(int(first), max(int(last), int(first) + 1))
    source_v, drop_v = view.feed.source_v[bins], view.feed.drop_v[bins]
    if not len(source_v):
        return False
    worst = int(np.argmin(view.feed.mean_v[bins]))
    allowed_v = view.limits["feed_drop_fail_v"]
    return bool(
        source_v[worst] < view.limits["module_minimum_v"] + allowed_v
        and drop_v[worst] <= allowed_v
        and float(view.feed.highest_v[bins].min() - view.feed.lowest_v[bins].min()) < 4 * allowed_v
    )


def _judge_phase(view: View, phase: Phase) -> Finding:
    limit_s = view.limits["dropout_min_s"]
    mine = [_clipped_to(drop, phase) for drop in view.dropouts if _overlaps(drop, phase)]
    feed_own = [drop for drop in mine if not follows_source(view, drop)]
    with_source = [drop for drop in mine if drop not in feed_own and drop.duration_high_s >= limit_s]
    if not feed_own:
        grazing = _grazes_minimum(view, phase)
        if grazing is not None:
            return grazing
        if with_source:
            worst = max(with_source, key=lambda d: d.duration_s)
            reason = (
                f"below {text_v(view.limits['module_minimum_v'])} for {text_s(worst.duration_s)}, but only because the "
                "battery was: the feed follows it"
            )
            return _finding(view, phase, "warn", reason, worst)
        settled_s = phase.start_s + (RISE_BOUNCE_S if phase.name == "key on" else 0.0)
        low_v = float(view.feed.lowest_v[view.within(settled_s, phase.end_s)].min(initial=np.inf))
        lowest = f", lowest {text_v(low_v)}" if np.isfinite(low_v) else ""
        return _finding(view, phase, "pass", f"no dropout{lowest}", None)
    if phase.name in TRAVEL:
        return _judge_travel(view, phase, feed_own)
    settled = [d for d in feed_own if not _rise_bounce(view, d)]
    if not settled:
        worst = max(feed_own, key=lambda d: d.duration_s)
        return _finding(view, phase, "warn", f"bounced for {text_s(worst.duration_s)} as the key came on", worst)
    worst = max(settled, key=lambda d: d.duration_low_s)
    if _too_shallow(view, worst):
        return _finding(view, phase, "no verdict", _shallow(view, worst), worst)
    if worst.duration_low_s > limit_s:
        return _finding(view, phase, "fail", _lost(view, worst), worst)
    if max(d.duration_high_s for d in settled) >= limit_s:
        reason = f"a dropout of {_bounds(worst)} may or may not be longer than the {text_s(limit_s)} that counts"
        return _finding(view, phase, "no verdict", reason, worst)
    return _judge_total(view, phase, settled, worst)


def _judge_total(view: View, phase: Phase, short: list[Dropout], worst: Dropout) -> Finding:
    """Many dropouts too short to count alone count by their total time."""
    limit_s = view.limits["dropout_total_max_s"]
    low_s, high_s = total_below_s(
        view.trace, view.feed, view.limits["module_minimum_v"], view.within(phase.start_s, phase.end_s)
    )
    least_s = max(low_s, sum(d.duration_low_s for d in short))
    best_s = sum(d.duration_s for d in short)
    where = f"{len(short)} short dropouts, {text_s(best_s)} in all"
    if least_s > limit_s or (best_s > limit_s and len(short) >= view.limits["chatter_count"]):
        return _finding(view, phase, "fail", f"{where}: more than the {text_s(limit_s)} allowed together", worst)
    if max(high_s, best_s) > limit_s and best_s > 0.5 * limit_s:
        return _finding(view, phase, "no verdict", f"{where}: too close to the {text_s(limit_s)} allowed", worst)
    plural = "s" if len(short) > 1 else ""
    reason = f"{len(short)} dropout{plural} too short to count, the longest {text_s(worst.duration_s)}"
    return _finding(view, phase, "warn", reason, worst)


def _judge_travel(view: View, phase: Phase, drops: list[Dropout]) -> Finding:
    """While the key travels one short bounce only warns; its contacts may open several times within it."""
    limit_s, bounce_s = view.limits["dropout_min_s"], view.limits["turn_bounce_max_s"]
    worst = max(drops, key=lambda d: d.duration_low_s)
    if _too_shallow(view, worst):
        return _finding(view, phase, "no verdict", _shallow(view, worst), worst)
    first_s, last = min(d.start_s for d in drops), max(drops, key=lambda d: d.start_s)
    whole_s = last.start_s + last.duration_s - first_s
    slack_s = worst.duration_high_s - worst.duration_s
    if max(d.duration_high_s for d in drops) < limit_s:
        return _judge_total(view, phase, drops, worst)
    if whole_s + slack_s < bounce_s:
        return _finding(view, phase, "warn", f"one bounce of {text_s(whole_s)} while the key turned", worst)
    if whole_s - slack_s < bounce_s:
        reason = f"a bounce of {text_s(whole_s)} may or may not be longer than the {text_s(bounce_s)} allowed"
        return _finding(view, phase, "no verdict", reason, worst)
    counting = [d for d in drops if d.duration_low_s > limit_s]
    if not counting:
        return _judge_total(view, phase, drops, worst)
    return _finding(view, phase, "fail", _lost(view, worst), worst)


def _rise_bounce(view: View, drop: Dropout) -> bool:
    if view.key_on_s is None:
        return False
    in_time = drop.start_s + drop.duration_s < view.key_on_s + RISE_BOUNCE_S
    return in_time and drop.duration_high_s < view.limits["turn_bounce_max_s"]


def _grazes_minimum(view: View, phase: Phase) -> Finding | None:
    """A feed held above the minimum by less than its uncertainty, for long enough to count, is undecided."""
    inside = view.within(phase.start_s, phase.end_s)
    minimum_v = view.limits["module_minimum_v"]
    guard_v = _guard(view, minimum_v)
    low = inside & (view.feed.mean_v < minimum_v + guard_v) & (view.feed.lowest_v >= minimum_v - guard_v)
    low &= view.feed.mean_v >= minimum_v - guard_v
    span_s = float((view.trace.end_s - view.trace.start_s)[low].sum())
    if span_s < view.limits["dropout_min_s"]:
        return None
    at = int(np.flatnonzero(low)[0])
    reason = (
        f"{text_v(float(view.feed.mean_v[low].min()))} is too close to the module's minimum of {text_v(minimum_v)} to "
        f"tell (± {text_v(guard_v)})"
    )
    return Finding(
        ID + _suffix(phase),
        "no verdict",
        _where(phase) + reason,
        measured=float(view.feed.mean_v[low].min()),
        uncertainty=guard_v,
        limit=minimum_v,
        unit="V",
        at_s=float(view.trace.start_s[at]),
        phase=phase.name,
        conformance=0.5,
    )


def _guard(view: View, volts: float) -> float:
    return 2.0 * uncertainty.of_voltage(volts, view.trace.channels["key_switch"].uncertainty, 16)


def _too_shallow(view: View, drop: Dropout) -> bool:
    """The lowest single conversion must clear the minimum by the expanded uncertainty."""
    u = uncertainty.of_voltage(drop.lowest_v, view.trace.channels["key_switch"].uncertainty)
    return drop.lowest_v > view.limits["module_minimum_v"] - 2.0 * u


def _shallow(view: View, drop: Dropout) -> str:
    return (
        f"went to {text_v(drop.lowest_v)} for {text_s(drop.duration_s)}: too close to the module's minimum of "
        f"{text_v(view.limits['module_minimum_v'])} to tell"
    )


def _lost(view: View, drop: Dropout) -> str:
    return f"lost for {text_s(drop.duration_s)} at {drop.start_s:.3f} s, down to {text_v(drop.lowest_v)}"


def _bounds(drop: Dropout) -> str:
    return f"{text_s(drop.duration_low_s)} to {text_s(drop.duration_high_s)}"


def _overlaps(drop: Dropout, phase: Phase) -> bool:
    return drop.start_s < phase.end_s and drop.start_s + max(drop.duration_s, 1e-9) > phase.start_s


def _clipped_to(drop: Dropout, phase: Phase) -> Dropout:
    """The part of a dropout inside a phase; one that begins and ends in it is unchanged."""
    end_s = drop.start_s + drop.duration_s
    start_s, stop_s = max(drop.start_s, phase.start_s), min(end_s, phase.end_s)
    lost_s = drop.duration_s - max(stop_s - start_s, 0.0)
    return Dropout(
        drop.role,
        phase.name,
        start_s,
        max(drop.duration_s - lost_s, 0.0),
        max(drop.duration_low_s - lost_s, 0.0),
        max(drop.duration_high_s - lost_s, 0.0),
        drop.lowest_v,
        drop.counts,
    )


def _finding(view: View, phase: Phase, result: Result, reason: str, worst: Dropout | None) -> Finding:
    return Finding(
        ID + _suffix(phase),
        result,
        _where(phase) + reason,
        measured=worst.duration_s if worst else 0.0,
        uncertainty=(worst.duration_high_s - worst.duration_low_s) / 2 if worst else None,
        limit=view.limits["dropout_min_s"],
        unit="s",
        at_s=worst.start_s if worst else phase.start_s,
        phase=phase.name,
    )


def _suffix(phase: Phase) -> str:
    return "." + phase.name.replace(" ", "_")


def _where(phase: Phase) -> str:
    said = {
        "key on": "in RUN before the crank: ",
        "key turn": "while the key turned to START: ",
        "crank": "in START, while cranking: ",
        "release": "while the key went back to RUN: ",
        "after": "in RUN after the crank: ",
    }
    return said[phase.name]


def _worst(findings: list[Finding]) -> Finding:
    order = {"fail": 0, "no verdict": 1, "warn": 2, "pass": 3, "not measured": 4}
    return min(findings, key=lambda f: (order[f.result], -(f.measured or 0.0)))
