"""F3, F4, F5: what is lost between source and feed, steadily and briefly, in every phase and crank; and a feed above its source."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from firstcrank.trace import Trace, Uncertainty

from .ask import ASKED, FAIL, NO, PASS, Context, ask, describe, doubled, feed_verdict, limits
from .case import Case, hold, table
from .maker import FEED_DROP_V, FINE, Crank, Made, Setup

OUT = "no verdict"
STEADY, BRIEF, ABOVE = "key_feed_drop_steady", "key_feed_drop_brief", "key_feed_above_source"
ON, START, LET_GO = 1.0, 3.0, 6.0
LOADED = Context(cranked_with_key=True, module_plugged_in=True, feed_kind="loaded")
LONG = Setup(on_s=1.0, cranks=(Crank(4.0, 3.0),), end_s=10.0)
TWO = Setup(cranks=(Crank(3.0, 2.2), Crank(7.5, 2.2)), end_s=12.0)


def total(volts: float, at_s: float, length_s: float, setup: Setup | None = None) -> Trace:
    """The drop from the source to the feed is `volts` in all for a while."""
    made = Made(setup or Setup())
    return made.drop(volts - FEED_DROP_V, at_s, length_s).bins()


SITES = {"key on": 1.6, "crank": 4.0, "after": 7.0}
F3 = [
    *(Case(f"F3 inside: 0.97 V in {p}", partial(total, 0.97, at, 0.7), PASS, STEADY, "warn", phase=p) for p, at in SITES.items()),
    *(Case(f"F3 vague: 1.00 V in {p}", partial(total, 1.0, at, 0.7), NO, STEADY, OUT, phase=p) for p, at in SITES.items()),
    *(Case(f"F3 outside: 1.03 V in {p}", partial(total, 1.03, at, 0.7), FAIL, STEADY, "fail", phase=p) for p, at in SITES.items()),
    Case("F3 outside: in the turn", lambda: total(1.03, START - 0.4, 0.6), FAIL, STEADY, "fail", phase="key turn"),
    Case("F3 outside: in the release", lambda: total(1.03, LET_GO - 0.1, 0.6), FAIL, STEADY, "fail", phase="release"),
    Case("F3 inside: 0.47 V does not warn", lambda: total(0.47, 4.0, 0.7), PASS, STEADY, "pass"),
    Case("F3 inside: 0.53 V warns", lambda: total(0.53, 4.0, 0.7), PASS, STEADY, "warn", phase="crank"),
    Case("F3 window inside: 1.92 V for 0.24 s of 0.5 s", lambda: total(1.92, 4.5, 0.236), PASS, STEADY, "warn", phase="crank"),
    Case("F3 window outside: 1.92 V for 0.26 s of 0.5 s", lambda: total(1.92, 4.5, 0.26), FAIL, STEADY, "fail", phase="crank"),
    Case("F3 inside: 1.5 V until ON + 0.05 s", lambda: total(1.5, ON, 0.045), PASS, STEADY, "pass", phase="key on"),
    Case("F3 outside: from ON + 0.05 s", lambda: total(1.03, ON + 0.05, 0.6), FAIL, STEADY, "fail", phase="key on"),
    Case("F3 inside: from OFF", lambda: total(1.9, 8.2, 0.1, Setup(off_s=8.2, end_s=9.0)), PASS, STEADY, "pass"),
    Case("F3 outside: up to OFF", lambda: total(1.03, 7.5, 0.7, Setup(off_s=8.2, end_s=9.0)), FAIL, STEADY, "fail", phase="after"),
    Case("F3 outside: one crank of two", lambda: total(1.1, 8.0, 1.0, TWO), FAIL, STEADY, "fail", crank=2, phase="crank"),
    Case("F3 outside: the last 0.6 s of a crank", lambda: total(1.1, 5.4, 0.6), FAIL, STEADY, "fail", phase="crank"),
    Case("F3 outside: low samples are in it", lambda: spiked(1.05), FAIL, STEADY, "fail", phase="crank"),
    Case("F3 limit: feed_drop_fail_v", lambda: total(1.03, 4.0, 0.7), PASS, STEADY, "warn", limits=limits(feed_drop_fail_v=1.1)),
    Case("F3 loaded, inside: 0.48 V", lambda: total(0.48, 4.0, 0.7), PASS, STEADY, "pass", context=LOADED),
    Case("F3 loaded, outside: 0.52 V", lambda: total(0.52, 4.0, 0.7), FAIL, STEADY, "fail", context=LOADED),
    Case("F3 24 V inside: 1.94 V", lambda: total(0.97, 4.0, 0.7, Setup(scale=2.0)), PASS, STEADY, "warn", limits=doubled()),
    Case("F3 24 V outside: 2.06 V", lambda: total(1.03, 4.0, 0.7, Setup(scale=2.0)), FAIL, STEADY, "fail", limits=doubled()),
    Case("F3 a tolerated bounce is not in it", lambda: bounce_and_drop(), PASS, STEADY, "pass", phase="key turn"),
]  # fmt: skip


def stepped(length_s: float, dead_s: float) -> Trace:
    """A drop of 4 V behind LET GO, dead in its middle: a short loss, in a drop that may be longer than a bounce."""
    at_s = LET_GO + 0.05
    return Made().drop(4.0 - FEED_DROP_V, at_s, length_s).feed(0.0, at_s + 0.5 * (length_s - dead_s), dead_s).bins()


def spiked(volts: float) -> Trace:
    """A drop through the whole crank, with a spike of one sample every 3.8 ms on it."""
    made = Made().drop(volts - FEED_DROP_V, 3.0, 3.0)
    for i in range(750):
        made.feed(0.0, 3.1 + i * 0.0038, 24e-6)
    return made.bins()


def bounce_and_drop() -> Trace:
    """0.9 ms short of the longest bounce at 0 V would make 0.22 V of mean by itself."""
    return Made().drop(0.25, 2.5, 0.6).feed(0.0, 2.9, 0.009).bins()


@table(F3)
def test_steady_drop(case: Case) -> None:
    hold(case)


F4 = [
    *(Case(f"F4 inside: 1.95 V for 20 ms in {p}", partial(total, 1.95, at, 0.02), PASS, BRIEF, "pass", phase=p)
      for p, at in SITES.items()),
    *(Case(f"F4 outside: 2.05 V for 20 ms in {p}", partial(total, 2.05, at, 0.02), FAIL, BRIEF, "fail", phase=p)
      for p, at in SITES.items()),
    Case("F4 vague: 2.00 V for 20 ms", lambda: total(2.0, 4.0, 0.02), NO, BRIEF, OUT, phase="crank"),
    Case("F4 window inside: 4 V for 4.2 ms", lambda: total(4.0, 7.0, 0.0042), PASS, BRIEF, "pass", phase="after"),
    Case("F4 window outside: 4 V for 5.8 ms", lambda: total(4.0, 7.0, 0.0058), FAIL, BRIEF, "fail", phase="after"),
    Case("F4 inside: until ON + 0.05 s", lambda: total(2.5, ON, 0.045), PASS, BRIEF, "pass", phase="key on"),
    Case("F4 outside: from ON + 0.06 s", lambda: total(2.5, ON + 0.06, 0.03), FAIL, BRIEF, "fail", phase="key on"),
    Case("F4 second crank", lambda: total(2.3, 8.5, 0.02, TWO), FAIL, BRIEF, "fail", crank=2),
    Case("F4 limit: feed_drop_brief_fail_v", lambda: total(2.05, 4.0, 0.02), PASS, BRIEF, "pass",
         limits=limits(feed_drop_brief_fail_v=2.2)),
    Case("F4 travel inside: 4 V for 9 ms before START", lambda: total(4.0, START - 0.1, 0.009), PASS, BRIEF, "pass", phase="key turn"),
    Case("F4 travel outside: 4 V for 13 ms before START", lambda: total(4.0, START - 0.1, 0.013), FAIL, BRIEF, "fail", phase="key turn"),
    Case("F4 travel inside: 4 V for 9 ms after LET GO", lambda: total(4.0, LET_GO + 0.05, 0.009), PASS, BRIEF, "pass", phase="release"),
    Case("F4 travel outside: 4 V for 13 ms after LET GO", lambda: total(4.0, LET_GO + 0.05, 0.013), FAIL, BRIEF, "fail",
         phase="release"),
    Case("F4 travel vague: 4 V for 9 ms, 0.22 s before START", lambda: total(4.0, START - 0.22, 0.009), NO, BRIEF, OUT, phase="key turn"),
    Case("F4 travel vague: 4 V for 9 ms, 0.2 s after LET GO", lambda: total(4.0, LET_GO + 0.2, 0.009), NO, BRIEF, OUT, phase="release"),
    Case("F4 travel inside: 4 V for 8.5 ms, dead for 5 ms of it", lambda: stepped(0.0085, 0.005), PASS, BRIEF, "pass", phase="release"),
    Case("F4 travel outside: 4 V for 13 ms, dead for 5 ms of it", lambda: stepped(0.013, 0.005), FAIL, BRIEF, "fail", phase="release"),
    Case("F4 travel vague: 4 V for 9.8 ms, dead for 5 ms of it", lambda: stepped(0.0098, 0.005), NO, BRIEF, OUT, phase="release"),
    Case("F4 outside of travel: 0.33 s before START", lambda: total(4.0, START - 0.33, 0.009), FAIL, BRIEF, "fail", phase="key on"),
    Case("F4 outside of travel: 0.33 s after LET GO", lambda: total(4.0, LET_GO + 0.33, 0.009), FAIL, BRIEF, "fail", phase="after"),
    Case("F4 outside of travel: 40 ms before LET GO", lambda: total(3.0, LET_GO - 0.04, 0.009), FAIL, BRIEF, "fail", phase="crank"),
    Case("F4 many spikes of a drop", lambda: busy_drop(), FAIL, BRIEF, "fail", phase="crank"),
]  # fmt: skip


def busy_drop() -> Trace:
    """3 V through the whole crank with spikes on it: neither the drop nor the spikes may hide the other."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=1.6, inrush_v=0.5),))).drop(2.8, 3.05, 2.9)
    for i in range(900):
        made.feed(0.0, 3.1 + i * 0.003, 24e-6)
    return made.bins()


