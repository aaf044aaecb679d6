"""The verdict to expect of a start, worked out from its circuit with the limits and never by the judge.

The rules are evaluated three times: as they are, with everything eased by the stated uncertainty (what is still broken is
certainly broken) and with everything tightened by twice that (what is still whole clears every limit clearly).
"""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.analysis import uncertainty
from firstcrank.calibration import Calibration
from firstcrank.limits import Limits
from firstcrank.trace import Uncertainty
from firstcrank_sim.vehicle.truth import TrueDropout, Truth
from firstcrank_sim.vehicle.waveform import combine

RISE_S = 0.1  # contacts may bounce as the key comes on
SETTLE_S = 0.05
TRAVEL = ("key turn", "release")
STEADY = ("key on", "crank", "after")
BRIEF_S = 0.010
K = 2.0


@dataclass(frozen=True, slots=True)
class Violation:
    """A limit that the true circuit breaks. `check` is the id the judge uses, with its phase."""

    check: str
    phase: str
    value: float
    limit: float


@dataclass(frozen=True, slots=True)
class Slack:
    """How far limits are moved: positive eases. Volts for the module's minimum and for a drop, seconds for a duration."""

    level_v: float = 0.0
    drop_v: float = 0.0
    time_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Grade:
    """`expected_verdict` is "FAIL" (breaks a limit by more than the stated uncertainty), "PASS" (clears all by twice that), "NEAR"
    or "NO VERDICT" (the start cannot prove anything). `certain`: the violations that make it a FAIL.
    """

    expected_verdict: str
    certain: tuple[Violation, ...]
    possible: tuple[Violation, ...]


def grade(truth: Truth, limits: Limits, calibration: Calibration, time_s: float = 5e-5) -> Grade:
    """Grades a start as seen with `calibration`; `time_s` is the uncertainty of a dropout's duration."""
    key, source = (calibration.channel(role).uncertainty for role in ("key_switch", "battery"))
    level_v = K * uncertainty.of_voltage(limits["module_minimum_v"], key)
    drop_v = K * _u_drop(limits.system_v * 1.03, key, source)
    certain = violations(truth, limits, Slack(level_v, drop_v, time_s))
    possible = violations(truth, limits, Slack(-2 * level_v, -2 * drop_v, -2 * time_s))
    if truth.expected == "NO VERDICT":
        return Grade("NO VERDICT", certain, possible)
    crank_s = truth.crank_s
    lasted_s = crank_s[1] - crank_s[0] if crank_s else 0.0
    ran_on = truth.schedule.fire_s < truth.end_s
    if certain:
        return Grade("FAIL", certain, possible)
    if not ran_on and lasted_s < limits["crank_min_s"] + 0.1:
        return Grade("NO VERDICT" if lasted_s < limits["crank_min_s"] - 0.1 else "NEAR", certain, possible)
    return Grade("NEAR" if possible else "PASS", certain, possible)


def _u_drop(volts: float, key: Uncertainty, source: Uncertainty) -> float:
    return uncertainty.of_difference(volts, source, volts, key, 1e4)


def violations(truth: Truth, limits: Limits, slack: Slack) -> tuple[Violation, ...]:
    """Limits of the key feed and its supply that the true circuit breaks once they are moved by `slack`."""
    below_v = limits["module_minimum_v"] - slack.level_v
    drops = truth.dropouts(below_v, limits["feed_drop_fail_v"])
    found = [v for phase in truth.phases() for v in _lost(truth, phase, drops, limits, slack)]
    if not _start_terminal(truth):
        found += _steady(truth, limits, slack) + _brief(truth, limits, slack)
    return tuple(found)


def _start_terminal(truth: Truth) -> bool:
    """A feed dead outside START has no drop to speak of."""
    on_s, leave_s = truth.phases()["key on"]
    return leave_s > on_s and truth.feed().highest(on_s + (leave_s - on_s) / 2, leave_s) < 0.25 * truth.system_v


