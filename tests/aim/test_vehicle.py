"""O2: other faults beside the feed: the overall verdict is FAIL, and the feed keeps its own."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from firstcrank.trace import Trace

from .ask import ASKED, FAIL, PASS, RUNS, ask, describe, feed_verdict
from .case import Case, hold, table
from .maker import Crank, Made, Setup

OUT = "no verdict"
LATE = Setup(cranks=(Crank(6.0, 2.4),), end_s=10.8)  # time for a heater before the crank
RUNS_LONG = Setup(cranks=(Crank(3.0, 2.4),), charges_s=1.0, end_s=70.0)


def in_crank(made: Made) -> np.ndarray:
    crank = made.setup.cranks[0]
    return (made.t >= crank.start_s + 0.03) & (made.t < crank.end_s)


def heater(coil_v: float = 11.9, back_v: float = 0.05, opens: tuple[tuple[float, float], ...] = ()) -> Trace:
    """The intake heater is commanded from 1.5 to 5.5 s."""
    made = Made(LATE)
    on = (made.t >= 1.5) & (made.t < 5.5)
    for at_s, length_s in opens:
        on &= (made.t < at_s) | (made.t >= at_s + length_s)
    made.lead("heater_coil", lambda m: np.where(on, coil_v, 0.0))
    return made.lead("heater_return", lambda m: np.where(on, back_v, 0.0)).bins()


def control(drop_v: float, ground_v: float = 0.1) -> Trace:
    """The starter's control circuit loses `drop_v` on its plus side and `ground_v` on its minus side."""
    made = Made()
    coil = in_crank(made) | ((made.t >= 3.0) & (made.t < 3.03))
    made.lead("starter_coil", lambda m: np.where(coil, m.volts["battery"] - drop_v, 0.0))
    return made.lead("engine_ground", lambda m: np.where(coil, ground_v, 0.0)).bins()


def ground(role: str, volts: float) -> Trace:
    return Made().lead(role, lambda m: np.where(in_crank(m), volts, 0.0)).bins()


def supply(drop_v: float) -> Trace:
    return Made().lead("module_supply", lambda m: m.volts["battery"] - np.where(in_crank(m), drop_v, 0.05)).bins()


def loop(ohm: float) -> Trace:
    """A load of 2.2 ohm at the module's plug for 3 s before the key comes on."""
    made = Made(Setup(on_s=5.0, cranks=(Crank(7.0, 2.4),), end_s=11.8))
    loaded = (made.t > 0.5) & (made.t < 3.5)
    share = 2.2 / (2.2 + ohm)
    return made.lead("module_supply", lambda m: m.volts["battery"] * np.where(loaded, share, 0.9995)).bins()


def back_fed(volts: float, until_s: float = 99.0) -> Trace:
    """Key off at 8.2 s; the module holds itself on for 0.5 s; the feed stays at `volts`."""
    made = Made(Setup(off_s=8.2, end_s=11.0))
    return made.feed(volts, 8.2, until_s - 8.2).bins()


def charged_to(volts: float) -> Trace:
    """Running, with the battery at this after a minute and more."""
    made = Made(replace(RUNS_LONG, charges_s=None))
    for role in ("battery", "key_switch"):
        drop = 0.12 if role == "key_switch" else 0.0
        made.put(role, volts - drop, 8.0, 99.0)
    return made.bins(bin_s=16 * 0.768e-3, runs=False)


def recovers_to(volts: float) -> Trace:
    """The battery comes back to this and no more after LET GO (the limit is the rest's, 12.2 V, less 0.4 V)."""
    made = Made()
    return made.put("battery", volts, 6.3, 9.0).feed(volts - 0.12, 6.3, 9.0).bins()


HOLDS_ON = replace(ASKED, hold_on_s=0.5)
LOAD = replace(ASKED, known_load_ohm=2.2)


def fails(name: str, make: Any, check: str, **more: Any) -> Case:
    return Case(name, make, PASS, check, "fail", overall=FAIL, **more)


def passes(name: str, make: Any, check: str, result: str = "pass", **more: Any) -> Case:
    return Case(name, make, PASS, check, result, **more)


