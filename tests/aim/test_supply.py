"""P: the supply behind the feed, in cranks and outside. O1: the module's own supply and ground."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.trace import Trace

from .ask import ASKED, FAIL, NO, PASS, ask, describe, doubled, feed_verdict, limits
from .case import Case, hold, table
from .maker import BIN_S, Crank, Made, Setup

OUT = "no verdict"
SUPPLY, DROPOUT = "battery_minimum", "key_feed_dropout"
DEEP = Setup(
    cranks=(Crank(3.0, 3.0, sag_v=3.5, inrush_v=0.5, swing_v=0.2),)
)  # 9 V while cranking, so that a dip is a small step
TWO = Setup(cranks=(Crank(3.0, 2.2, 0.0, 3.5, 0.5, 0.2), Crank(7.5, 2.2, 0.0, 3.5, 0.5, 0.2)), end_s=12.0)


def dips(*parts: tuple[float, float, float], setup: Setup = DEEP) -> Made:
    """Battery and feed go down together: the feed to `volts`, its battery 0.12 V above it."""
    made = Made(setup)
    for volts, at_s, length_s in parts:
        made.put("battery", volts + 0.12, at_s, length_s).feed(volts, at_s, length_s)
    return made


P = [
    Case("P1 inside: 6.5 V for 4.7 ms", lambda: dips((6.5, 4.5, 0.0047)).bins(), PASS, SUPPLY, "pass", crank=1),
    Case("P1 vague: 6.5 V for 5.0 ms", lambda: dips((6.5, 4.5, 0.005)).bins(), NO, SUPPLY, OUT, crank=1),
    Case("P1 outside: 6.5 V for 5.3 ms", lambda: dips((6.5, 4.5, 0.0053)).bins(), FAIL, SUPPLY, "fail", crank=1),
    Case("P1 inside: 6.1 V", lambda: dips((6.1, 4.5, 0.003)).bins(), PASS, SUPPLY, "pass", crank=1),
    Case("P1 vague: 6.0 V", lambda: dips((6.015, 4.5, 0.003)).bins(), NO, SUPPLY, OUT, crank=1),
    Case("P1 outside: 5.9 V", lambda: dips((5.9, 4.5, 0.003)).bins(), FAIL, SUPPLY, "fail", crank=1),
    Case("P1 inside: 2 and 2.6 ms", lambda: dips((6.5, 4.0, 0.002), (6.5, 5.0, 0.0026)).bins(), PASS, SUPPLY, "pass", crank=1),
    Case("P1 outside: 3 and 3 ms", lambda: dips((6.5, 4.0, 0.003), (6.5, 5.0, 0.003)).bins(), FAIL, SUPPLY, "fail", crank=1),
    Case("P1 inside: 4 ms in each of two cranks", lambda: dips((6.5, 4.0, 0.004), (6.5, 8.5, 0.004), setup=TWO).bins(), PASS, SUPPLY,
         "pass"),
    Case("P1 outside: 6 ms in the second crank", lambda: dips((6.5, 8.5, 0.006), setup=TWO).bins(), FAIL, SUPPLY, "fail", crank=2),
    Case("P1 inside: the inrush, 2 ms", lambda: dips((6.5, 3.021, 0.002)).bins(), PASS, SUPPLY, "pass", crank=1),
    Case("P1 outside: the whole crank at 6.5 V", lambda: dips((6.5, 3.05, 2.9)).bins(), FAIL, SUPPLY, "fail", crank=1),
    Case("P1 limit: supply_dip_max_s", lambda: dips((6.5, 4.5, 0.0053)).bins(), PASS, SUPPLY, "pass",
         limits=limits(supply_dip_max_s=0.007)),
    Case("P1 limit: supply_dip_lowest_v", lambda: dips((5.5, 4.5, 0.003)).bins(), PASS, SUPPLY, "pass",
         limits=limits(supply_dip_lowest_v=5.0)),
    Case("P2 inside: 0.9 ms outside of cranks", lambda: dips((6.5, 7.2, 0.0009)).bins(), PASS, "battery_minimum", "pass"),
    Case("P2 outside: 1.2 ms outside of cranks", lambda: dips((6.5, 7.2, 0.0012)).bins(), FAIL, "battery_minimum", "fail"),
    Case("P2 outside: in key on", lambda: dips((6.5, 2.0, 0.003)).bins(), FAIL, "battery_minimum", "fail"),
    Case("P1 24 V inside", lambda: dips((6.5, 4.5, 0.0047), setup=Setup(cranks=DEEP.cranks, scale=2.0)).bins(), PASS, SUPPLY, "pass",
         limits=doubled()),
    Case("P1 24 V outside", lambda: dips((6.5, 4.5, 0.0053), setup=Setup(cranks=DEEP.cranks, scale=2.0)).bins(), FAIL, SUPPLY, "fail",
         limits=doubled()),
    # whose fault it is: the feed's, where it leaves its source for more than the larger of 1 ms and 5 % of the low time
    Case("P1 feed alone at 6.5 V, battery at 8.9 V", lambda: Made(DEEP).feed(6.5, 4.5, 0.1).bins(), FAIL, DROPOUT, "fail", crank=1),
    Case("P1 feed alone for 3 ms of 20", lambda: leaves(0.003), FAIL, DROPOUT, "fail", crank=1),
    Case("P1 feed alone for 0.5 ms of 20", lambda: leaves(0.0005), FAIL, SUPPLY, "fail", crank=1),
]  # fmt: skip


def leaves(length_s: float) -> Trace:
    """Both at 6.5 V for 20 ms, in which the feed goes to 4.5 V by itself for a while."""
    return dips((6.5, 4.5, 0.02)).feed(4.5, 5874 * BIN_S + 0.0001, length_s).bins()


@table(P)
def test_supply(case: Case) -> None:
    hold(case)


def test_a_tolerated_dip_stands_in_the_headline() -> None:
    judgement = ask(dips((6.5, 4.5, 0.004)).bins(), ASKED)
    assert judgement.tolerated, describe(judgement)
    assert judgement.reasons[0].count("Tolerated") == 1


def test_the_supply_is_not_blamed_for_the_feed_nor_the_feed_for_the_supply() -> None:
    supply = ask(dips((6.5, 3.1, 2.8)).bins(), ASKED)
    feed = ask(Made(DEEP).feed(6.5, 3.1, 2.8).bins(), ASKED)
    failed = [{str(f.check) for f in j.findings if f.result == "fail"} for j in (supply, feed)]
    assert failed[0] == {SUPPLY}, describe(supply)
    assert DROPOUT in failed[1], describe(feed)
    assert SUPPLY not in failed[1]
    assert supply.likely_causes[0].cause == "battery_weak"
    assert feed.likely_causes[0].cause == "feed_dead_in_start"


def module(supply_v: float, ground_v: float = 0.0, at_s: float = 4.5, length_s: float = 0.02) -> Trace:
    """Module supply less module ground at `supply_v` - `ground_v` for a while; the feed follows the ground, so it stays sound."""
    made = Made()
    made.lead("module_supply", lambda m: m.volts["battery"] - 0.1).put("module_supply", supply_v, at_s, length_s)
    made.lead("module_ground", lambda m: np.zeros_like(m.t)).put("module_ground", ground_v, at_s, length_s)
    return made.bins()


O1 = [
    Case("O1 leads on, all well", lambda: module(9.9, 0.0, length_s=0.0), PASS, "module_supply_minimum", "pass"),
    Case("O1 inside: 6.5 V for 4 ms", lambda: module(6.5, length_s=0.004), PASS, "module_supply_minimum", "pass"),
    Case("O1 outside: 6.5 V for 6 ms", lambda: module(6.5, length_s=0.006), PASS, "module_supply_minimum", "fail", overall=FAIL),
    Case("O1 outside: 5.9 V for 3 ms", lambda: module(5.9, length_s=0.003), PASS, "module_supply_minimum", "fail", overall=FAIL),
    Case("O1 vague: 7.0 V", lambda: module(7.0, length_s=0.02), PASS, "module_supply_minimum", OUT, overall=NO),
    Case("O1 outside: 6.95 V", lambda: module(6.95, length_s=0.02), PASS, "module_supply_minimum", "fail", overall=FAIL),
    Case("O1 inside: 7.1 V", lambda: module(7.1, length_s=0.02), PASS, "module_supply_minimum", "pass"),
    Case("O1 outside: ground up by 0.4 V, 7.2 V above it", lambda: module(7.2, 0.4), PASS, "module_supply_minimum", "fail",
         overall=FAIL),
]  # fmt: skip


@table(O1)
def test_module_supply(case: Case) -> None:
    hold(case)


@pytest.mark.parametrize("crank_v", [2.6, 4.9])
def test_feed_and_battery_low_for_a_whole_crank_is_never_a_pass(crank_v: float) -> None:
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=12.4 - crank_v, inrush_v=0.1),)))
    judgement = ask(made.bins(), ASKED)
    assert feed_verdict(judgement) in (FAIL, NO), describe(judgement)
    assert judgement.verdict != PASS
