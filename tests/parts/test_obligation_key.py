"""Obligations of the key, one value on each side of every border. Dead until 1 s, START at 3 s, LET GO at 5 s."""

from __future__ import annotations

from typing import Any

import pytest

from firstcrank.analysis.obligations.key import (
    gone_for_good,
    held_after,
    live_anywhere,
    live_before,
    only_while_cranking,
    seen_dead,
)
from firstcrank.model.vocabulary import CheckId, Result

from .plain_view import BIN_S, Volts, a_battery, a_feed, border, crank_of, flat, plain_view, put


@pytest.mark.parametrize(("volts", "live"), [(5.0, False), (5.01, True)])
def test_live_at_some_time(volts: float, live: bool) -> None:
    assert live_anywhere(plain_view(key_switch=put(flat(0.0), volts, 4.0, 4.0 + BIN_S))) is live


# --- seen dead


def test_a_feed_that_was_dead_and_came_on() -> None:
    found = seen_dead(plain_view())
    assert (found.check, found.result) == (CheckId.KEY_SEEN_DEAD, Result.PASS)


@pytest.mark.parametrize(("dead_s", "result"), [(0.04, Result.UNDECIDED), (0.06, Result.PASS)])
def test_it_was_dead_for_50_ms(dead_s: float, result: Result) -> None:
    view = plain_view(key_switch=put(a_battery() - 0.1, 0.0, 1.0 - dead_s, 1.0))
    assert seen_dead(view).result is result


@pytest.mark.parametrize(
    ("volts", "given", "text"),
    [
        (0.0, {}, "never live"),
        (12.5, {}, "never seen off"),
        (2.0, {}, "it read 2.00 V at the start"),
        (4.99, {}, "it read 4.99 V at the start"),
        (5.0, {}, "never seen off"),
        (1.99, {}, "never seen off"),
        (7.0, {"fed_back_until_s": 1.0}, "it read 7.00 V at the start"),
    ],
)
def test_why_it_was_not_seen_dead(volts: float, given: dict[str, Any], text: str) -> None:
    feed = flat(0.0) if volts == 0.0 else put(a_feed(), volts, 0.0, 1.0)
    found = seen_dead(plain_view(key_switch=feed, on=None, **given))
    assert found.result is Result.UNDECIDED
    assert text in found.reason


def test_the_first_reading_is_told() -> None:
    found = seen_dead(plain_view(key_switch=put(a_feed(), 3.0, 0.0, BIN_S), on=None))
    assert "it read 3.00 V at the start" in found.reason


def test_what_else_is_missing_is_another_obligations() -> None:
    """The feed was watched for 1 s after the crank only."""
    view = plain_view(off=border(6.0))
    assert held_after(view, 1).result is Result.UNDECIDED
    assert (seen_dead(view).result, live_before(view).result) == (Result.PASS, Result.PASS)


# --- live before START


@pytest.mark.parametrize(("live_s", "result"), [(0.19, Result.UNDECIDED), (0.21, Result.PASS)])
def test_live_before_start(live_s: float, result: Result) -> None:
    view = plain_view(key_switch=put(a_feed(), 0.0, 0.0, 3.0 - live_s), on=border(3.0 - live_s))
    found = live_before(view)
    assert (found.check, found.result) == (CheckId.KEY_LIVE_BEFORE, result)


# --- held after


@pytest.mark.parametrize(("off_s", "result"), [(6.99, Result.UNDECIDED), (7.01, Result.PASS)])
def test_watched_for_two_seconds_after_each_crank(off_s: float, result: Result) -> None:
    found = held_after(plain_view(off=border(off_s)), 1)
    assert (found.check, found.result, found.crank) == (CheckId.KEY_HELD_AFTER, result, 1)


def test_each_crank_is_asked_for_itself() -> None:
    """The second ends at 7 s, 1 s before the recording does."""
    view = plain_view(cranks=(crank_of(3.0, 4.0), crank_of(6.5, 7.0)))
    assert held_after(view, 1).result is Result.PASS
    assert held_after(view, 2).result is Result.UNDECIDED
    assert "only 1.00 s" in held_after(view, 2).reason


def test_a_feed_that_was_lost_is_told_as_such() -> None:
    lost = plain_view(key_switch=put(a_feed(), 0.0, 5.5, 8.0), dead_from_s=5.5)
    assert "went dead at 5.50 s and never came back" in held_after(lost, 1).reason
    switched = plain_view(key_switch=put(a_feed(), 0.0, 5.5, 8.0), dead_from_s=None, off=border(5.5))
    assert "only 500 ms" in held_after(switched, 1).reason


@pytest.mark.parametrize(
    ("given", "gone"),
    [
        ({"dead_from_s": 5.5}, True),
        ({"dead_from_s": None}, False),
        ({"dead_from_s": 5.5, "cranks": ()}, False),
        ({"dead_from_s": 6.9, "off": border(6.9)}, True),
        ({"dead_from_s": 7.1, "off": border(7.1)}, False),  # watched for 2 s before
        ({"dead_from_s": 7.1, "off": border(7.1), "cranks": (crank_of(3.0, 5.0, wide_s=0.2),)}, True),
        ({"dead_from_s": 7.1, "off": border(7.1, 0.5), "cranks": (crank_of(3.0, 5.0, wide_s=0.2),)}, True),
        ({"dead_from_s": 6.9, "off": border(6.9), "cranks": (crank_of(1.5, 2.0), crank_of(3.0, 5.0))}, True),
        ({"dead_from_s": 7.3, "off": border(7.3, 0.5), "cranks": (crank_of(3.0, 5.0, wide_s=0.2),)}, False),
    ],
)
def test_gone_for_good(given: dict[str, Any], gone: bool) -> None:
    assert gone_for_good(plain_view(**given)) is gone


def test_on_the_start_terminal_is_not_gone() -> None:
    assert not gone_for_good(plain_view(key_switch=put(flat(0.0), 9.9, 3.0, 5.0), dead_from_s=5.0))


# --- live in START only


def in_start(*more: tuple[float, float], share: float = 1.0) -> Volts:
    """Live in a share of the crank, and at other times."""
    feed = put(flat(0.0), 9.9, 3.0, 3.0 + 2.0 * share)
    for start_s, end_s in more:
        feed = put(feed, 9.9, start_s, end_s)
    return feed


WIDE = (crank_of(3.0, 5.0, wide_s=0.1),)


@pytest.mark.parametrize(
    ("feed", "only"),
    [
        (in_start(), True),
        (in_start(share=0.51), True),
        (in_start(share=0.50), False),
        (in_start((2.31, 3.0)), True),  # 0.6 s before START at the earliest, 2.9 s
        (in_start((2.29, 3.0)), False),
        (in_start((5.0, 5.39)), True),  # 0.3 s after LET GO at the latest, 5.1 s
        (in_start((5.0, 5.41)), False),
        (in_start((7.0, 7.0 + BIN_S)), False),
        (a_feed(), False),
        (flat(0.0), False),
    ],
)
def test_live_in_start_and_nowhere_else(feed: Volts, only: bool) -> None:
    assert only_while_cranking(plain_view(key_switch=feed, cranks=WIDE)) is only


def test_without_a_crank_or_time_beside_it_that_is_not_to_be_told() -> None:
    assert not only_while_cranking(plain_view(key_switch=in_start(), cranks=()))
    assert not only_while_cranking(plain_view(key_switch=in_start(), cranks=(crank_of(0.5, 7.8),)))
