"""States and the account of the feed: rows that cover the recording, from cranks and a key that a test writes down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank.analysis.account import feed_account, holes_of, phases_of
from firstcrank.analysis.key import OffTime
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Interval
from firstcrank.model.vocabulary import Phase
from firstcrank.trace import Hole

from .plain_trace import BIN_S, flat, plain_trace
from .plain_view import border, crank_of, loss, plain_view

P = Phase


def rows(view: View) -> list[tuple[Phase, float, float, int | None]]:
    """The states with their times and cranks."""
    return [(i.name, round(i.start_s, 9), round(i.end_s, 9), i.crank) for i in view.intervals]


def test_one_crank_makes_six_states() -> None:
    assert rows(plain_view()) == [
        (P.KEY_OFF, 0.0, 1.0, None),
        (P.KEY_ON, 1.0, 2.7, None),
        (P.TURN, 2.7, 3.0, 1),
        (P.CRANK, 3.0, 5.0, 1),
        (P.RELEASE, 5.0, 5.3, 1),
        (P.AFTER, 5.3, 8.0, 1),
    ]


def test_a_crank_without_a_lead_begins_with_the_sag() -> None:
    crank = replace(crank_of(3.0, 5.0, by_lead=False), sag_s=3.125)
    found = {name: (a, b) for name, a, b, _ in rows(plain_view(cranks=(crank,)))}
    assert found[P.TURN] == (2.825, 3.125)
    assert found[P.CRANK] == (3.125, 5.0)
    led = replace(crank, by_lead=True)
    assert {name: a for name, a, _, _ in rows(plain_view(cranks=(led,)))}[P.CRANK] == 3.0


def test_the_turn_begins_no_earlier_than_the_key_came_on_or_the_last_crank_ended() -> None:
    early = plain_view(on=border(2.9))
    assert (P.TURN, 2.9, 3.0, 1) in rows(early)
    two = rows(plain_view(cranks=(crank_of(3.0, 4.0), crank_of(4.2, 5.0))))
    assert (P.RELEASE, 4.0, 4.2, 1) not in two
    assert [r[0] for r in two if r[3] == 1] == [P.TURN, P.CRANK], "no time for its release before the next turn"
    spaced = rows(plain_view(cranks=(crank_of(3.0, 4.0), crank_of(4.5, 5.0))))
    assert [r[0] for r in spaced if r[3] == 1] == [P.TURN, P.CRANK, P.RELEASE], "0.3 s of release reach the turn: nothing after"
    wide = rows(plain_view(cranks=(crank_of(3.0, 4.0), crank_of(4.75, 5.0))))
    assert (P.AFTER, 4.3, 4.45, 1) in wide


def test_off_between_cranks_and_at_the_end() -> None:
    gone = OffTime(border(5.5), border(6.0))
    view = plain_view(cranks=(crank_of(3.0, 5.0), crank_of(6.5, 7.0)), between=(gone,), off=border(7.6))
    assert (P.KEY_OFF, 5.5, 6.0, 1) in rows(view)
    assert (P.KEY_ON, 6.0, 6.2, 2) in rows(view)
    assert rows(view)[-1] == (P.KEY_OFF, 7.6, 8.0, 2)


def test_without_a_key_on_the_first_state_is_told_by_the_first_sample() -> None:
    live, dead = plain_view(on=None, key_switch=flat(8.0, 12.0, 1 / 256)), plain_view(on=None)
    assert live.intervals[0].name is P.KEY_ON
    one = np.zeros(2048)
    one[0] = 12.0
    assert plain_view(on=None, key_switch=one).intervals[0].name is P.KEY_ON
    assert dead.intervals[0].name is P.KEY_OFF
    assert plain_view(key_switch=flat(8.0, 12.0, 1 / 256)).intervals[0].name is P.KEY_OFF, "it came on later"


def test_phases_of_a_stretch() -> None:
    intervals = tuple(Interval(n, a, a + 1.0, border(a), None) for n, a in ((P.KEY_ON, 0.0), (P.TURN, 1.0), (P.CRANK, 2.0)))
    assert phases_of(intervals, 0.2, 0.4) == (P.KEY_ON, (P.KEY_ON,))
    assert phases_of(intervals, 0.9, 1.3) == (P.TURN, (P.KEY_ON, P.TURN))
    assert phases_of(intervals, 0.6, 1.3) == (P.KEY_ON, (P.KEY_ON, P.TURN))
    assert phases_of(intervals, 0.5, 2.1) == (P.TURN, (P.KEY_ON, P.TURN, P.CRANK))
    assert phases_of(intervals, 1.0, 1.0) == (P.KEY_ON, (P.KEY_ON,)), "no length: the first that it touches"
    assert phases_of((), 0.0, 1.0) == (P.AFTER, (P.AFTER,))
    again = (*intervals, Interval(P.CRANK, 3.0, 4.0, border(3.0), 2))
    assert phases_of(again, 2.5, 3.6) == (P.CRANK, (P.CRANK,))


def test_holes_are_announced_or_seen_between_and_within_bins() -> None:
    trace = plain_trace({"battery": flat(1.0, 12.0), "key_switch": flat(1.0, 12.0)})
    assert holes_of(trace, 0.001) == []
    announced = replace(trace, holes=(Hole(0.2, 0.3, ""), Hole(0.5, 0.5004, "")))
    assert holes_of(announced, 0.001) == [(0.2, 0.3)]
    gaps = trace.gap_s.copy()
    gaps[100:102] = 0.001
    assert holes_of(replace(trace, gap_s=gaps), 0.001) == [(100 * BIN_S, 102 * BIN_S)]
    kept = np.ones(len(trace), dtype=bool)
    kept[50:52] = False
    channels = {
        r: replace(c, mean_v=c.mean_v[kept], lowest_v=c.lowest_v[kept], highest_v=c.highest_v[kept])
        for r, c in trace.channels.items()
    }
    jump = replace(
        trace, start_s=trace.start_s[kept], end_s=trace.end_s[kept], conversions=trace.conversions[kept], gap_s=trace.gap_s[kept],
        channels=channels,
    )  # fmt: skip
    assert holes_of(jump, 2 * BIN_S) == [(50 * BIN_S, 52 * BIN_S)]
    assert holes_of(jump, 2.1 * BIN_S) == []


def test_holes_that_touch_are_one() -> None:
    trace = replace(
        plain_trace({"battery": flat(1.0, 12.0), "key_switch": flat(1.0, 12.0)}),
        holes=(Hole(0.1, 0.4, ""), Hole(0.2, 0.3, ""), Hole(0.4, 0.5, ""), Hole(0.7, 0.8, ""), Hole(0.75, 0.9, "")),
    )
    assert holes_of(trace, 0.001) == [(0.1, 0.5), (0.7, 0.9)]


def test_the_account_adds_up_and_not_shown_wins() -> None:
    view = plain_view()
    trace = replace(view.trace, holes=(Hole(4.0, 4.5, ""), Hole(7.9, 8.0, "")))
    spans = feed_account(trace, view.intervals, (loss(3.5, 0.75),), [(6.0, 6.25)], 0.001)
    assert [(s.state, s.start_s, s.end_s) for s in spans] == [
        ("low", 0.0, 1.0),
        ("good", 1.0, 3.5),
        ("low", 3.5, 4.0),
        ("not shown", 4.0, 4.5),
        ("good", 4.5, 6.0),
        ("not shown", 6.0, 6.25),
        ("good", 6.25, 7.9),
        ("not shown", 7.9, 8.0),
    ]
