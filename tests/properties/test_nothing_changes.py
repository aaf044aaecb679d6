"""Changes that change nothing; several cranks; other ways of recording one start."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from firstcrank.limits import SPECS, Limits
from tests.aim.ask import ask, describe, verdict
from tests.aim.maker import Crank, Made, Setup

from . import change
from .starts import Known, hand_made, judged, known, seen

ALL = st.deferred(lambda: st.sampled_from(known()))
AT_12V = st.deferred(lambda: st.sampled_from([k for k in known() if k.limits.system_v == 12]))
HAND = st.deferred(lambda: st.sampled_from(hand_made()))
WORST = ("FAIL", "NO VERDICT", "PASS")


@given(ALL, st.sampled_from([1, 7, 100, 3000]))
def test_a_longer_key_off_shifts_everything_and_changes_nothing(start: Known, bins: int) -> None:
    """By whole bins, the first bin said again. True where the recording begins with the key off."""
    assume(start.trace.channels["key_switch"].highest_v[0] < 0.5)
    after = ask(change.later(start.trace, 0, bins), start.context, start.limits)
    assert seen(after) == seen(judged(start)), describe(after)


@given(ALL, st.sampled_from([1, 40, 1500]))
def test_a_longer_key_on_changes_nothing(start: Known, bins: int) -> None:
    """True where a quiet bin in the middle of a good key on is said again, and the heater's own timing is not asked for."""
    phases = [p for p in judged(start).phases if p.name == "key on"]
    assume(phases)
    middle_s = 0.5 * (phases[0].start_s + phases[0].end_s)
    at = int(np.searchsorted(start.trace.start_s, middle_s))
    feed = start.trace.channels["key_switch"]
    quiet = feed.highest_v[at - 60 : at + 60] - feed.lowest_v[at - 60 : at + 60]
    assume(feed.lowest_v[at - 60 : at + 60].min() > 9.0 and quiet.max() < 0.5)
    after = ask(change.later(start.trace, at, bins), start.context, start.limits)
    assert (after.verdict, after.feed.verdict) == (judged(start).verdict, judged(start).feed.verdict), describe(after)
    assert [c.end_s - c.start_s for c in after.cranks] == [c.end_s - c.start_s for c in judged(start).cranks] or np.allclose(
        [c.end_s - c.start_s for c in after.cranks], [c.end_s - c.start_s for c in judged(start).cranks], atol=0.02
    )


@given(AT_12V)
@settings(max_examples=30)
def test_all_volts_doubled_changes_nothing(start: Known) -> None:
    """With limits and offsets doubled as well. True for a battery at rest that both systems accept: 9 V and more."""
    assume(np.median(start.trace.channels["battery"].mean_v[:100]) > 9.2)
    values = {k: v * (2.0 if SPECS[k].unit in ("V", "ohm") else 1.0) for k, v in start.limits.values.items()}
    twice = Limits(24, values, start.limits.sources, "doubled")
    after = ask(change.doubled(start.trace), start.context, twice)
    assert seen(after) == seen(judged(start)), describe(after)


@given(ALL, st.data())
def test_one_spike_common_to_all_leads_takes_no_fail(start: Known, data: st.DataObject) -> None:
    """Of one conversion, up to 3 V, on all leads alike. Always true."""
    assume(judged(start).verdict == "FAIL")
    index = data.draw(st.integers(0, len(start.trace) - 1))
    volts = data.draw(st.sampled_from([-3.0, -0.6, 0.6, 1.5, 3.0]))
    after = ask(change.spiked(start.trace, index, volts), start.context, start.limits)
    assert after.verdict == "FAIL", describe(after)


FAULTS = {
    "none": "PASS",
    "lost in START": "FAIL",
    "steady drop": "FAIL",
    "vague loss": "NO VERDICT",
    "supply": "FAIL",
    "lost after": "FAIL",
}


def _damage(made: Made, fault: str, start_s: float) -> None:
    if fault == "lost in START":
        made.feed(0.0, start_s + 0.8, 0.02)
    elif fault == "steady drop":
        made.drop(1.2, start_s + 0.7, 0.7)
    elif fault == "vague loss":
        made.feed(0.0, start_s + 1.0, 0.001)
    elif fault == "supply":
        made.put("battery", 6.62, start_s + 1.0, 0.1).feed(6.5, start_s + 1.0, 0.1)
    elif fault == "lost after":
        made.feed(0.0, start_s + 3.2, 0.02)


@given(st.lists(st.sampled_from(sorted(FAULTS)), min_size=1, max_size=3), st.booleans(), st.booleans())
def test_several_cranks_get_the_verdict_of_the_worst(faults: list[str], lead: bool, key_off: bool) -> None:
    """FAIL before NO VERDICT before PASS, with or without the starter lead, with the key off between them or left on."""
    starts = [3.0 + 5.5 * i for i in range(len(faults))]
    offs = tuple((s - 1.2, s - 0.4) for s in starts[1:]) if key_off else ()
    setup = Setup(cranks=tuple(Crank(s, 2.2) for s in starts), offs=offs, end_s=starts[-1] + 5.0, lead=lead)
    made = Made(setup)
    for fault, start_s in zip(faults, starts, strict=True):
        _damage(made, fault, start_s)
    judgement = ask(made.bins())
    expected = min((FAULTS[f] for f in faults), key=WORST.index)
    assert judgement.verdict == expected, describe(judgement)
    assert len(judgement.cranks) == len(faults) or not lead


@given(HAND, st.sampled_from([1, 2, 4, 8, 20]))
def test_single_readings_of_a_start_agree_with_its_bins_or_are_no_verdict(start: Known, every: int) -> None:
    """True where neither says "no verdict" for its own reasons: the one may see what the other can't, but never the opposite."""
    assert start.made is not None
    from_rows = verdict(start.made.rows(every), start.context)
    from_bins = str(judged(start).verdict)
    if from_bins == "NO VERDICT":
        assert from_rows != "PASS" or "vague" in start.name or "near" in start.name
    else:
        assert from_rows in (from_bins, "NO VERDICT")
