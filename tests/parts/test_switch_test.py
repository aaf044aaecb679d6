"""The switch test's answer at its borders, on traces written bin by bin: what is a turn, where a loss counts, how long it may last.

A bin is 1/512 s, 1.95 ms: 5 bins are 9.8 ms and 6 are 11.7 ms, on either side of the 10 ms that a bounce may last.
"""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from firstcrank.analysis.switch_test import SwitchResult, SwitchWord, judge_switch
from firstcrank.cli.switch_result import show_switch
from firstcrank.limits import shipped
from firstcrank.trace import Hole

from .plain_trace import BIN_S, flat, plain_trace, put

START, BACK = 1024, 1536  # bins: START from 2 s to 3 s
NO_LEAD = "no lead on the removed S wire (50): nothing proved"
NEVER_LIVE = "the removed S wire (50) was never live: nothing proved"
TORN = "the recording has gaps or breaks off: nothing proved"


def switched(
    *lost: tuple[int, int],
    turns: tuple[tuple[int, int], ...] = ((START, BACK),),
    volts: float = 0.0,
    s_wire_v: float = 12.2,
    lowest_v: float | None = None,
    scale: float = 1.0,
) -> SwitchResult:
    """A feed of 12.4 V that is at `volts` (its lowest at `lowest_v`) in the bins `lost`, and an S wire live in `turns`."""
    feed = low = flat(8.0, 12.4 * scale)
    coil = flat(8.0, 0.0)
    for first, past in lost:
        feed = put(feed, volts, first, past)
        low = put(low, volts if lowest_v is None else lowest_v, first, past)
    for first, past in turns:
        coil = put(coil, s_wire_v, first, past)
    trace = plain_trace(
        {"battery": flat(8.0, 12.6 * scale), "key_switch": feed, "starter_coil": coil}, lowest={"key_switch": low}
    )
    return judge_switch(trace, shipped(round(12 * scale)))


def many(count: int, length: int = 256) -> tuple[tuple[int, int], ...]:
    """So many turns to START of 0.5 s within 8 s, far enough from each other."""
    every = 4096 // (count + 1)
    assert every > length + 77
    return tuple((every * (i + 1), every * (i + 1) + length) for i in range(count))


# --- whether anything is proved


def test_what_proves_nothing() -> None:
    good = {"battery": flat(4.0, 12.6), "key_switch": flat(4.0, 12.4), "starter_coil": put(flat(4.0, 0.0), 12.0, START, BACK)}
    limits = shipped(12)
    assert judge_switch(plain_trace(good), limits).word is SwitchWord.HELD
    without_s = {role: v for role, v in good.items() if role != "starter_coil"}
    without_key = {role: v for role, v in good.items() if role != "key_switch"}
    empty = dict.fromkeys(good, flat(0.0, 0.0))
    for trace, reason in (
        (plain_trace(without_s), NO_LEAD),
        (plain_trace(without_key), NO_LEAD),
        (plain_trace(empty), NO_LEAD),
        (plain_trace(good, complete=False), TORN),
        (plain_trace(good, holes=(Hole(1.0, 1.1, "lost"),)), TORN),
        (plain_trace({**good, "starter_coil": flat(4.0, 0.0)}), NEVER_LIVE),
    ):
        assert judge_switch(trace, limits) == SwitchResult(SwitchWord.NOT_SEEN, reason, 0, 0.0, None)


# --- turns to START


@pytest.mark.parametrize(("scale", "live_v"), [(1.0, 3.0), (2.0, 6.0)])
def test_the_s_wire_is_live_above_its_threshold(scale: float, live_v: float) -> None:
    assert switched(s_wire_v=live_v + 0.01, scale=scale).turns == 1
    assert switched(s_wire_v=live_v - 0.01, scale=scale).reason == NEVER_LIVE


