"""What always holds: the account of every instant, no exception, and no PASS for nonsense."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.trace import Hole, Trace
from tests.aim.ask import ASKED, ask, describe, verdict
from tests.aim.maker import Made, cut

from . import change
from .starts import Known, judged, known

ALL = st.deferred(lambda: st.sampled_from(known()))


def tiles(spans: Any, from_s: float, to_s: float) -> None:
    """Without gap or overlap, exactly."""
    assert spans
    assert spans[0].start_s == from_s
    assert spans[-1].end_s == to_s
    for one, next_one in pairwise(spans):
        assert one.end_s == next_one.start_s
        assert one.start_s < one.end_s
    assert spans[-1].start_s < spans[-1].end_s


def accounted(trace: Trace, judgement: Any) -> None:
    tiles(judgement.phases, float(trace.start_s[0]), float(trace.end_s[-1]))
    tiles(judgement.feed_account, float(trace.start_s[0]), float(trace.end_s[-1]))
    total = sum(span.end_s - span.start_s for span in judgement.feed_account)
    assert total == pytest.approx(trace.end_s[-1] - trace.start_s[0], abs=1e-9)


@given(ALL)
def test_the_account_covers_every_instant(start: Known) -> None:
    accounted(start.trace, judged(start))


@given(ALL, st.data())
def test_the_account_covers_every_instant_of_a_recording_with_holes_and_losses(start: Known, data: st.DataObject) -> None:
    """And a hole of a millisecond or more after ON is never called good nor low.

    Shorter holes count as good, as the obligation on missing samples allows them; up to ON the account says low for a dead feed,
    holes or not.
    """
    trace = start.trace
    for _ in range(data.draw(st.integers(1, 3))):
        first = data.draw(st.integers(1, len(trace) - 2))
        count = data.draw(st.sampled_from([1, 3, 100, 3000]))
        count = min(count, len(trace) - first - 1)
        trace = change.holed(trace, first, count) if data.draw(st.booleans()) else change.lowered(trace, first, count, 0.0)
    judgement = ask(trace, start.context, start.limits)
    accounted(trace, judgement)
    on_s = min((p.begins.late_s for p in judgement.phases if p.name != "key off"), default=np.inf)
    for hole in (h for h in trace.holes if h.start_s > on_s and h.end_s - h.start_s > 0.001):
        for span in judgement.feed_account:
            overlap_s = min(span.end_s, hole.end_s) - max(span.start_s, hole.start_s)
            assert span.state == "not shown" or overlap_s < 1e-6, (span, hole)


@given(ALL, st.data())
def test_cut_anywhere_it_does_not_raise_and_gives_no_pass_for_less(start: Known, data: st.DataObject) -> None:
    """A recording that is cut and not closed never passes."""
    count = data.draw(st.integers(0, len(start.trace)))
    short = cut(start.trace, count)
    judgement = ask(short, start.context, start.limits)
    assert judgement.verdict in ("FAIL", "NO VERDICT", "PASS")
    if judgement.phases:
        accounted(short, judgement)
    if count < len(start.trace):
        assert verdict(replace(short, complete=False), start.context, start.limits) != "PASS"


@given(ALL, st.data())
def test_cut_at_the_front_it_does_not_raise(start: Known, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, len(start.trace)))
    rest = change.pick(start.trace, slice(count, None))
    judgement = ask(replace(rest, holes=()), start.context, start.limits)
    if judgement.phases:
        accounted(rest, judgement)


@given(ALL, st.data())
def test_what_is_not_a_number_is_never_passed(start: Known, data: st.DataObject) -> None:
    """Somewhere between the first bin and the last, on the key lead or the battery."""
    role = data.draw(st.sampled_from(["key_switch", "battery"]))
    value = data.draw(st.sampled_from([float("nan"), float("inf"), float("-inf")]))
    index = data.draw(st.integers(0, len(start.trace) - 1))
    count = data.draw(st.sampled_from([1, 100, 100_000]))
    c = start.trace.channels[role]
    mean, low, high = (v.copy() for v in (c.mean_v, c.lowest_v, c.highest_v))
    for values in (mean, low, high):
        values[index : index + count] = value
    broken = change.with_channel(start.trace, replace(c, mean_v=mean, lowest_v=low, highest_v=high))
    judgement = ask(broken, start.context, start.limits)
    assert judgement.verdict != "PASS", describe(judgement)


@given(st.sampled_from([0, 1, 2, 9, 10, 11, 300, 4000]), st.sampled_from([-2.0, 0.0, 1.0, 5.0, 7.0, 12.5, 18.3]), st.booleans())
def test_a_constant_recording_is_no_start(count: int, volts: float, lead: bool) -> None:
    trace = cut(Made().bins(), count)
    roles = ("battery", "key_switch", "starter_coil") if lead else ("battery", "key_switch")
    flat = np.full(count, volts)
    channels = {r: replace(trace.channels[r], mean_v=flat, lowest_v=flat, highest_v=flat) for r in roles}
    assert verdict(replace(trace, channels=channels)) in ("NO VERDICT", "FAIL")


def test_bins_of_no_length_and_holes_of_no_length_do_not_raise() -> None:
    trace = Made().bins()
    zero = replace(trace, end_s=trace.start_s.copy(), gap_s=np.zeros(len(trace)))
    assert verdict(zero) in ("NO VERDICT", "FAIL")
    empty_hole = Hole(4.0, 4.0, "nothing")
    assert ask(replace(trace, holes=(empty_hole,)), ASKED).verdict == "PASS"
    assert verdict(replace(trace, start_s=np.zeros(len(trace)), end_s=np.zeros(len(trace)))) in ("NO VERDICT", "FAIL")


@given(st.lists(st.floats(-5.0, 25.0), min_size=30, max_size=30), st.lists(st.floats(-5.0, 25.0), min_size=30, max_size=30))
def test_any_volts_at_all_do_not_raise_nor_pass(key: list[float], battery: list[float]) -> None:
    """Thirty levels, each held for a quarter of a second."""
    trace = cut(Made().bins(), 9000)
    levels = {"key_switch": np.repeat(key, 300), "battery": np.repeat(battery, 300), "starter_coil": np.repeat(key[::-1], 300)}
    channels = {r: replace(trace.channels[r], mean_v=v, lowest_v=v, highest_v=v) for r, v in levels.items()}
    judgement = ask(replace(trace, channels=channels, runs=None), ASKED)
    assert judgement.verdict != "PASS"
    accounted(trace, judgement)
