"""Voltage drop from the source to the module's plug: steady (mean of a phase) and brief (worst 10 ms mean)."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.decision import decide, result_of
from firstcrank.analysis.findings import Finding, Phase
from firstcrank.analysis.view import BoolArray, View
from firstcrank.units import text_v

STEADY, BRIEF = "key_feed_drop_steady", "key_feed_drop_brief"
STEADY_PHASES = ("key on", "crank", "after")
BRIEF_PHASES = ("key on", "key turn", "crank", "release", "after")
BRIEF_S = 0.010
SETTLE_S = 0.05  # after key on
SHORTEST_S = 0.1


def check_steady(view: View) -> list[Finding]:
    """One finding per phase in which the feed can be steady."""
    return [f for f in (_steady(view, name) for name in STEADY_PHASES) if f is not None]


def check_brief(view: View) -> list[Finding]:
    """One finding per phase."""
    return [f for f in (_brief(view, name) for name in BRIEF_PHASES) if f is not None]


def fail_limit_v(view: View) -> float:
    """The steady drop that fails, by the kind of feed."""
    return view.limits["feed_drop_loaded_fail_v" if view.context.feed_kind == "loaded" else "feed_drop_fail_v"]


def _chosen(view: View, name: str) -> BoolArray:
    chosen = view.in_phase(name) & view.outside_dropouts() & ~_clipped(view)
    if name == "key on" and view.key_on_s is not None:
        chosen &= view.trace.start_s >= view.key_on_s + SETTLE_S
    if view.key_off_s is not None:
        chosen &= view.trace.end_s < view.key_off_s - 1e-9  # in the last bin the key is already on its way
    # A feed below the minimum because its source is: its drop is still the feed's own.
    return chosen | (view.in_phase(name) & _following(view))


def _following(view: View) -> BoolArray:
    low = view.feed.lowest_v < view.limits["module_minimum_v"]
    return np.asarray(low & (np.abs(view.feed.drop_v) <= view.limits["feed_drop_fail_v"]))


def _clipped(view: View) -> BoolArray:
    """Bins in which source or feed read the top of its range: a difference there means nothing."""
    clipped = np.zeros(len(view.trace), dtype=bool)
    for role in (view.feed.source_role, "key_switch"):
        channel = view.trace.channels[role]
        if channel.full_scale_v is not None:
            clipped |= channel.highest_v >= channel.full_scale_v * 0.998
    return clipped


def _u_of_drop(view: View, source_v: float, feed_v: float, conversions: float) -> float:
    channels = view.trace.channels
    return uncertainty.of_difference(
        source_v,
        channels[view.feed.source_role].uncertainty,
        feed_v,
        channels["key_switch"].uncertainty,
        conversions,
    )


def _steady(view: View, name: str) -> Finding | None:
    phase = next(view.named(name), None)
    chosen = _chosen(view, name)
    span_s = view.trace.end_s - view.trace.start_s
    if phase is None or span_s[chosen].sum() < SHORTEST_S:
        return None
    source_v = float(np.average(view.feed.source_v[chosen], weights=span_s[chosen]))
    feed_v = float(np.average(view.feed.mean_v[chosen], weights=span_s[chosen]))
    if feed_v < view.limits["feed_off_v"]:
        return None  # dead throughout: the dropouts say so
    u = _u_of_drop(view, source_v, feed_v, float(view.trace.conversions[chosen].sum()))
    return _graded(view, STEADY, phase, source_v - feed_v, u, fail_limit_v(view), view.limits["feed_drop_warn_v"])


def _brief(view: View, name: str) -> Finding | None:
    phase = next(view.named(name), None)
    chosen = np.flatnonzero(_chosen(view, name))
    if phase is None or len(chosen) == 0:
        return None
    span_s = (view.trace.end_s - view.trace.start_s)[chosen]
    worst_v, at = _worst_mean(view.feed.drop_v[chosen], span_s, view.trace.start_s[chosen])
    if at is None:
        return None
    where = chosen[at]
    per_bin = float(view.trace.conversions[where])
    u = _u_of_drop(
        view,
        float(view.feed.source_v[where]),
        float(view.feed.mean_v[where]),
        per_bin * max(BRIEF_S / float(span_s[at]), 1.0),
    )
    limit_v = view.limits["feed_drop_brief_fail_v"]
    return _graded(view, BRIEF, phase, worst_v, u, limit_v, None, float(view.trace.start_s[where]))


def _worst_mean(drop_v: np.ndarray, span_s: np.ndarray, start_s: np.ndarray) -> tuple[float, int | None]:
    """Largest mean over BRIEF_S of unbroken bins, and the index of its first bin."""
    summed = np.concatenate(([0.0], np.cumsum(drop_v * span_s)))
    time = np.concatenate(([0.0], np.cumsum(span_s)))
    past = np.searchsorted(time, time[:-1] + BRIEF_S - 1e-9)
    whole = past < len(time)
    past = np.minimum(past, len(time) - 1)
    unbroken = whole & (start_s[np.maximum(past - 1, 0)] - start_s < BRIEF_S + 2 * span_s)
    if not unbroken.any():
        return 0.0, None
    mean_v = (summed[past] - summed[:-1]) / np.maximum(time[past] - time[:-1], 1e-12)
    mean_v[~unbroken] = -np.inf
    at = int(np.argmax(mean_v))
    return float(mean_v[at]), at


def _graded(
    view: View,
    check: str,
    phase: Phase,
    drop_v: float,
    u: float,
    fail_v: float,
    warn_v: float | None,
    at_s: float | None = None,
) -> Finding:
    decision = decide(drop_v, u, fail_v, "below")
    result = result_of(decision)
    if result == "pass" and warn_v is not None and drop_v + decision.expanded >= warn_v:
        result = "warn"
    kind = "steady" if check == STEADY else "brief"
    said = f"{kind} drop {text_v(drop_v)} ± {text_v(decision.expanded)} {_during(phase)}"
    if result == "no verdict":
        exact = "exactly at" if abs(drop_v - fail_v) < 5e-4 else "too close to"
        said += f": {exact} the limit of {text_v(fail_v)} to tell"
    elif result != "pass":
        said += f", limit {text_v(fail_v if result == 'fail' or warn_v is None else warn_v)}"
    if drop_v < -(0.3 * view.scale + decision.expanded):
        result = "no verdict"
        said = (
            f"the feed reads {text_v(-drop_v)} above its source {_during(phase)}: leads exchanged, or fed from another "
            "battery (clip a lead on that post and name it feed_source)"
        )
    return Finding(
        f"{check}.{phase.name.replace(' ', '_')}",
        result,
        said,
        measured=drop_v,
        uncertainty=decision.expanded,
        limit=fail_v,
        unit="V",
        at_s=phase.start_s if at_s is None else at_s,
        phase=phase.name,
        conformance=decision.conformance,
    )


def _during(phase: Phase) -> str:
    return {
        "key on": "in RUN before the crank",
        "key turn": "while the key turned to START",
        "crank": "while cranking",
        "release": "while the key went back to RUN",
        "after": "in RUN after the crank",
    }[phase.name]
