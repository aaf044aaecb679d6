"""F1, F2: losses of the feed, by length, depth, phase and travel, as bins with run counts, bins without, and single readings."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from firstcrank.trace import Trace

from .ask import ASKED, FAIL, NO, PASS, ask, describe, doubled, feed_verdict, limits
from .case import Case, hold, table
from .maker import FINE, Crank, Made, Setup

OUT = "no verdict"
DROPOUT = "key_feed_dropout"
ON, START, LET_GO = 1.0, 3.0, 6.0
SITES = {"key on": 2.0, "key turn": 2.72, "crank": 4.5, "release": 6.26, "after": 7.2}  # outside of every travel


def loss(at_s: float, length_s: float, volts: float = 0.0, **fields: object) -> Trace:
    return Made(Setup(**fields)).feed(volts, at_s, length_s).bins()  # type: ignore[arg-type]


F1 = [
    *(Case(f"F1 inside: 0.9 ms in {p}", partial(loss, at, 0.0009), PASS, DROPOUT, "pass", phase=p) for p, at in SITES.items()),
    *(Case(f"F1 vague: 1.0 ms in {p}", partial(loss, at, 0.001), NO, DROPOUT, OUT, phase=p) for p, at in SITES.items()),
    *(Case(f"F1 outside: 1.1 ms in {p}", partial(loss, at, 0.0011), FAIL if p not in ("key turn", "release") else NO, DROPOUT,
           "fail" if p not in ("key turn", "release") else OUT, phase=p) for p, at in SITES.items()),
    *(Case(f"F1 outside: 13 ms in {p}", partial(loss, at, 0.013), FAIL, DROPOUT, "fail", phase=p) for p, at in SITES.items()),
    Case("F1 depth inside: 7.1 V", lambda: shallow(7.1), PASS, DROPOUT, "pass", phase="crank"),
    Case("F1 depth vague: 7.0 V", lambda: shallow(6.995, 0.0005), NO, DROPOUT, OUT, phase="crank"),
    Case("F1 depth vague: noise about 7.0 V", lambda: shallow(7.0), NO, "key_feed_short_losses", OUT, phase="crank"),
    Case("F1 depth outside: 6.9 V", lambda: shallow(6.9), FAIL, DROPOUT, "fail", phase="crank"),
    Case("F1 limit: module_minimum_v", lambda: shallow(7.1), FAIL, DROPOUT, "fail", limits=limits(module_minimum_v=7.3)),
    Case("F1 limit: dropout_min_s", lambda: loss(4.5, 0.0018), PASS, DROPOUT, "pass", limits=limits(dropout_min_s=0.002)),
    Case("F1 second crank", lambda: Made(Setup(cranks=(Crank(3.0, 2.2), Crank(7.5, 2.2)), end_s=12.0)).feed(0.0, 8.5, 0.002).bins(),
         FAIL, DROPOUT, "fail", crank=2),
    Case("F1 just after ON + 0.1 s", lambda: loss(ON + 0.12, 0.0015), FAIL, DROPOUT, "fail", phase="key on"),
    Case("F1 in the last 10 ms of the recording", lambda: loss(8.39, 0.004), FAIL, DROPOUT, "fail", phase="after"),
    Case("F1 just before OFF", lambda: Made(Setup(off_s=8.2, end_s=9.0)).feed(0.0, 8.1, 0.004).bins(), FAIL, DROPOUT, "fail",
         phase="after"),
]  # fmt: skip


def shallow(volts: float, noise_v: float = 0.006) -> Trace:
    """The battery is low and the feed goes from just above the minimum to `volts` for 20 ms: no drop that counts by itself."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=4.0, inrush_v=0.5),)))
    made.noise_v = noise_v
    return made.feed(volts, 4.5, 0.02).bins()


@table(F1)
def test_losses(case: Case) -> None:
    hold(case)


