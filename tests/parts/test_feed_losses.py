"""Obligations on losses of the feed: which loss touches which phase, what is said of it, and how many short ones are too many."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstcrank.analysis.obligations.feed_losses import lost, none_counts, overlaps, short_together
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Dropout, Finding, Interval
from firstcrank.model.vocabulary import CheckId, Phase, Result

from .plain_view import a_feed, border, loss, plain_view, put

CRANKING = Interval(Phase.CRANK, 3.0, 5.0, border(3.0), 1)


def judged(*losses: Dropout, interval: Interval = CRANKING) -> Finding:
    return none_counts(plain_view(dropouts=losses), interval)


@pytest.mark.parametrize(
    ("start_s", "duration_s", "touches"),
    [(2.5, 0.5, False), (2.5, 0.5001, True), (5.0, 0.5, False), (4.9999, 0.5, True), (3.0, 0.0, True), (1.0, 9.0, True)],
)
def test_a_loss_touches_a_phase_with_more_than_its_end(start_s: float, duration_s: float, touches: bool) -> None:
    assert overlaps(loss(start_s, duration_s), CRANKING) is touches


def test_a_loss_that_counts_fails_the_phases_it_touches() -> None:
    finding = judged(loss(4.0, 0.25, low_s=0.2, high_s=0.4))
    assert (finding.check, finding.result, finding.at_s) == (CheckId.FEED_DROPOUT, Result.FAIL, 4.0)
    assert (finding.phase, finding.crank, finding.limit) == (Phase.CRANK, 1, 0.001)
    assert finding.value is not None
    # half of the spread is the expanded uncertainty, k = 2
    assert (finding.value.value, finding.value.u) == pytest.approx((0.25, 0.05))
    assert judged(loss(2.0, 0.25)).result is Result.PASS


def test_the_worst_kind_is_told_and_of_one_kind_the_longest() -> None:
    assert judged(loss(3.5, 0.5, kind="undecided"), loss(4.5, 0.1)).at_s == 4.5
    assert judged(loss(3.5, 0.1), loss(4.0, 0.3), loss(4.5, 0.2)).at_s == 4.0
    undecided = judged(loss(3.5, 0.5, kind="short"), loss(4.5, 0.1, kind="undecided"))
    assert (undecided.result, undecided.at_s) == (Result.UNDECIDED, 4.5)
    assert undecided.reason.endswith(": it cannot be decided")


def test_the_supply_s_own_dips_are_not_the_feed_s() -> None:
    assert judged(loss(4.0, 0.25, kind="with supply")).result is Result.PASS


def test_short_losses_warn_and_are_counted() -> None:
    finding = judged(loss(3.5, 0.0002, kind="short"), loss(4.0, 0.0005, kind="short"))
    assert finding.result is Result.WARN
    assert "; 2 too short to count, the longest 500 µs" in finding.reason


def test_a_phase_not_shown_lacks_its_evidence_unless_it_is_too_short_to_hold_a_loss() -> None:
    unshown = Interval(Phase.TURN, 4.0005, 4.0014, border(4.0005), 1)
    assert judged(interval=unshown).result is Result.PASS
    assert judged(interval=replace(unshown, end_s=4.0016)).result is not Result.PASS


def test_the_lowest_reading_of_the_phase_is_told() -> None:
    view = plain_view(key_switch=put(put(a_feed(), 8.25, 4.0, 4.1), 7.5, 5.0, 5.1))
    assert ", lowest 8.25 V" in none_counts(view, CRANKING).reason


def test_a_long_loss_is_told_with_its_end_and_the_phases_it_crosses() -> None:
    assert "(4.000 to 4.100 s)" in lost(loss(4.0, 0.1))
    assert "(at 4.000 s)" in lost(loss(4.0, 0.0999))
    assert lost(loss(4.0, 0.1)).endswith("in START, while cranking")
    assert lost(loss(4.0, 2.0, phases=(Phase.CRANK, Phase.RELEASE, Phase.AFTER))).endswith(
        "from START through release through ON after"
    )
    assert lost(loss(2.0, 2.0, phases=(Phase.KEY_ON, Phase.TURN))).endswith("from ON through turn to START")


def near(low_v: float, length_s: float, *, source_v: float = 10.0, counted: tuple[Dropout, ...] = ()) -> Finding:
    feed, start_s, end_s = a_feed(), 4.0, 4.0 + length_s
    view = plain_view(
        key_switch=put(feed, low_v, start_s, end_s), battery=put(a_feed() + 0.1, source_v, start_s, end_s), dropouts=counted
    )
    return none_counts(replace(view, near_limit=((start_s, end_s),)), CRANKING)


def test_a_feed_too_close_to_the_minimum_is_undecided_with_its_lowest() -> None:
    finding = near(7.1, 0.0078125)
    assert (finding.result, finding.at_s, finding.limit) == (Result.UNDECIDED, 4.0, 7.0)
    assert finding.value is not None
    assert finding.value.value == 7.1


def test_near_the_minimum_with_its_source_and_briefly_it_is_the_supply_s() -> None:
    # one bin of 3.9 ms of the 5 ms that a dip may take, less than the volt below its source
    assert near(7.1, 0.00390625, source_v=8.0).result is Result.PASS
    assert near(7.1, 0.00390625, source_v=8.2).result is Result.UNDECIDED
    assert near(7.1, 0.0078125, source_v=8.0).result is Result.UNDECIDED
    dip = loss(3.5, 0.0010, kind="with supply")
    assert near(7.1, 0.00390625, source_v=8.0, counted=(dip,)).result is Result.PASS
    assert near(7.1, 0.00390625, source_v=8.0, counted=(replace(dip, duration_s=0.0012),)).result is Result.UNDECIDED
    before = loss(2.5, 0.1, kind="with supply")
    assert near(7.1, 0.00390625, source_v=8.0, counted=(before,)).result is Result.PASS


def shorts(count: int, each_s: float, low_s: float | None = None, high_s: float | None = None) -> View:
    losses = tuple(loss(3.1 + 0.05 * i, each_s, kind="short", low_s=low_s, high_s=high_s) for i in range(count))
    return plain_view(dropouts=losses)


def test_short_losses_may_take_5_ms_together() -> None:
    none = short_together(shorts(0, 0.0))
    assert (none.check, none.result) == (CheckId.FEED_SHORT_LOSSES, Result.PASS)
    fine = short_together(shorts(8, 0.0006))
    assert (fine.result, fine.at_s, fine.limit) == (Result.WARN, 3.1, 0.005)
    assert fine.reason == fine.tolerated == "8 losses too short to count alone, 4.8 ms in all"
    assert short_together(shorts(9, 0.0006)).result is Result.FAIL
    assert short_together(shorts(1, 0.0006)).reason.startswith("1 loss too short")


def test_short_losses_whose_bounds_lie_on_both_sides_are_undecided() -> None:
    finding = short_together(shorts(8, 0.0006, low_s=0.0005, high_s=0.0007))  # 4 to 5.6 ms
    assert finding.result is Result.UNDECIDED
    assert finding.value is not None
    assert (finding.value.value, finding.value.u) == pytest.approx((0.0048, 0.0004))
    assert short_together(shorts(8, 0.0006, low_s=0.00063, high_s=0.0007)).result is Result.FAIL
    assert short_together(shorts(8, 0.0006, low_s=0.0005, high_s=0.00062)).result is Result.WARN


def test_more_than_twenty_are_no_chance() -> None:
    assert short_together(shorts(20, 0.0001)).result is Result.WARN
    assert short_together(shorts(21, 0.0001)).result is Result.UNDECIDED
