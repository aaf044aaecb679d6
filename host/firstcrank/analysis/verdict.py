"""From a trace to PASS, FAIL or NO VERDICT.

The feed's verdict is the discharge of the obligations: FAIL where one on the feed or its supply is missed and nothing makes the
recording useless, NO VERDICT where anything is undecided or not shown, PASS only where every one is discharged. The overall
verdict is the worst of the feed's and of what else was found wrong with the vehicle.
"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.causes import likely_causes
from firstcrank.analysis.checks import CHECKS, NOT_MEASURED_WITHOUT
from firstcrank.analysis.next_step import NEXT, next_step
from firstcrank.analysis.obligations.key import gone_for_good, live_anywhere, only_while_cranking
from firstcrank.analysis.obligations.recording import role_label
from firstcrank.analysis.obligations.table import discharge
from firstcrank.analysis.overall import feed_verdict, other_faults, overall, undecided_others
from firstcrank.analysis.view import View, build_view
from firstcrank.limits import Limits
from firstcrank.model.context import Context
from firstcrank.model.judgement import FeedVerdict, Finding, Judgement
from firstcrank.model.vocabulary import CheckId, Phase, Result, Verdict
from firstcrank.roles import REQUIRED_ROLES
from firstcrank.thresholds.evidence import EVIDENCE
from firstcrank.trace import Trace
from firstcrank.units import format_duration


def judge(trace: Trace, limits: Limits, context: Context) -> Judgement:
    """Judges one trace. Never raises for what a trace holds: bad evidence is NO VERDICT with its reason.

    Args:
        trace: Volts and seconds, arrays of shape (n,) for any n.
        limits: What it is compared with, in the unit of each limit.
        context: What was answered beside the recording.

    Returns:
        The overall verdict and the feed's, with every finding, dropout, phase and likely cause behind them; times in seconds from the
        start of the recording. A limit is met or missed where the value clears it by k u with k = 2 (JCGM 106:2012).
    """
    lacking = [role for role in REQUIRED_ROLES if role not in trace.channels]
    if lacking:
        names = " and ".join(role_label(role) for role in lacking)
        return _unjudged(f"no {names} lead in this recording: the key feed cannot be judged")
    if len(trace) < EVIDENCE.least_bins:
        return _unjudged("the recording holds almost nothing: record again")
    unreadable = _unreadable(trace)
    if unreadable:
        return _unjudged(unreadable)
    return judge_view(build_view(trace, limits, context))


def judge_view(view: View) -> Judgement:
    """Judges a view."""
    obligations = discharge(view)
    voided = [f for f in obligations if f.voids and f.result is not Result.PASS]
    others = () if voided else tuple(f for check in CHECKS for f in check(view))
    findings = (*obligations, *others)
    only_start = not voided and only_while_cranking(view)
    feed = _with_start_terminal(obligations) if only_start else feed_verdict(view, obligations)
    faults = other_faults(others)
    verdict, reasons = overall(feed, faults, undecided_others(others))
    causes = () if voided else likely_causes(view, findings)
    step = None if causes else next_step(verdict, findings)
    return Judgement(
        verdict=verdict,
        reasons=reasons,
        findings=findings,
        dropouts=view.dropouts,
        phases=view.intervals,
        cranks=view.cranks,
        assumptions=_assumptions(view),
        not_measured=_not_measured(view, findings),
        likely_causes=causes,
        next_check=causes[0].next_check if causes else (step.check if step else ""),
        cautions=causes[0].cautions if causes else (step.cautions if step else ()),
        extra={"measured_against": view.feed.against, "source": view.feed.source_role},
        feed=feed,
        other_faults=faults,
        tolerated=tuple(dict.fromkeys(f.tolerated for f in obligations if f.tolerated)),
        feed_account=view.account(),
    )


def _unreadable(trace: Trace) -> str:
    """Why the numbers can't be worked with; empty where they can."""
    times = (trace.start_s, trace.end_s, trace.gap_s)
    if not all(bool(np.isfinite(t).all()) for t in times):
        return "the recording holds times that are no numbers"
    if bool((trace.end_s < trace.start_s).any()) or bool((np.diff(trace.start_s) < 0).any()):
        return "the recording's times run backwards"
    if float((trace.end_s - trace.start_s).sum()) <= 0:
        return "the recording covers no time"
    for role, channel in trace.channels.items():
        if not all(bool(np.isfinite(v).all()) for v in (channel.mean_v, channel.lowest_v, channel.highest_v)):
            return f"the {role_label(role)} lead holds values that are no numbers"
    return ""


def _with_start_terminal(obligations: tuple[Finding, ...]) -> FeedVerdict:
    text = "the key feed is live only in START: it is connected to the START terminal, so it dies when the key returns"
    return FeedVerdict(Verdict.FAIL, (text,))


def _assumptions(view: View) -> tuple[str, ...]:
    lines = []
    if view.context.cranked_with_key is None:
        lines.append("cranked with the vehicle's own key or start button (not asked)")
    if view.context.module_plugged_in is None:
        lines.append("the engine module was plugged in (not asked)")
    if view.cranks and not all(crank.by_lead for crank in view.cranks):
        lines.append("the battery's rhythm was the starter turning the engine, and no other motor (no starter lead)")
    if view.feed.source_role != "battery":
        lines.append("the feed's drop counts from the feed source lead, not from the battery")
    if view.context.feed_kind == "signal":
        lines.append("the key feed is a signal-level feed (use --feed loaded for one that carries real current)")
    source = view.limits.sources.get("module_minimum_v", "")
    if source.startswith(("borrowed", "from memory")):
        lines.append(
            f"the module runs down to {view.limits['module_minimum_v']:g} V: a borrowed figure, not your engine maker's"
        )
    for off in view.key.between:
        dead_s = off.on.early_s - off.off.late_s
        lines.append(
            f"the key was turned off between the cranks (feed dead for {format_duration(dead_s)} at {off.off.at_s:.2f} s)"
        )
    return tuple(lines)


def _not_measured(view: View, findings: tuple[Finding, ...]) -> tuple[str, ...]:
    lines = [text for role, text in NOT_MEASURED_WITHOUT.items() if role not in view.trace.channels]
    if not view.feed.by_ground:
        lines.append("the module's own ground: the feed was measured to battery negative")
    lines += [f.reason for f in findings if f.result is Result.NOT_MEASURED]
    return tuple(dict.fromkeys(lines))


def _unjudged(why: str) -> Judgement:
    finding = Finding(CheckId.READABLE, Result.UNDECIDED, why, voids=True)
    feed = FeedVerdict(Verdict.NO_VERDICT, (why,))
    step = NEXT[CheckId.READABLE]
    return Judgement(
        Verdict.NO_VERDICT, (why,), (finding,), (), (), (), (), (), next_check=step.check, feed=feed, cautions=step.cautions
    )


__all__ = ["Phase", "gone_for_good", "judge", "judge_view", "live_anywhere"]