@table(F4)
def test_brief_drop(case: Case) -> None:
    hold(case)


F5 = [
    Case("F5 inside: 0.27 V above", lambda: total(-0.27, 7.0, 0.7), PASS, ABOVE, "pass"),
    Case("F5 outside: 0.34 V above", lambda: total(-0.34, 7.0, 0.7), NO, ABOVE, OUT, phase="after"),
    Case("F5 outside: in the crank", lambda: total(-0.5, 4.0, 0.7), NO, ABOVE, OUT, phase="crank"),
    Case("F5 outside: in key on", lambda: total(-0.5, 1.6, 0.7), NO, ABOVE, OUT, phase="key on"),
    Case("F5 inside: 0.5 V above for 0.2 s", lambda: total(-0.5, 7.0, 0.2), PASS, ABOVE, "pass"),
    Case("F5 a FAIL stands beside it", lambda: Made().drop(-0.6, 7.0, 0.7).feed(0.0, 4.5, 0.05).bins(), FAIL, ABOVE, OUT),
    Case("F5 against its own source", lambda: own_source(0.9), PASS, ABOVE, "pass"),
    Case("F3 against its own source", lambda: own_source(-0.95), FAIL, STEADY, "fail"),
]


def own_source(volts: float) -> Trace:
    """The feed comes from another battery, whose post is clipped on, and lies `volts` above this one's: 0.12 V less, or 1.07 V."""
    if volts > 0:
        made = Made().lead("feed_source", lambda m: m.volts["battery"] + volts)
        return made.lead(
            "key_switch", lambda m: np.where(m.volts["key_switch"] > 1, m.volts["battery"] + volts - 0.12, 0.0)
        ).bins()
    made = Made().lead("feed_source", lambda m: m.volts["key_switch"] * 0.0 + m.volts["battery"] + 0.95)
    return made.bins()