def test_a_turn_lasts_half_a_second() -> None:
    assert switched(turns=((START, START + 256),)).turns == 1
    assert switched(turns=((START, START + 255),)).reason == NEVER_LIVE


def test_breaks_shorter_than_150_ms_are_bridged() -> None:
    assert switched(turns=((START, START + 200), (START + 276, START + 476))).turns == 1  # 76 bins, 148 ms
    assert switched(turns=((START, START + 200), (START + 277, START + 477))).reason == NEVER_LIVE  # 150.4 ms: two short ones
    assert switched(turns=((START, START + 256), (START + 333, START + 600))).turns == 2


def test_a_bridged_turn_begins_where_its_first_piece_did() -> None:
    pieces = ((START, START + 250), (START + 300, START + 550), (START + 600, START + 700))
    assert switched((START - 200, START - 190), turns=pieces).word is SwitchWord.LOST
    assert switched((START + 890, START + 900), turns=pieces).word is SwitchWord.LOST


def test_a_turn_is_bridged_to_the_piece_before_it() -> None:
    pieces = ((1024, 1300), (1500, 1800), (1850, 2200))  # two turns, the second of two pieces
    assert switched(turns=pieces).turns == 2
    assert switched((2300, 2310), turns=pieces).word is SwitchWord.LOST  # 0.2 s after the last piece
    assert switched((1400, 1410), turns=pieces).lowest_v == 0.0
    assert switched((1020, 1030), turns=pieces).word is SwitchWord.LOST


def test_the_key_may_be_off_between_turns() -> None:
    apart = ((1024, 1300), (3000, 3300))
    assert switched((1600, 2780), turns=apart).word is SwitchWord.HELD  # ON is asked for before the first only


def test_ten_turns_are_wanted() -> None:
    few, enough = switched(turns=many(9)), switched(turns=many(10))
    assert few == SwitchResult(
        SwitchWord.HELD, "through 9 turns to START and back, lowest 12.40 V; 10 turns are wanted", 9, 0.0, 12.4
    )
    assert enough == SwitchResult(SwitchWord.HELD, "through 10 turns to START and back, lowest 12.40 V", 10, 0.0, 12.4)


# --- live in ON before the first START: the median from 1 s to 0.1 s before it


def test_the_feed_must_be_live_in_on_first() -> None:
    window = range(START - 512, START - 52)  # bins from 1.0 s to 0.1 s before: 460
    dead = (window.start, window.start + 231)
    assert switched(dead) == SwitchResult(SwitchWord.LOST, "the feed was not live in ON before START", 1, 0.0, None)
    assert switched((window.stop - 231, window.stop)).reason == "the feed was not live in ON before START"
    assert switched((window.start - 1, window.start + 230)).word is SwitchWord.HELD  # half of it; one bin more or less decides
    for first, past in ((window.stop - 230, window.stop), (window.stop - 230, window.stop + 1)):
        assert switched((first, past)).reason.startswith("the feed was lost for")


def test_what_was_earlier_or_in_the_last_tenth_of_a_second_is_not_asked() -> None:
    assert switched((0, START - 512)).word is SwitchWord.HELD
    near = switched((START - 51, START))
    assert near.reason.startswith("the feed was lost for")


@pytest.mark.parametrize(("scale", "live_v"), [(1.0, 5.0), (2.0, 10.0)])
def test_live_is_above_the_limit(scale: float, live_v: float) -> None:
    early = (0, START - 200)
    assert switched(early, volts=live_v + 0.1, scale=scale).word is SwitchWord.HELD
    assert switched(early, volts=live_v - 0.1, scale=scale).reason == "the feed was not live in ON before START"


def test_a_start_too_early_to_see_on_before_it_is_no_held() -> None:
    assert switched(turns=((51, 600),)).reason == "the feed was not live in ON before START"
    assert switched(turns=((53, 600),)).word is SwitchWord.HELD


# --- losses: how low, how long, where