def _lost(truth: Truth, phase: str, drops: tuple[TrueDropout, ...], limits: Limits, slack: Slack) -> list[Violation]:
    shortest_s = limits["dropout_min_s"]
    mine = [d for d in drops if d.phase == phase]
    rise_s = truth.schedule.on_s + RISE_S
    own = [
        d
        for d in mine
        if not d.follows and not (d.start_s + d.duration_s < rise_s and d.duration_s < limits["turn_bounce_max_s"])
    ]
    whole = _merged([(d.start_s, d.start_s + d.duration_s) for d in own], shortest_s)
    lasts = [b - a for a, b in whole]
    found = []
    with_source = [d.duration_s for d in mine if d.follows]
    if with_source and max(with_source) > shortest_s + slack.time_s:
        found.append(Violation("battery_minimum", phase, max(with_source), shortest_s))
    if not lasts:
        return found
    if phase in TRAVEL:
        span_s = whole[-1][1] - whole[0][0]
        if span_s > limits["turn_bounce_max_s"] + slack.time_s and max(lasts) > shortest_s + slack.time_s:
            found.append(Violation("key_feed_dropout", phase, max(lasts), shortest_s))
    elif max(lasts) > shortest_s + slack.time_s:
        found.append(Violation("key_feed_dropout", phase, max(lasts), shortest_s))
    elif sum(lasts) > limits["dropout_total_max_s"] + len(lasts) * slack.time_s:
        found.append(Violation("key_feed_dropout", phase, sum(lasts), limits["dropout_total_max_s"]))
    return found


def _merged(stretches: list[tuple[float, float]], gap_s: float) -> list[tuple[float, float]]:
    joined: list[tuple[float, float]] = []
    for start_s, end_s in stretches:
        if joined and start_s - joined[-1][1] < gap_s:
            joined[-1] = (joined[-1][0], end_s)
        else:
            joined.append((start_s, end_s))
    return joined


def true_drops(truth: Truth, limits: Limits) -> dict[str, float]:
    """Source minus feed, mean over each steady phase outside dropouts, volts; phases shorter than 0.1 s left out."""
    feed, source = truth.feed(), truth.source()
    lost = [
        (d.start_s - 0.001, d.start_s + d.duration_s + 0.001)
        for d in truth.dropouts(limits["module_minimum_v"], limits["feed_drop_fail_v"])
        if not d.follows
    ]
    drops = {}
    for phase, (start_s, end_s) in truth.phases().items():
        if phase not in STEADY:
            continue
        parts = _without(start_s + (SETTLE_S if phase == "key on" else 0.0), end_s, lost)
        total_s = sum(b - a for a, b in parts)
        if total_s < 0.1:
            continue
        gap = sum((source.mean(a, b) - feed.mean(a, b)) * (b - a) for a, b in parts)
        drops[phase] = gap / total_s
    return drops


def _without(start_s: float, end_s: float, lost: list[tuple[float, float]]) -> list[tuple[float, float]]:
    parts, at_s = [], start_s
    for a, b in sorted(lost):
        if a > at_s:
            parts.append((at_s, min(a, end_s)))
        at_s = max(at_s, b)
    parts.append((at_s, end_s))
    return [(a, b) for a, b in parts if b - a > 1e-4]


def _steady(truth: Truth, limits: Limits, slack: Slack) -> list[Violation]:
    loaded = truth.context.feed_kind == "loaded"
    limit_v = limits["feed_drop_loaded_fail_v" if loaded else "feed_drop_fail_v"]
    return [
        Violation("key_feed_drop_steady", phase, drop_v, limit_v)
        for phase, drop_v in true_drops(truth, limits).items()
        if drop_v > limit_v + slack.drop_v
    ]


def _brief(truth: Truth, limits: Limits, slack: Slack) -> list[Violation]:
    """Worst 10 ms mean of source minus feed outside dropouts."""
    limit_v = limits["feed_drop_brief_fail_v"]
    feed, source = truth.feed(), truth.source()
    lost = [
        (d.start_s - 0.001, d.start_s + d.duration_s + 0.001)
        for d in truth.dropouts(limits["module_minimum_v"], limits["feed_drop_fail_v"])
    ]
    found = []
    gap = combine(source, feed, -1.0)
    for phase, (start_s, end_s) in truth.phases().items():
        if phase == "key off":
            continue
        parts = _without(start_s + (SETTLE_S if phase == "key on" else 0.0), end_s, lost)
        worst_v = max((gap.worst_mean(BRIEF_S, a, b) for a, b in parts if b - a >= BRIEF_S), default=0.0)
        if worst_v > limit_v + slack.drop_v:
            found.append(Violation("key_feed_drop_brief", phase, worst_v, limit_v))
    return found
