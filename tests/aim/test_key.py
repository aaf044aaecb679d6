"""K: the feed seen dead, live, held; and when a dead feed is the key's doing."""

from __future__ import annotations

import numpy as np

from firstcrank.trace import Trace

from .ask import FAIL, NO, PASS
from .case import Case, hold, table
from .maker import Crank, Made, Setup, Volts

OUT = "no verdict"
START, LET_GO = 3.0, 6.0


def setup(**fields: object) -> Trace:
    return Made(Setup(**fields)).bins()  # type: ignore[arg-type]


def dead_level(volts: float) -> Trace:
    return Made().feed(volts, 0.0, 1.0).bins()


def live_level(volts: float) -> Trace:
    """After ON the feed stands at this for a while before it is good."""
    return Made().feed(volts, 1.0, 0.02).bins()


def two(off_s: float | None = None, again_s: float = 0.0, second_s: float = 10.0, **more: float) -> Setup:
    """Two cranks of 2.5 s, START at 3.0 and `second_s`; key off from `off_s` to `again_s` where given."""
    offs = () if off_s is None else ((off_s, again_s),)
    return Setup(cranks=(Crank(3.0, 2.5), Crank(second_s, 2.5)), offs=offs, end_s=second_s + 4.8, **more)  # type: ignore[arg-type]


K1 = [
    Case("K1 inside: dead for 60 ms", lambda: setup(on_s=0.06), PASS, "key_seen_dead", "pass"),
    Case("K1 outside: dead for 45 ms", lambda: setup(on_s=0.045), NO, "key_seen_dead", OUT),
    Case("K1 outside: never dead", lambda: setup(on_s=0.0), NO, "key_seen_dead", OUT),
    Case("K1 outside: never dead, a loss stands", lambda: Made(Setup(on_s=0.0)).feed(0.0, 4.5, 0.05).bins(), FAIL,
         "key_seen_dead", OUT),
    Case("K1 inside: dead is 1.9 V", lambda: dead_level(1.9), PASS, "key_seen_dead", "pass"),
    Case("K1 outside: dead is 2.1 V", lambda: dead_level(2.1), NO, "key_seen_dead", OUT),
    Case("K1 never live", lambda: Made().feed(0.0, 1.0, 9.0).bins(), NO, "key_seen_dead", OUT),
    # K2
    Case("K2 inside: live for 0.21 s", lambda: setup(on_s=START - 0.21), PASS, "key_live_before", "pass"),
    Case("K2 outside: live for 0.19 s", lambda: setup(on_s=START - 0.19), NO, "key_live_before", OUT),
    Case("K2 outside: ON in the crank", lambda: setup(on_s=START + 0.5), NO, "key_live_before", OUT),
    # K3
    Case("K3 inside: watched for 2.01 s", lambda: setup(end_s=LET_GO + 2.01), PASS, "key_held_after", "pass"),
    Case("K3 outside: watched for 1.98 s", lambda: setup(end_s=LET_GO + 1.98), NO, "key_held_after", OUT),
    Case("K3 inside: OFF after 2.02 s", lambda: setup(off_s=LET_GO + 2.02, end_s=9.0), PASS, "key_held_after", "pass"),
    Case("K3 outside: OFF after 1.97 s", lambda: setup(off_s=LET_GO + 1.97, end_s=9.0), NO, "key_held_after", OUT),
    Case("K3 outside: OFF at once", lambda: setup(off_s=LET_GO + 0.1, end_s=9.0), NO, "key_held_after", OUT),
    Case("K3 inside: next START after 0.6 s", lambda: Made(two(second_s=6.1)).bins(), PASS, "key_held_after", "pass", crank=1),
    Case("K3 inside: OFF between, after 2.05 s", lambda: Made(two(7.55, 8.5)).bins(), PASS, "key_held_after", "pass", crank=1),
    Case("K3 outside: OFF between, after 1.95 s", lambda: Made(two(7.45, 8.5)).bins(), NO, "key_held_after", OUT, crank=1),
    Case("K3 outside: second crank, 1.97 s", lambda: Made(two(off_s=None)).bins(), PASS, "key_held_after", "pass", crank=2),
]  # fmt: skip


@table(K1)
def test_key(case: Case) -> None:
    hold(case)


def falls(length_s: float, at_s: float = 8.2) -> Trace:
    """The feed falls on a straight line from its level to nothing, and stays there."""

    def line(t: Volts, v: Volts) -> Volts:
        return np.asarray(v * np.clip(1.0 - (t - at_s) / length_s, 0.0, 1.0))

    return Made(Setup(end_s=at_s + 2.0)).change("key_switch", at_s, 9.0, line).bins()


def discharges(tau_s: float, at_s: float = 8.2) -> Trace:
    """The key is off and the wiring's own capacitance discharges."""

    def curve(t: Volts, v: Volts) -> Volts:
        return np.asarray(v * np.exp(-(t - at_s) / tau_s))

    return Made(Setup(end_s=at_s + 2.0)).change("key_switch", at_s, 9.0, curve).bins()


def opens_with_bounce(length_s: float) -> Trace:
    """OFF at 8.2 s with one bounce: the last opening comes `length_s` after the first."""
    made = Made(Setup(end_s=9.0)).feed(0.0, 8.2, 0.4 * length_s)
    return made.feed(0.0, 8.2 + length_s, 9.0).bins()