@pytest.mark.parametrize(("scale", "minimum_v"), [(1.0, 7.0), (2.0, 10.0)])
def test_low_is_below_the_modules_minimum(scale: float, minimum_v: float) -> None:
    assert switched((1100, 1110), volts=minimum_v - 0.01, scale=scale).word is SwitchWord.LOST
    held = switched((1100, 1110), volts=minimum_v + 0.01, scale=scale)
    assert (held.word, held.lost_s, held.lowest_v) == (SwitchWord.HELD, 0.0, minimum_v + 0.01)


@pytest.mark.parametrize(("scale", "off_v"), [(1.0, 2.0), (2.0, 4.0)])
def test_or_dead_for_a_moment_within_a_bin(scale: float, off_v: float) -> None:
    assert switched((1100, 1110), volts=12.0 * scale, lowest_v=off_v - 0.01, scale=scale).word is SwitchWord.LOST
    held = switched((1100, 1110), volts=12.0 * scale, lowest_v=off_v + 0.01, scale=scale)
    assert (held.word, held.lowest_v) == (SwitchWord.HELD, off_v + 0.01)


def test_a_bounce_may_last_ten_milliseconds() -> None:
    held = switched((1100, 1105))
    assert (held.word, held.lost_s, held.lowest_v) == (SwitchWord.HELD, 5 * BIN_S, 0.0)
    assert switched((1103, 1109), volts=1.5) == SwitchResult(
        SwitchWord.LOST, "the feed was lost for 11.7 ms at 2.15 s, down to 1.50 V", 1, 6 * BIN_S, 1.5
    )


def test_bounces_do_not_add_up() -> None:
    assert switched((1100, 1105), (1106, 1111), (1112, 1117)).word is SwitchWord.HELD


@pytest.mark.parametrize(
    ("first", "lost"),
    [
        (START - 210, False),  # 5 bins of it reach into the 0.4 s before START (204.8 bins)
        (START - 209, True),  # 6 bins
        (BACK + 198, True),  # 6 bins before 0.4 s after it
        (BACK + 199, False),
    ],
)
def test_the_keys_travel_of_four_tenths_of_a_second_belongs_to_it(first: int, lost: bool) -> None:
    word = switched((first, first + 11 if first < START else first + 10)).word
    assert word is (SwitchWord.LOST if lost else SwitchWord.HELD)


def test_the_longest_loss_of_all_turns_is_told() -> None:
    turns = ((1024, 1300), (1800, 2100), (2500, 2800))
    losses = ((1100, 1107), (1900, 1920), (2600, 2610))
    result = switched(*losses, turns=turns, volts=3.0)
    assert result == SwitchResult(
        SwitchWord.LOST, "the feed was lost for 39.1 ms at 3.71 s, down to 3.00 V", 3, 20 * BIN_S, 3.0
    )
    two_in_one = switched((1100, 1120), (1150, 1160), volts=3.0)
    assert two_in_one.lost_s == 20 * BIN_S


def test_the_lowest_is_that_of_start_only() -> None:
    assert switched((BACK + 300, BACK + 400), volts=1.0).lowest_v == 12.4
    deeper = switched((1100, 1103), (BACK + 150, BACK + 152), volts=6.0, lowest_v=5.5)
    assert (deeper.word, deeper.lowest_v) == (SwitchWord.HELD, 5.5)


@pytest.mark.parametrize(
    ("turns", "next_text"), [(9, "firstcrank switch-test again"), (10, "put the S wire back, then firstcrank start")]
)
def test_too_few_turns_send_nobody_on_to_the_start(turns: int, next_text: str) -> None:
    out = io.StringIO()
    show_switch(Console(file=out, width=200), SwitchResult(SwitchWord.HELD, f"through {turns} turns", turns), simulated=False)
    (line,) = [line for line in out.getvalue().splitlines() if line.startswith("Next: ")]
    assert next_text in line