TRAVEL = [
    # (name, start of a bounce, its length, the feed's verdict, result)
    ("inside 0.15 s before START", START - 0.14, 0.009, PASS, "warn"),
    ("inside, up to START", START - 0.0105, 0.009, PASS, "warn"),
    ("vague, begins 0.155 s before START", START - 0.155, 0.009, NO, OUT),
    ("vague, 0.29 s before START", START - 0.29, 0.009, NO, OUT),
    ("outside, 0.33 s before START", START - 0.33, 0.009, FAIL, "fail"),
    ("vague, ends 3 ms after START", START - 0.006, 0.009, NO, OUT),
    ("vague, 3 ms right after START", START + 0.001, 0.003, NO, OUT),
    ("outside, from 7 ms after START", START + 0.007, 0.003, FAIL, "fail"),
    ("outside, ends 9 ms after START", START, 0.0092, FAIL, "fail"),
    ("outside, 40 ms before LET GO", LET_GO - 0.04, 0.009, FAIL, "fail"),
    ("outside, begins 25 ms before LET GO", LET_GO - 0.025, 0.009, FAIL, "fail"),
    ("vague, begins 18 ms before LET GO", LET_GO - 0.018, 0.009, NO, OUT),
    ("vague, over LET GO", LET_GO - 0.004, 0.009, NO, OUT),
    ("inside, from LET GO", LET_GO + 0.002, 0.009, PASS, "warn"),
    ("inside, ends 0.145 s after LET GO", LET_GO + 0.136, 0.009, PASS, "warn"),
    ("vague, ends 0.155 s after LET GO", LET_GO + 0.146, 0.009, NO, OUT),
    ("vague, ends 0.29 s after LET GO", LET_GO + 0.28, 0.009, NO, OUT),
    ("outside, ends 0.32 s after LET GO", LET_GO + 0.311, 0.009, FAIL, "fail"),
    ("inside, right after ON", ON + 0.002, 0.009, PASS, "warn"),
    ("inside, ends 0.095 s after ON", ON + 0.086, 0.009, PASS, "warn"),
    ("outside, ends 0.106 s after ON", ON + 0.097, 0.009, FAIL, "fail"),
    ("too long in travel, before START", START - 0.14, 0.011, FAIL, "fail"),
    ("too long in travel, after LET GO", LET_GO + 0.05, 0.011, FAIL, "fail"),
    ("too long in travel, after ON", ON + 0.02, 0.011, FAIL, "fail"),
    ("vague length in travel", START - 0.1, 0.010, NO, OUT),
    ("too long in the vague part", START - 0.25, 0.011, FAIL, "fail"),
]


@pytest.mark.parametrize("where", TRAVEL, ids=[row[0] for row in TRAVEL])
def test_a_bounce_of_the_travel(where: tuple[str, float, float, str, str]) -> None:
    name, at_s, length_s, verdict, result = where
    judgement = hold(Case(f"F1 travel {name}", lambda: loss(at_s, length_s), verdict, DROPOUT, result))
    if result == "warn":
        assert judgement.tolerated, describe(judgement)
        assert "bounce" in judgement.reasons[0].lower() or "tolerated" in judgement.reasons[0].lower()


def openings(*parts: tuple[float, float]) -> Trace:
    made = Made()
    for at_s, length_s in parts:
        made.feed(0.0, at_s, length_s)
    return made.bins()


BOUNCES = [
    Case("F1 one bounce of two openings, 9 ms in all", lambda: openings((2.9, 0.003), (2.906, 0.003)), PASS, DROPOUT, "pass"),
    Case("F1 two openings, 12 ms in all", lambda: openings((2.9, 0.003), (2.909, 0.003)), FAIL, DROPOUT, "fail"),
    Case("F1 two bounces in one travel", lambda: openings((2.87, 0.003), (2.92, 0.003)), FAIL, DROPOUT, "fail"),
    Case("F1 a bounce in each travel", lambda: openings((2.9, 0.006), (6.05, 0.006)), PASS, DROPOUT, "pass"),
    Case("F1 two losses of 0.9 ms joined by a blip", lambda: openings((4.5, 0.0009), (4.50092, 0.0009)), FAIL, DROPOUT, "fail"),
    Case("F1 two losses of 0.9 ms, 20 ms apart", lambda: openings((4.5, 0.0009), (4.52, 0.0009)), PASS, DROPOUT, "pass"),
]