@table(F5)
def test_above_its_source(case: Case) -> None:
    hold(case)


@pytest.mark.parametrize(
    ("drop_v", "expected"), [(0.86, PASS), (0.92, NO), (1.08, NO), (1.14, FAIL)], ids=["pass", "no, under", "no, over", "fail"]
)
def test_a_drop_must_clear_its_limit_by_twice_the_uncertainty_of_the_difference(drop_v: float, expected: str) -> None:
    """Offsets of 35 mV each: u = 49.5 mV, U = 99 mV (JCGM 100: independent contributions add in squares; k = 2)."""
    made = Made().drop(drop_v - FEED_DROP_V, 4.0, 0.7)
    made.uncertainty = replace(FINE, gain_rel=0.0, shared_gain_rel=0.0, offset_v=0.035)
    judgement = ask(made.bins(), ASKED)
    assert feed_verdict(judgement) == expected, describe(judgement)
    (found,) = [f for f in judgement.findings if f.check == STEADY and f.phase == "crank"]
    assert found.uncertainty == pytest.approx(0.099, abs=0.002)
    assert found.measured == pytest.approx(drop_v, abs=0.004)


def test_a_shared_gain_cancels_in_the_drop_and_own_gains_do_not() -> None:
    """JCGM 100: a common reference of 1 % of a drop of 0.12 V is 1 mV; own gains of 1 % of 10 V are 0.14 V together."""
    shared, own = Made(), Made()
    shared.uncertainty = replace(FINE, gain_rel=0.0, shared_gain_rel=0.01, offset_v=0.0)
    own.uncertainty = replace(FINE, gain_rel=0.01, shared_gain_rel=0.0, offset_v=0.0)
    u = []
    for made in (shared, own):
        found = [f for f in ask(made.bins(), ASKED).findings if f.check == STEADY and f.phase == "after"]
        u.append(found[0].uncertainty)
    assert u[0] < 0.01
    assert u[1] == pytest.approx(2 * 0.01 * np.hypot(12.4, 12.3), rel=0.1)


