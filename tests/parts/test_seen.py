"""What a recording has shown of a start: dead and live time, and how long each crank was watched."""

from __future__ import annotations

from dataclasses import replace

from firstcrank.analysis.key import OffTime
from firstcrank.analysis.missing import SeenCrank
from firstcrank.analysis.seen import seen_of, still_missing
from firstcrank.model.vocabulary import CheckId

from .plain_view import BIN_S, a_feed, border, crank_of, flat, plain_view, put

FIRST, SECOND = crank_of(3.0, 4.0, wide_s=0.25), crank_of(6.0, 7.0, wide_s=0.25)


def test_dead_time_is_what_lies_before_on() -> None:
    assert seen_of(plain_view()).dead_s == 1.0
    assert seen_of(plain_view(key_switch=put(a_feed(), 0.0, 6.0, 7.0))).dead_s == 1.0  # later is another thing
    assert seen_of(plain_view(key_switch=put(a_feed(), 1.99, 0.0, 0.5))).dead_s == 1.0
    assert seen_of(plain_view(key_switch=put(a_feed(), 2.0, 0.0, 0.5))).dead_s == 0.5
    assert seen_of(plain_view(on=None)).dead_s == 0.0
    assert (seen_of(plain_view()).came_on, seen_of(plain_view(on=None)).came_on) == (True, False)


def test_live_time_lies_between_on_and_the_first_crank() -> None:
    assert seen_of(plain_view()).live_before_s == 2.0
    assert seen_of(plain_view(cranks=(FIRST,))).live_before_s == 1.75  # to its begin at the earliest
    assert seen_of(plain_view(key_switch=put(a_feed(), 5.0, 1.0, 1.5))).live_before_s == 1.5
    assert seen_of(plain_view(key_switch=put(a_feed(), 5.01, 1.0, 1.5))).live_before_s == 2.0
    assert seen_of(plain_view(cranks=())).live_before_s == 7.0
    assert seen_of(plain_view(on=border(2.0))).live_before_s == 1.0


def test_a_crank_lasts_as_long_as_it_surely_did_and_is_watched_to_the_end() -> None:
    # surely live from 3 s to 4 s; surely dead from 4.25 s on; 8 s in all
    assert seen_of(plain_view(cranks=(FIRST,))).cranks == (SeenCrank(1.0, False, 3.75),)
    assert seen_of(plain_view(cranks=())).cranks == ()


def test_a_crank_is_watched_to_off_to_the_next_or_to_where_the_feed_died() -> None:
    assert seen_of(plain_view(cranks=(FIRST,), off=border(7.0))).cranks[0].watched_s == 2.75
    one, two = seen_of(plain_view(cranks=(FIRST, SECOND))).cranks
    assert (one.watched_s, one.followed) == (1.5, True)  # the next begins at 5.75 s
    assert (two.watched_s, two.followed) == (0.75, False)
    off = OffTime(border(5.0), border(5.5))
    one, two = seen_of(plain_view(cranks=(FIRST, SECOND), between=(off,))).cranks
    assert (one.watched_s, one.followed) == (0.75, False)
    assert two.watched_s == 0.75  # an off time before it is none of its own
    slow = OffTime(border(5.0, 0.25), border(5.5))  # watched to where the fall begins
    assert seen_of(plain_view(cranks=(FIRST, SECOND), between=(slow,))).cranks[0].watched_s == 0.75
    dead = seen_of(plain_view(cranks=(FIRST,), dead_from_s=6.0)).cranks[0]
    assert dead.watched_s == 1.75
    assert seen_of(plain_view(cranks=(FIRST,), dead_from_s=3.5)).cranks[0].watched_s == 0.0  # dead while cranking
    known = seen_of(plain_view(cranks=(FIRST,), dead_from_s=6.0, off=border(6.5))).cranks[0]
    assert known.watched_s == 2.25


def test_answers_are_passed_on() -> None:
    view = plain_view(key_switch=flat(12.0), on=None)
    assert seen_of(view).asked_running is None
    assert seen_of(replace(view, context=replace(view.context, engine_running=True))).asked_running is True
    ran = replace(view, cranks=tuple(replace(c, engine_ran_on=True) for c in view.cranks))
    assert seen_of(ran).cranks[0].ran_on
    assert BIN_S < seen_of(view).live_before_s == 3.0


def test_what_was_not_seen_is_missing() -> None:
    assert still_missing(plain_view()) == ()
    assert [m.check for m in still_missing(plain_view(cranks=()))] == [CheckId.CRANK_SEEN]
