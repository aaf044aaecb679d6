"""Worse is never better; less is never better."""

from __future__ import annotations

from typing import Any

from hypothesis import assume, given
from hypothesis import strategies as st

from tests.aim.ask import ask, describe

from . import change
from .starts import Known, bins_between, judged, known, live_span

Draw = st.DataObject
ALL = st.deferred(lambda: st.sampled_from(known()))
FAILING = st.deferred(lambda: st.sampled_from([k for k in known() if judged(k).verdict == "FAIL"]))
NOT_PASSING = st.deferred(lambda: st.sampled_from([k for k in known() if judged(k).verdict != "PASS"]))

# what lowering the feed truly mends, so that it is exempt: a feed above its source, back-feed, readings that are not plausible
REPAIRED_BY_LOWERING = {"key_feed_above_source", "key_off_decay", "plausible", "leads_apart", "leads_in_place", "clips_still"}
# what is seen by the starter lead alone: that the starter's own circuit turned it, and when exactly the key travelled
BY_STARTER_LEAD = {"crank_by_starter", "starter_control_drop"}


def failed(judgement: Any) -> set[str]:
    return {str(f.check) for f in judgement.findings if f.result == "fail"}


@given(FAILING, st.data())
def test_a_feed_lowered_for_a_while_never_turns_a_fail_into_a_pass(start: Known, data: Draw) -> None:
    """True where the key's own times stay: the lowered stretch lies between ON + 0.2 s and 0.8 s before OFF or the end, so that it
    makes no key-off of the fall, and where the FAIL is not one that a lower feed truly mends (see REPAIRED_BY_LOWERING).
    """
    assume(not failed(judged(start)) <= REPAIRED_BY_LOWERING)
    on_s, off_s = live_span(start)
    bins = bins_between(start.trace, on_s + 0.2, off_s - 0.8)
    assume(len(bins) > 10)
    first = data.draw(st.sampled_from(bins.tolist()))
    count = data.draw(st.sampled_from([1, 2, 3, 8, 14, 60, 400, 2000]))
    volts = data.draw(st.sampled_from([0.0, 1.0, 3.0, 6.5, 6.99, 7.2, 8.5, 10.0])) * start.limits.system_v / 12
    count = min(count, int(bins[-1]) - first + 1)
    worse = change.lowered(start.trace, first, count, volts)
    after = ask(worse, start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(FAILING, st.data())
def test_spikes_on_the_feed_never_turn_a_fail_into_a_pass(start: Known, data: Draw) -> None:
    """As above, with many short dips instead of one long stretch: no check may leave out what lies near them."""
    assume(not failed(judged(start)) <= REPAIRED_BY_LOWERING)
    on_s, off_s = live_span(start)
    bins = bins_between(start.trace, on_s + 0.2, off_s - 0.8).tolist()
    assume(len(bins) > 10)
    every = data.draw(st.sampled_from([2, 3, 5, 13, 100]))
    phase = data.draw(st.integers(0, every - 1))
    conversions = data.draw(st.integers(1, 3))
    worse = start.trace
    for index in bins[phase::every][:300]:
        worse = change.dipped(worse, index, conversions, 0.0)
    after = ask(worse, start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(ALL, st.data())
def test_a_hole_never_makes_a_pass(start: Known, data: Draw) -> None:
    """True for holes that begin before OFF: what a hole behind it hides (a back-feed) is no evidence for the start."""
    assume(judged(start).verdict != "PASS")
    _, off_s = live_span(start)
    bins = bins_between(start.trace, 0.0, off_s or 99.0)
    first = data.draw(st.sampled_from(bins.tolist()))
    count = data.draw(st.sampled_from([1, 2, 5, 50, 400, 2500]))
    after = ask(change.holed(start.trace, first, min(count, len(start.trace) - first - 1)), start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(ALL, st.data())
def test_a_hole_while_the_key_is_on_is_never_passed(start: Known, data: Draw) -> None:
    """True for 2 bins and more (a bin is shorter than a millisecond) that lie between ON and OFF."""
    on_s, off_s = live_span(start)
    bins = bins_between(start.trace, on_s, off_s)
    assume(len(bins) > 20)
    first = data.draw(st.sampled_from(bins[:-5].tolist()))
    count = data.draw(st.sampled_from([2, 3, 20, 400, 5000]))
    after = ask(change.holed(start.trace, first, min(count, len(start.trace) - first - 1)), start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(NOT_PASSING, st.sampled_from([1.2, 2.0, 5.0, 20.0]))
def test_wider_uncertainties_never_make_a_pass(start: Known, factor: float) -> None:
    """Always true."""
    after = ask(change.wider(start.trace, factor), start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(NOT_PASSING, st.sampled_from([2, 3, 4, 7, 13]))
def test_coarser_bins_never_make_a_pass(start: Known, by: int) -> None:
    """True where the extremes of every bin are kept; counts of runs are lost."""
    after = ask(change.coarser(start.trace, by), start.context, start.limits)
    assert after.verdict != "PASS", describe(after)


@given(ALL, st.data())
def test_a_lead_less_never_makes_a_pass(start: Known, data: Draw) -> None:
    """Of the feed's verdict; true but for what only that lead can show: the module's ground and the key's own source are what
    the feed is judged by; without the starter lead nobody knows that the starter's own circuit turned the engine, nor the
    travel to better than its vague width (so a bounce that was outside of it may be inside).
    """
    before = judged(start)
    roles = [r for r in start.trace.channels if r not in ("battery", "key_switch", "module_ground", "feed_source")]
    assume(roles)
    assume(str(before.feed.verdict) != "PASS")
    role = data.draw(st.sampled_from(roles))
    bad = {(str(f.check), str(f.phase)) for f in before.findings if f.blocks and f.result in ("fail", "no verdict")}
    travel = {"key turn", "release"}
    if role == "starter_coil":
        assume(any(check not in BY_STARTER_LEAD and phase not in travel for check, phase in bad))
    after = ask(change.without(start.trace, role), start.context, start.limits)
    assert str(after.feed.verdict) != "PASS", describe(after)
