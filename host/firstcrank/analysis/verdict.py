"""From a trace to PASS, FAIL or NO VERDICT on the key-switch feed.

FAIL: a fault was seen and nothing makes the recording useless. NO VERDICT: evidence is missing or a value lies too close
to its limit. PASS: everything needed was seen and nothing failed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank.analysis import evidence
from firstcrank.analysis.causes import likely_causes
from firstcrank.analysis.checks import CHECKS, NOT_MEASURED_WITHOUT
from firstcrank.analysis.crank_detection import Turning, find_turnings
from firstcrank.analysis.crank_speed import crank_speed
from firstcrank.analysis.dropouts import find_dropouts
from firstcrank.analysis.findings import Context, Crank, Finding, Judgement, Phase, Verdict
from firstcrank.analysis.phases import OFF_BOUNCE_S, find_phases, key_times
from firstcrank.analysis.view import View, feed_of
from firstcrank.limits import Limits
from firstcrank.trace import REQUIRED_ROLES, Trace
from firstcrank.units import text_v

SHORTEST_TRACE_BINS = 10


def judge(trace: Trace, limits: Limits, context: Context) -> Judgement:
    """Judges one trace. Never raises for what a trace holds: bad evidence is NO VERDICT with its reason."""
    lacking = [role for role in REQUIRED_ROLES if role not in trace.channels]
    if lacking:
        names = " and ".join(evidence.words(role) for role in lacking)
        return _unjudged(f"no {names} lead in this recording: the key feed cannot be judged")
    if len(trace) < SHORTEST_TRACE_BINS:
        return _unjudged("the recording holds almost nothing: record again")
    view = look(trace, limits, context)
    gaps = evidence.missing(view)
    spoiled = any(gap.spoils for gap in gaps)
    findings = () if spoiled else tuple(f for check in CHECKS for f in check(view))
    verdict, reasons = _decide(view, findings, gaps)
    causes = () if spoiled else likely_causes(view, findings)
    return Judgement(
        verdict=verdict,
        reasons=reasons,
        findings=findings,
        dropouts=view.dropouts,
        phases=view.phases,
        cranks=view.cranks,
        assumptions=_assumptions(view),
        not_measured=_not_measured(view, findings),
        likely_causes=causes,
        next_check=causes[0].next_check if causes else "",
        extra={"measured_against": view.feed.against, "source": view.feed.source_role},
    )


def look(trace: Trace, limits: Limits, context: Context) -> View:
    """Finds cranks, key times, phases and dropouts of a trace that has battery and key_switch."""
    feed = feed_of(trace)
    scale = limits.system_v / 12.0
    turnings = find_turnings(trace, scale)
    key = key_times(trace, feed, limits, turnings, told_off=context.hold_on_s is not None)
    phases = find_phases(trace, feed, limits, turnings, key)
    rest_v = _rest_v(trace, key.on_s)
    unseen_s = phases[0].start_s if phases else float(trace.start_s[0])
    live_from_s = key.on_s if key.on_s is not None else unseen_s - 1e-6
    live_to_s = key.off_s - OFF_BOUNCE_S if key.off_s is not None else float(trace.end_s[-1])
    # The rise itself is not a dropout: its bin lies partly below.
    live_from_s += float(trace.end_s[0] - trace.start_s[0]) if key.on_s is not None else 0.0
    dropouts = find_dropouts(trace, feed, limits, phases, live_from_s, live_to_s)
    dropouts = tuple(d for d in dropouts if not any(a - 0.01 <= d.start_s < b for a, b in key.off_between))
    cranks = tuple(_crank(trace, limits, turning, rest_v) for turning in turnings)
    cranks = _with_speed(trace, context, cranks, phases)
    return View(trace, limits, context, feed, cranks, phases, dropouts, key.on_s, key.off_s, rest_v)


def _with_speed(trace: Trace, context: Context, cranks: tuple[Crank, ...], phases: tuple[Phase, ...]) -> tuple[Crank, ...]:
    """Each crank with its speed where the cylinders were told and the ripple supports a number, else with the reason."""
    inside = [phase for phase in phases if phase.name == "crank"]
    made = []
    for crank in cranks:
        phase = next((p for p in inside if p.start_s < crank.end_s and crank.start_s < p.end_s), None)
        begin_s, end_s = (phase.start_s, phase.end_s) if phase else (crank.start_s, crank.end_s)
        speed = crank_speed(trace, begin_s, end_s, context.cylinders)
        made.append(replace(crank, speed_rpm=speed.rpm, speed_uncertainty_rpm=speed.expanded_rpm, speed_note=speed.note))
    return tuple(made)


def _rest_v(trace: Trace, key_on_s: float | None) -> float:
    battery = trace.channels["battery"].mean_v
    early = trace.end_s <= (key_on_s if key_on_s is not None else trace.start_s[0] + 1.0)
    return float(np.median(battery[early])) if early.any() else float(np.median(battery[:10]))


def _crank(trace: Trace, limits: Limits, turning: Turning, rest_v: float) -> Crank:
    """The engine ran on where the battery is charged above its rest for the time a running engine must show."""
    battery = trace.channels["battery"].mean_v
    need_s = limits["run_on_s"]
    after = (trace.start_s >= turning.end_s + 1.5) & (trace.end_s <= turning.end_s + need_s)
    watched = trace.end_s[-1] >= turning.end_s + need_s - 0.01
    charged_v = max(rest_v + 0.3 * limits.system_v / 12.0, 13.0 * limits.system_v / 12.0)
    ran_on = bool(watched and after.any() and (battery[after] > charged_v).mean() > 0.9)
    return Crank(turning.start_s, turning.end_s, engine_ran_on=ran_on)


def _decide(view: View, findings: tuple[Finding, ...], gaps: tuple[evidence.Gap, ...]) -> tuple[Verdict, tuple[str, ...]]:
    spoiling = tuple(gap.why for gap in gaps if gap.spoils)
    if spoiling:
        return "NO VERDICT", spoiling
    why = tuple(gap.why for gap in gaps)
    if evidence.only_while_cranking(view):
        said = "the key feed is live only in START: it is connected to the START terminal, so it dies when the key returns"
        return "FAIL", (said, *_reasons(findings, "fail"))
    if evidence.never_live(view) or evidence.gone_for_good(view):
        return "NO VERDICT", why
    failed = _reasons(findings, "fail")
    # Losses while cranking need a crank; without any, what was seen in RUN still counts.
    if failed:
        return "FAIL", (*failed, *(f"also: {line}" for line in why))
    undecided = _reasons(findings, "no verdict")
    if why or undecided:
        return "NO VERDICT", (*why, *undecided)
    lowest_v = float(view.feed.lowest_v[view.in_phase("key turn", "crank", "release")].min())
    crank_s = max(c.end_s - c.start_s for c in view.cranks)
    return "PASS", (
        f"the key feed held through RUN, the turn, {crank_s:.1f} s of cranking and the release; lowest {text_v(lowest_v)}",
    )


def _reasons(findings: tuple[Finding, ...], result: str) -> tuple[str, ...]:
    """Lines of the findings that decide, the most telling phase first."""
    order = ("crank", "key turn", "release", "after", "key on", None)
    chosen = [f for f in findings if f.result == result and f.blocks]
    chosen.sort(key=lambda f: order.index(f.phase) if f.phase in order else len(order))
    return tuple(_line(f) for f in chosen)


def _line(finding: Finding) -> str:
    return finding.reason if finding.check.startswith("battery") else f"key feed, {finding.reason}"


def _assumptions(view: View) -> tuple[str, ...]:
    lines = []
    if view.context.cranked_with_key is None:
        lines.append("cranked with the vehicle's own key or start button (not asked)")
    if view.context.module_plugged_in is None:
        lines.append("the engine module was plugged in (not asked)")
    if view.context.feed_kind == "signal":
        lines.append("the key feed is a signal-level feed (use --feed loaded for one that carries real current)")
    if len(view.cranks) > 1 and any(view.cranks[0].end_s < p.start_s < view.cranks[-1].start_s for p in view.named("key off")):
        lines.append("the key was turned off between the cranks")
    return tuple(lines)


def _not_measured(view: View, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    lines = [words for role, words in NOT_MEASURED_WITHOUT.items() if role not in view.trace.channels]
    if view.feed.against == "battery negative":
        lines.append("the module's own ground: the feed was measured to battery negative")
    lines += [f.reason for f in findings if f.result == "not measured"]
    return tuple(dict.fromkeys(lines))


def _unjudged(why: str) -> Judgement:
    return Judgement("NO VERDICT", (why,), (), (), (), (), (), ())