@table(BOUNCES)
def test_bounces(case: Case) -> None:
    hold(case)


def short(
    count: int, length_s: float, from_s: float = 3.5, every_s: float = 0.1, also: tuple[tuple[float, float], ...] = ()
) -> Trace:
    return openings(*((from_s + every_s * i, length_s) for i in range(count)), *also)


SHORT = "key_feed_short_losses"
F2 = [
    Case("F2 inside: 4.3 ms of 8", lambda: short(8, 0.000528), PASS, SHORT, "pass"),
    Case("F2 vague: 4.9 ms of 9, upper bounds over 5", lambda: short(9, 0.000552), NO, SHORT, OUT),
    Case("F2 outside: 6 ms of 10", lambda: short(10, 0.0006), FAIL, SHORT, "fail"),
    Case("F2 inside: 20 losses", lambda: short(20, 0.00012), PASS, SHORT, "pass"),
    Case("F2 vague: 21 losses", lambda: short(21, 0.00012), NO, SHORT, OUT),
    Case("F2 outside: 910 losses of one sample", lambda: short(910, 24e-6, 3.2, 0.003), NO, SHORT, OUT),
    Case("F2 over cranks and phases together", lambda: openings(*((at + i * 0.05, 0.0006) for at in (1.5, 4.0, 7.0) for i in range(4))),
         FAIL, SHORT, "fail"),
    Case("F2 right after ON too", lambda: short(12, 0.0006, 1.005, 0.008), FAIL, SHORT, "fail"),
    Case("F2 a tolerated bounce is not counted", lambda: short(8, 0.000528, also=((2.9, 0.009),)), PASS, SHORT, "pass"),
    Case("F2 a loss after OFF is not counted",
         lambda: Made(Setup(off_s=8.2, end_s=9.0)).feed(0.0, 4.5, 0.0009).feed(0.0, 5.0, 0.0009).bins(), PASS, SHORT, "pass"),
]  # fmt: skip


@table(F2)
def test_short_losses(case: Case) -> None:
    hold(case)


# --- other ways of sampling


def behind_ground(length_s: float, volts: float, runs: bool = True) -> Trace:
    """Module ground is lifted by 1 V in the crank; the feed against battery negative goes to `volts` for a while."""
    made = Made().lead("module_ground", lambda m: np.where((m.t > 3.02) & (m.t < 6.0), 0.4, 0.0))
    return made.feed(volts, 4.5, length_s).bins(runs=runs)


