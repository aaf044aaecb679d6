"""What the judgement says around the findings: recordings that can't be read, assumptions, the headline, the worst of both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.finding import compared
from firstcrank.analysis.key import OffTime
from firstcrank.analysis.overall import feed_verdict, other_faults, overall, undecided_others
from firstcrank.analysis.verdict import judge
from firstcrank.analysis.view import View
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.model.judgement import FeedVerdict, Finding, Judgement
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result, Scope, Verdict
from firstcrank.trace import Trace
from tests.aim.maker import Made, Setup

from .plain_view import a_battery, border, loss, plain_view

STARTER = a_battery() * ((np.arange(2048) >= 768) & (np.arange(2048) < 1280))


def start() -> Trace:
    """A sound start with a starter lead."""
    return plain_view(starter_coil=STARTER).trace


def judged(trace: Trace, **context: object) -> Judgement:
    """Its judgement with these answers."""
    return judge(trace, shipped(12), Context(**context))  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["start_s", "end_s", "gap_s"])
def test_times_that_are_no_numbers_are_no_verdict(field: str) -> None:
    values = getattr(start(), field).copy()
    values[5] = np.nan
    result = judged(replace(start(), **{field: values}))
    assert result.verdict is Verdict.NO_VERDICT
    assert result.feed.verdict is Verdict.NO_VERDICT
    assert result.reasons == ("the recording holds times that are no numbers",)
    assert result.next_check
    (finding,) = result.findings
    assert (finding.check, finding.result, finding.voids) == (CheckId.READABLE, Result.UNDECIDED, True)


@pytest.mark.parametrize("field", ["mean_v", "lowest_v", "highest_v"])
@pytest.mark.parametrize("role", ["battery", "starter_coil"])
def test_volts_that_are_no_numbers_are_no_verdict(role: str, field: str) -> None:
    trace = start()
    channel = trace.channels[role]
    values = getattr(channel, field).copy()
    values[-1] = np.inf
    result = judged(replace(trace, channels={**trace.channels, role: replace(channel, **{field: values})}))
    assert result.verdict is Verdict.NO_VERDICT
    assert "values that are no numbers" in result.reasons[0]


def test_times_that_run_backwards_or_cover_nothing_are_no_verdict() -> None:
    trace = start()
    back = trace.start_s.copy()
    back[10] = back[8]
    assert "backwards" in judged(replace(trace, start_s=back)).reasons[0]
    ends = trace.end_s.copy()
    ends[10] = trace.start_s[10] - 0.1
    assert "backwards" in judged(replace(trace, end_s=ends)).reasons[0]
    assert "no time" in judged(replace(trace, end_s=trace.start_s)).reasons[0]


def test_what_was_not_asked_is_an_assumption() -> None:
    asked = judged(start(), cranked_with_key=True, module_plugged_in=True, feed_kind="loaded").assumptions
    unasked = judged(start()).assumptions
    assert not any("not asked" in line or "signal-level" in line for line in asked)
    assert sum("not asked" in line for line in unasked) == 2
    assert any("signal-level" in line for line in unasked)
    assert any("borrowed figure" in line for line in unasked) is shipped(12).sources["module_minimum_v"].startswith(
        ("borrowed", "from memory")
    )


def test_what_a_lead_would_have_shown_is_an_assumption() -> None:
    made = Made(Setup(lead=False)).bins()
    assert any("no other motor" in line for line in judged(made).assumptions)
    assert not any("no other motor" in line for line in judged(Made().bins()).assumptions)
    sourced = plain_view(starter_coil=STARTER, feed_source=a_battery()).trace
    assert any("from the feed source lead" in line for line in judged(sourced).assumptions)
    assert not any("from the feed source lead" in line for line in judged(start()).assumptions)


def test_what_was_not_measured_is_told() -> None:
    lines = judged(start()).not_measured
    assert any("heater" in line for line in lines)
    assert any("module's own ground" in line for line in lines)


# --- the headline


def finding(check: CheckId, result: Result, phase: Phase | None = Phase.CRANK, **more: object) -> Finding:
    """One obligation's finding."""
    return Finding(check, result, f"{check} {phase}", phase=phase, **more)  # type: ignore[arg-type]


def verdict(*findings: Finding, view: View | None = None) -> FeedVerdict:
    """The feed's."""
    return feed_verdict(view or plain_view(), findings)


def test_pass_only_where_nothing_fails_lacks_or_is_undecided() -> None:
    good = finding(CheckId.FEED_DROPOUT, Result.PASS)
    assert verdict(good).verdict is Verdict.PASS
    assert verdict(good, finding(CheckId.FEED_DROP_BRIEF, Result.WARN)).verdict is Verdict.PASS
    assert verdict(good, finding(CheckId.FEED_DROP_BRIEF, Result.UNDECIDED)).verdict is Verdict.NO_VERDICT
    assert verdict(good, finding(CheckId.RECORDING_CLOSED, Result.UNDECIDED)).verdict is Verdict.NO_VERDICT
    assert verdict(good, finding(CheckId.FEED_DROP_BRIEF, Result.FAIL)).verdict is Verdict.FAIL


def test_a_fail_leads_and_tells_what_evidence_lacks() -> None:
    lacking = finding(CheckId.RECORDING_CLOSED, Result.UNDECIDED)
    found = verdict(lacking, finding(CheckId.FEED_DROPOUT, Result.FAIL))
    assert found.reasons == (f"key feed {CheckId.FEED_DROPOUT} {Phase.CRANK}", f"also: {lacking.reason}")