@pytest.mark.parametrize("at_s", [1.3, 2.4, 2.72, 3.3, 5.3, 5.9, 6.1, 6.7, 7.7])
def test_a_steady_drop_is_found_wherever_it_lies(at_s: float) -> None:
    judgement = ask(total(1.2, at_s, 0.55), ASKED)
    assert feed_verdict(judgement) == FAIL, describe(judgement)
    middle_s = at_s + 0.275
    found = [f for f in judgement.findings if f.check == STEADY and f.result == "fail"]
    borders = {p.name: (p.start_s, p.end_s) for p in judgement.phases}
    assert any(borders[f.phase][0] - 0.03 <= middle_s <= borders[f.phase][1] + 0.03 for f in found), describe(judgement)


EXACT = Uncertainty(0.0, 0.0)
A, B = 12.43, 12.31  # battery and feed in the phase after, V
U_OF_DROP = [
    # field, value, standard uncertainty of the drop of 0.12 V (JCGM 100 5.1: own parts of two leads add in squares)
    ("gain_rel", 0.01, 0.01 * float(np.hypot(A, B))),
    ("drift_rel", 0.01, 0.01 * float(np.hypot(A, B))),
    ("offset_v", 0.03, 0.03 * 2**0.5),
    ("steps_v", 0.03, 0.03 * 2**0.5),
    ("leakage_v", 0.03, 0.03 * 2**0.5),
    ("settling_v", 0.03, 0.03 * 2**0.5),
    # what is common to all leads is one part of the difference itself
    ("shared_gain_rel", 0.05, 0.05 * 0.12),
    ("shared_drift_rel", 0.05, 0.05 * 0.12),
    ("shared_slope_rel", 0.05, 0.05 * 0.12),
    ("shared_offset_v", 0.05, 0.0),
]


@pytest.mark.parametrize(("name", "value", "expected_v"), U_OF_DROP, ids=[row[0] for row in U_OF_DROP])
def test_each_part_of_the_uncertainty_counts_in_a_drop(name: str, value: float, expected_v: float) -> None:
    made = Made()
    made.uncertainty = replace(EXACT, **{name: value})
    (found,) = [f for f in ask(made.bins(), ASKED).findings if f.check == STEADY and f.phase == "after"]
    assert found.uncertainty == pytest.approx(2.0 * expected_v, rel=0.06, abs=0.002)


def test_a_gain_turns_about_its_pivot() -> None:
    made = Made()
    made.uncertainty = replace(EXACT, gain_rel=0.05, pivot_v=12.37)
    (found,) = [f for f in ask(made.bins(), ASKED).findings if f.check == STEADY and f.phase == "after"]
    assert found.uncertainty < 0.03