OTHER = [
    # bins without counts of runs: the bounds are wider, so the sides lie further off
    Case("no runs inside: 0.2 ms", lambda: Made().feed(0.0, 4.5, 0.0002).bins(runs=False), PASS, DROPOUT, "pass"),
    Case("no runs outside: 4 ms", lambda: Made().feed(0.0, 4.5, 0.004).bins(runs=False), FAIL, DROPOUT, "fail", phase="crank"),
    Case("no runs outside: 20 ms at 6.9 V", lambda: Made().feed(6.9, 7.2, 0.02).bins(runs=False), FAIL, DROPOUT, "fail", phase="after"),
    Case("no runs, 2 ms in key on", lambda: Made().feed(0.0, 2.0, 0.003).bins(runs=False), FAIL, DROPOUT, "fail", phase="key on"),
    Case("runs at another voltage", lambda: Made().feed(7.4, 7.2, 0.004).bins(), FAIL, DROPOUT, "fail",
         limits=limits(module_minimum_v=7.6)),
    # single readings every 96 us
    Case("rows inside: 0.7 ms", lambda: Made().feed(0.0, 4.5, 0.0007).rows(), PASS, DROPOUT, "pass"),
    Case("rows vague: 1.0 ms", lambda: Made().feed(0.0, 4.5, 0.001).rows(), NO, DROPOUT, OUT),
    Case("rows outside: 1.3 ms", lambda: Made().feed(0.0, 4.5, 0.0013).rows(), FAIL, DROPOUT, "fail", phase="crank"),
    # against module ground: 7.3 V against battery negative are 6.9 V at the module
    Case("module ground inside: 8.8 V", lambda: behind_ground(0.02, 8.8), PASS, DROPOUT, "pass"),
    Case("module ground outside: 7.3 V", lambda: behind_ground(0.02, 7.3), FAIL, DROPOUT, "fail", phase="crank"),
    Case("module ground outside: 1.6 ms at 0 V", lambda: behind_ground(0.0024, 0.0), FAIL, DROPOUT, "fail", phase="crank"),
    Case("module ground outside: 4 ms at 7.2 V, no runs below it", lambda: behind_ground(0.004, 7.2), FAIL, DROPOUT, "fail",
         phase="crank"),
    # 24 V
    Case("24 V inside: 0.9 ms", lambda: loss(4.5, 0.0009, scale=2.0), PASS, DROPOUT, "pass", limits=doubled()),
    Case("24 V outside: 1.1 ms", lambda: loss(4.5, 0.0011, scale=2.0), FAIL, DROPOUT, "fail", limits=doubled()),
]  # fmt: skip


@table(OTHER)
def test_other_sampling(case: Case) -> None:
    hold(case)


@pytest.mark.parametrize("length_s", [0.0012, 0.0031, 0.0077, 0.0515, 0.8])
@pytest.mark.parametrize("way", ["bins", "no runs", "rows"])
def test_a_losses_bounds_hold_its_length(length_s: float, way: str) -> None:
    made = Made().feed(0.0, 4.4, length_s)
    trace = {"bins": made.bins, "no runs": lambda: made.bins(runs=False), "rows": made.rows}[way]()
    judgement = ask(trace, ASKED)
    (dropout,) = judgement.dropouts
    step_s = 24e-6 if way != "rows" else 96e-6
    wide_s = 2 * step_s + 1e-9 if way != "no runs" else 5 * 0.768e-3
    assert dropout.duration_low_s <= length_s + 1e-9 <= dropout.duration_high_s + 2e-9, dropout
    assert dropout.duration_high_s - dropout.duration_low_s <= wide_s + 1e-6
    assert dropout.start_s == pytest.approx(4.4, abs=0.768e-3)


def test_a_loss_is_told_once_with_the_phases_that_it_crossed() -> None:
    judgement = ask(Made().feed(0.0, 2.9, 3.3).bins())
    (dropout,) = judgement.dropouts
    assert dropout.phases == ("key turn", "crank", "release")
    assert dropout.duration_s == pytest.approx(3.3, abs=0.001)
    assert feed_verdict(judgement) == FAIL
    assert sum("lost for" in reason for reason in judgement.reasons) == 1


@pytest.mark.parametrize(("volts", "expected"), [(6.93, NO), (6.7, FAIL), (7.30, PASS), (7.12, NO)])
def test_the_depth_must_clear_the_minimum_by_twice_the_uncertainty(volts: float, expected: str) -> None:
    """With u = 0.0100 V at 7 V (k = 2: 0.2 V either side by its gain): 6.93 and 7.12 lie within, 6.7 and 7.3 beyond."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=4.0, inrush_v=0.5),)), noise_v=0.001)
    made.uncertainty = replace(FINE, gain_rel=0.012, offset_v=0.0, shared_gain_rel=0.0, noise_v=0.001)
    judgement = ask(made.feed(volts, 4.5, 0.02).bins(), to=limits(feed_drop_brief_fail_v=4.0, feed_drop_fail_v=3.0))
    assert feed_verdict(judgement) == expected, describe(judgement)