def dead(from_s: float, to_s: float, end_s: float = 9.5, volts: float = 0.0, **fields: object) -> Trace:
    return Made(Setup(end_s=end_s, **fields)).feed(volts, from_s, to_s - from_s).bins()  # type: ignore[arg-type]


K4 = [
    Case("K4 inside: off at once", lambda: setup(off_s=8.2, end_s=9.0), PASS, "key_held_after", "pass"),
    Case("K4 inside: falls in 0.45 s", lambda: falls(0.45), PASS, "key_held_after", "pass"),
    Case("K4 outside: falls in 0.8 s", lambda: falls(0.8), FAIL, "key_feed_drop_steady", "fail", phase="after"),
    Case("K4 inside: discharges with 20 ms", lambda: discharges(0.02), PASS, "key_held_after", "pass"),
    Case("K4 inside: discharges with 0.2 s", lambda: discharges(0.2), PASS, "key_held_after", "pass"),
    Case("K4 outside: discharges with 0.5 s", lambda: discharges(0.5), FAIL, "key_feed_drop_steady", "fail", phase="after"),
    Case("K4 inside: opening bounce of 8 ms", lambda: opens_with_bounce(0.008), PASS, "key_held_after", "pass"),
    Case("K4 outside: opening bounce of 13 ms", lambda: opens_with_bounce(0.013), FAIL, "key_feed_dropout", "fail", phase="after"),
    Case("K4 inside: 1.9 V to the end", lambda: dead(8.2, 99.0, volts=1.9), PASS, "key_held_after", "pass"),
    Case("K4 outside: 2.1 V to the end", lambda: dead(8.2, 99.0, volts=2.1), FAIL, "key_feed_dropout", "fail", phase="after"),
    Case("K4 outside: 6.5 V to the end", lambda: dead(8.2, 99.0, volts=6.5), FAIL, "key_feed_dropout", "fail", phase="after"),
    Case("K4 outside: comes back at the end", lambda: dead(8.2, 9.3), FAIL, "key_feed_dropout", "fail", phase="after"),
    Case("K4 inside: between cranks, 0.70 s", lambda: Made(two(7.8, 8.5)).bins(), PASS, "key_held_after", "pass"),
    Case("K4 outside: between cranks, 0.60 s", lambda: Made(two(7.8, 8.4)).bins(), FAIL, "key_feed_dropout", "fail", phase="after"),
    Case("K4 outside: between cranks at 2.1 V", lambda: Made(two()).feed(2.1, 7.8, 1.0).bins(), FAIL, "key_feed_dropout", "fail",
         phase="after"),
    Case("K4 inside: between cranks at 1.9 V", lambda: Made(two()).feed(1.9, 7.8, 1.0).bins(), PASS, "key_held_after", "pass"),
    Case("K4 before the first crank: 0.45 s", lambda: dead(1.5, 1.95, 8.4), FAIL, "key_feed_dropout", "fail", phase="key on"),
    Case("K4 before the first crank: 0.55 s", lambda: dead(1.5, 2.05, 8.4), NO, "key_feed_dropout", OUT, phase="key on"),
    Case("K4 gone in the crank, back 1.9 s after LET GO", lambda: dead(4.5, LET_GO + 1.9, 11.0), FAIL, "key_feed_dropout", "fail"),
    Case("K4 gone in the crank, never back", lambda: dead(4.5, 99.0), NO, "key_held_after", OUT),
    Case("K4 gone in RUN, never back", lambda: dead(2.0, 99.0), NO, "key_held_after", OUT),
]  # fmt: skip


@table(K4)
def test_key_off(case: Case) -> None:
    hold(case)


def test_a_key_that_was_off_between_cranks_stands_in_the_headline() -> None:
    judgement = hold(Case("between", lambda: Made(two(7.8, 8.6)).bins(), PASS, "key_held_after", "pass"))
    assert "off" in " ".join((*judgement.reasons, *judgement.tolerated)).lower(), judgement.reasons


def test_the_phases_lie_where_the_key_and_the_starter_put_them() -> None:
    judgement = hold(Case("phases", lambda: setup(off_s=8.2, end_s=9.0), PASS, "key_held_after", "pass"))
    ends = {"key off": 1.0, "key on": 2.7, "key turn": 3.0, "crank": 6.0, "release": 6.3, "after": 8.2}
    assert [p.name for p in judgement.phases] == [*ends, "key off"]
    for interval in judgement.phases[:-1]:
        assert abs(interval.end_s - ends[interval.name]) < 0.004, interval
    assert [p.crank for p in judgement.phases] == [None, 1, 1, 1, 1, 1, None] or judgement.phases[3].crank == 1


def test_the_phases_of_every_crank_are_told() -> None:
    judgement = hold(Case("two", lambda: Made(two()).bins(), PASS, "key_held_after", "pass"))
    names = [str(p.name) for p in judgement.phases]
    one = ["key turn", "crank", "release", "after"]
    assert names == ["key off", "key on", *one, *one]
    assert [round(p.start_s, 1) for p in judgement.phases if p.name == "crank"] == [3.0, 10.0]
    assert [p.crank for p in judgement.phases if p.name == "crank"] == [1, 2]
