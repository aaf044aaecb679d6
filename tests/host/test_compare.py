"""Before and after: aligned where the starter engages, and what changed is said."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.compare import compare
from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.model.context import Context
from firstcrank.report.changes import SAME, changes, crank_result
from firstcrank.report.plots import as_png, comparison
from tests.acceptance.start import CRANK_S, STEP_S, Start

ASKED = Context(cranked_with_key=True, module_plugged_in=True)


def judged(start: Start):
    trace = start.trace()
    return trace, judge(trace, shipped(12), ASKED)


def test_aligned_at_the_starter_and_the_repair_is_said() -> None:
    before = judged(Start().feed_to(0.0, 6.0, 1.5))
    later = Start()
    later.volts = {role: np.roll(v, 9000) for role, v in later.volts.items()}  # the same start, 0.2 s later
    for volts in later.volts.values():
        volts[:9000] = volts[9000]
    compared = compare(before, judged(later))
    engaged = np.argmin(np.abs(compared.at_s))
    for side in (compared.before_v, compared.after_v):
        fall = side["battery"][engaged - 40] - side["battery"][engaged + 10]
        assert fall > 1.0
    difference = compared.difference_v("key_switch")
    inside = (compared.at_s > 6.1 - CRANK_S) & (compared.at_s < 7.4 - CRANK_S)
    assert float(np.nanmedian(difference[inside])) > 8.0
    assert abs(float(np.nanmedian(difference[~inside]))) < 0.3
    change = {(c.check, c.phase): c.difference_text for c in changes(before[1], judged(later)[1])}
    assert change["key_feed_dropout", "crank"] == "fail before, pass now: better"
    assert change["key_feed_dropout", "key on"] == SAME
    assert as_png(comparison(compared, ("before", "after"))).startswith(b"\x89PNG")


def test_the_same_start_twice_differs_in_nothing() -> None:
    one = judged(Start())
    compared = compare(one, one)
    assert {c.difference_text for c in changes(one[1], one[1])} == {SAME}
    assert float(np.nanmax(np.abs(compared.difference_v("battery")))) == 0.0


def test_a_start_without_that_crank_is_told() -> None:
    one = judged(Start())
    with pytest.raises(ValueError, match="crank 2"):
        compare(one, one, (1, 2))


SECOND_S = 7.5  # the second crank begins this much after the first


def two_cranks(lost: bool) -> Start:
    """A good crank, then the same again with the key left ON in between; the feed dead in the second where `lost`."""
    one = Start(end_s=CRANK_S + 2 * SECOND_S)
    again = one.t >= CRANK_S + SECOND_S - 0.5
    for role, volts in one.volts.items():
        moved = np.roll(volts, round(SECOND_S / STEP_S))
        one.volts[role] = np.where(again, moved, volts)
    if lost:
        one.feed_to(0.0, CRANK_S + SECOND_S + 1.0, 1.2)
    return one


def test_each_crank_is_compared_by_its_own_findings() -> None:
    """A repair, or a fault, between two cranks of one recording is seen."""
    start = judged(two_cranks(lost=True))
    assert len(start[1].cranks) == 2
    assert (crank_result(start[1], 1), crank_result(start[1], 2)) == ("pass", "fail")
    found = {(c.check, c.phase): c for c in changes(start[1], start[1], (1, 2))}
    change = found["key_feed_dropout", "crank"]
    assert change.difference_text == "pass before, fail now"
    assert change.before is not None
    assert change.after is not None
    assert (change.before.crank, change.after.crank) == (1, 2)
    assert {c.difference_text for c in changes(start[1], start[1], (2, 2))} == {SAME}