def test_losses_lead_drops_follow_and_a_drop_that_touches_a_loss_is_not_told() -> None:
    drop = finding(CheckId.FEED_DROP_STEADY, Result.FAIL, Phase.KEY_ON, at_s=3.4)
    lost = finding(CheckId.FEED_DROPOUT, Result.FAIL, Phase.AFTER)
    assert [r.split()[2] for r in verdict(drop, lost).reasons] == [CheckId.FEED_DROPOUT, CheckId.FEED_DROP_STEADY]
    with_loss = plain_view(dropouts=(loss(3.5, 0.5),))
    assert len(verdict(drop, lost, view=with_loss).reasons) == 1
    assert len(verdict(drop, view=with_loss).reasons) == 1, "alone it is told"
    reach_s = with_loss.th.feed.steady_s + with_loss.limits["turn_bounce_max_s"]
    for at_s, lines in ((3.5 - reach_s - 0.01, 2), (3.5 - reach_s + 0.01, 1), (3.99, 1), (4.01, 2)):
        moved = replace(drop, at_s=at_s)
        assert len(verdict(moved, lost, view=with_loss).reasons) == lines, at_s
    short = plain_view(dropouts=(loss(3.5, 0.0005, kind="short"),))
    assert len(verdict(drop, lost, view=short).reasons) == 2, "a loss that does not count hides no drop"


def test_the_supply_speaks_for_itself() -> None:
    reasons = verdict(finding(CheckId.SUPPLY_MINIMUM, Result.FAIL)).reasons
    assert not reasons[0].startswith("key feed")


def test_the_headline_of_a_pass() -> None:
    (one,) = verdict(finding(CheckId.FEED_DROPOUT, Result.PASS)).reasons
    assert "2.0 s of cranking" in one
    assert "lowest 9.90 V" in one
    assert "Tolerated" not in one
    from .plain_view import crank_of

    gone = OffTime(border(5.5), border(6.0))
    view = plain_view(cranks=(crank_of(3.0, 5.0), crank_of(6.5, 7.0)), between=(gone,))
    bounce = finding(CheckId.FEED_DROPOUT, Result.PASS, tolerated="a bounce")
    (two,) = verdict(bounce, bounce, view=view).reasons
    assert "2 cranks, the longest 2.0 s," in two
    assert two.endswith("Tolerated: a bounce; the key taken as off between the cranks")


# --- the worst of both


def test_other_faults_make_a_fail_and_undecided_ones_no_pass() -> None:
    passed, failed = FeedVerdict(Verdict.PASS, ("held",)), FeedVerdict(Verdict.FAIL, ("lost",))
    fault = finding(CheckId.HEATER_POLARITY, Result.FAIL, None)
    near = finding(CheckId.HEATER_POLARITY, Result.UNDECIDED, None)
    assert overall(passed, (), ()) == (Verdict.PASS, ("held",))
    assert overall(passed, (fault,), ()) == (Verdict.FAIL, (f"other fault found: {fault.reason}", "held"))
    assert overall(failed, (fault,), ()) == (Verdict.FAIL, ("lost", f"other fault found: {fault.reason}"))
    result, lines = overall(passed, (), (near,))
    assert result is Verdict.NO_VERDICT
    assert lines == (f"{near.reason}: too close to its limit to tell", "held")
    assert overall(failed, (), (near,)) == (Verdict.FAIL, ("lost",))


def test_of_the_checks_only_faults_count() -> None:
    fault = finding(CheckId.HEATER_POLARITY, Result.FAIL, None)
    for other in (replace(fault, result=Result.WARN), replace(fault, check=CheckId.FEED_DROPOUT)):
        assert other_faults((other,)) == () or other.scope is Scope.OTHER
    assert other_faults((fault,)) == (fault,)
    assert undecided_others((replace(fault, result=Result.UNDECIDED), fault)) == (replace(fault, result=Result.UNDECIDED),)


# --- the one builder of findings


def test_one_limit_is_compared() -> None:
    value = Measured(1.0, 0.1, "V")
    with pytest.raises(ValueError, match="one limit"):
        compared(CheckId.CHARGING, value, "")
    with pytest.raises(ValueError, match="one limit"):
        compared(CheckId.CHARGING, value, "", below=1.0, above=2.0)
    assert compared(CheckId.CHARGING, value, "", below=1.5).result is Result.PASS
    assert compared(CheckId.CHARGING, value, "", below=0.5).result is Result.FAIL
    assert compared(CheckId.CHARGING, value, "", above=0.5).result is Result.PASS
    assert compared(CheckId.CHARGING, value, "", above=1.5, missed=Result.WARN).result is Result.WARN
    assert compared(CheckId.CHARGING, value, "", above=1.1, undecided=Result.WARN).result is Result.WARN
    between = compared(CheckId.CHARGING, value, "x", above=1.1, at_s=2.0, phase=Phase.AFTER, crank=1)
    assert (between.result, between.limit, between.at_s, between.phase, between.crank) == (
        Result.UNDECIDED,
        1.1,
        2.0,
        Phase.AFTER,
        1,
    )
    assert between.conformance == pytest.approx(0.1587, abs=1e-4), "one u below: the normal distribution's tail"