O2 = [
    passes("heater, all well", lambda: heater(), "heater_voltage"),
    passes("heater polarity, all well", lambda: heater(), "heater_polarity"),
    fails("heater reversed", lambda: heater(0.05, 11.9), "heater_polarity"),
    passes("heater inside: 0.9 V lost", lambda: heater(11.6, 0.02), "heater_voltage"),
    fails("heater outside: 1.2 V lost", lambda: heater(11.3, 0.02), "heater_voltage"),
    fails("heater outside: lost on its return", lambda: heater(12.3, 1.1), "heater_voltage"),
    fails("heater chatters", lambda: heater(opens=tuple((2.0 + 0.3 * i, 0.02) for i in range(8))), "heater_chatter"),
    passes("heater switched by the module", lambda: heater(opens=((2.5, 0.5), (4.0, 0.5))), "heater_chatter"),
    passes("control inside: 0.9 V", lambda: control(0.8, 0.1), "starter_control_drop"),
    fails("control outside: 1.1 V", lambda: control(1.0, 0.1), "starter_control_drop"),
    fails("control outside: 1.1 V, on the ground's side", lambda: control(0.5, 0.6), "starter_control_drop"),
    passes("engine ground inside: 0.66 V", lambda: ground("engine_ground", 0.66), "ground_rise.engine_ground"),
    fails("engine ground outside: 0.74 V", lambda: ground("engine_ground", 0.74), "ground_rise.engine_ground"),
    passes("module ground inside: 0.46 V", lambda: ground("module_ground", 0.46), "ground_rise.module_ground"),
    fails("module ground outside: 0.54 V", lambda: ground("module_ground", 0.54), "ground_rise.module_ground"),
    passes("module supply inside: 0.46 V", lambda: supply(0.46), "module_supply_drop"),
    fails("module supply outside: 0.54 V", lambda: supply(0.54), "module_supply_drop"),
    passes("loop inside: 45 mohm", lambda: loop(0.045), "module_supply_loop", context=LOAD),
    fails("loop outside: 55 mohm", lambda: loop(0.055), "module_supply_loop", context=LOAD),
    passes("off: dead at once", lambda: back_fed(0.0), "key_off_decay", context=HOLDS_ON),
    passes("recovery inside: 11.9 V", lambda: recovers_to(11.9), "battery_recovery"),
    passes("recovery outside: 11.7 V", lambda: recovers_to(11.7), "battery_recovery", "warn"),
    passes("charging inside: 13.4 V", lambda: charged_to(13.4), "charging", context=RUNS),
]  # fmt: skip


@table(O2)
def test_other_faults(case: Case) -> None:
    judgement = hold(case)
    if case.overall == FAIL:
        assert case.check in {str(f.check) for f in judgement.other_faults}
        assert judgement.likely_causes


def test_a_feed_kept_alive_after_key_off_is_told() -> None:
    """It stays at 6 V: the feed's own obligations call that a loss, and the back-feed stands beside it or is the cause."""
    judgement = ask(back_fed(6.0), HOLDS_ON)
    assert judgement.verdict == FAIL, describe(judgement)


def test_no_charge_is_said_only_when_told_that_it_runs() -> None:
    low = charged_to(12.4)
    reported, unreported = ask(low, RUNS), ask(low, ASKED)
    assert reported.verdict == FAIL, describe(reported)
    assert "no_charge" in [c.cause for c in reported.likely_causes]
    assert feed_verdict(reported) == PASS
    assert unreported.verdict == PASS, describe(unreported)


def test_the_worst_is_told_first_and_a_failed_feed_stays_in_front() -> None:
    made = Made(LATE).feed(0.0, 7.0, 0.05)
    made.lead("heater_coil", lambda m: np.where((m.t >= 1.5) & (m.t < 5.5), 0.05, 0.0))
    made.lead("heater_return", lambda m: np.where((m.t >= 1.5) & (m.t < 5.5), 11.9, 0.0))
    judgement = ask(made.bins())
    assert judgement.verdict == FAIL
    assert feed_verdict(judgement) == FAIL
    assert "lost" in judgement.reasons[0]
    assert "heater_polarity" in {str(f.check) for f in judgement.other_faults}


def test_no_verdict_on_the_feed_and_another_fault_is_a_fail_overall() -> None:
    made = Made(Setup(end_s=7.5)).lead("engine_ground", lambda m: np.where(in_crank(m), 1.2, 0.0))
    judgement = ask(made.bins())
    assert feed_verdict(judgement) == "NO VERDICT"
    assert judgement.verdict == FAIL, describe(judgement)
