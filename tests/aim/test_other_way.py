"""Sound starts that an older judge refused or failed, and faults that it blamed on something else; each by its name."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from firstcrank_sim.board.to_trace import to_trace
from firstcrank_sim.scenarios.catalogue import simulate

from .ask import ASKED, FAIL, PASS, RUNS, ask, describe, verdict
from .maker import STEP_S, Crank, Made, Setup, Volts, cut

BATTERY_FED = ("battery", "key_switch")


@pytest.mark.parametrize("lead", [True, False], ids=["lead", "no lead"])
@pytest.mark.parametrize("length_s", [0.6, 0.9, 1.4])
@pytest.mark.parametrize("held_s", [0.0, 0.3], ids=["let go as it fires", "let go 0.3 s later"])
def test_a_healthy_engine_that_starts_at_once(length_s: float, held_s: float, lead: bool) -> None:
    """Told that it runs; the alternator lifts the battery above 13 V four seconds later."""
    cranks = (Crank(3.0, length_s + held_s, catch_s=held_s),)
    made = Made(Setup(cranks=cranks, charges_s=4.0, end_s=3.0 + length_s + held_s + 9.0, lead=lead))
    judgement = ask(made.bins(), RUNS)
    assert judgement.verdict == PASS, describe(judgement)


def heated(on_s: float, t: Volts, v: Volts) -> Volts:
    """Lower by a heater that was switched on at `on_s` and takes less as it warms."""
    return v - 0.9 * (1.0 - 0.4 * np.exp(-(t - on_s) / 0.6))


def test_a_healthy_engine_that_starts_at_once_with_a_heater_that_cycles_after() -> None:
    made = Made(Setup(cranks=(Crank(3.0, 0.9),), charges_s=6.0, end_s=16.0))
    for on_s in (5.5, 9.5, 13.5):
        for role in BATTERY_FED:
            made.change(role, on_s, 2.0, partial(heated, on_s))
    judgement = ask(made.bins(), RUNS)
    assert judgement.verdict == PASS, describe(judgement)


@pytest.mark.parametrize("at_s", [2.5, 4.5, 6.6, 7.5])
@pytest.mark.parametrize("volts", [0.6, -0.6, 2.0])
def test_one_sample_common_to_all_leads_takes_no_fail(at_s: float, volts: float) -> None:
    """One single reading of 96 us, as another logger writes it."""
    made = Made().feed(0.0, 3.0, 3.0)
    assert verdict(made.common(volts, at_s, 4 * STEP_S).rows()) == FAIL


def test_a_feed_held_low_beside_a_sound_battery_is_not_the_battery() -> None:
    """The feed stands at 6.5 V for the whole crank; in the inrush the battery is down there too, and the feed lowest."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=2.7, inrush_v=3.0, swing_v=0.2),)))
    made.feed(6.5, 3.03, 2.9).feed(6.4, 3.03, 0.004)
    judgement = ask(made.bins())
    assert judgement.verdict == FAIL
    assert judgement.likely_causes[0].cause != "battery_weak", describe(judgement)
    assert "lost" in " ".join(judgement.reasons)


@pytest.mark.parametrize("at_s", [6.006, 6.03, 6.1])
@pytest.mark.parametrize("catch_s", [0.5, 0.8])
def test_no_lead_and_an_engine_that_catches_before_the_release_with_a_bounce(catch_s: float, at_s: float) -> None:
    made = Made(Setup(cranks=(Crank(3.0, 3.0, catch_s=catch_s),), lead=False, charges_s=1.0, end_s=10.0))
    judgement = ask(made.feed(0.0, at_s, 0.006).bins())
    assert judgement.verdict != FAIL, describe(judgement)


@pytest.mark.parametrize(
    ("off_s", "depth_v", "lead"),
    [(3.0, 1.0, True), (2.98, 1.3, False), (3.01, 1.3, False), (3.0, 1.6, True), (3.02, 1.6, True)],
)
def test_a_heater_that_goes_off_as_the_crank_begins(off_s: float, depth_v: float, lead: bool) -> None:
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=1.5, inrush_v=1.2),), lead=lead, end_s=9.0))
    for role in BATTERY_FED:
        made.change(
            role, 1.5, off_s - 1.5, lambda t, v: np.where(v > 1, v - depth_v * (1.0 - 0.3 * np.exp(-(t - 1.5) / 0.5)), v)
        )
    judgement = ask(made.bins())
    assert judgement.verdict == PASS, describe(judgement)


def inrush_to(volts: float, length_s: float) -> Made:
    """The inrush takes battery and feed down to this for so long, and then a sound crank follows."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, inrush_v=1.5),)))
    return made.put("battery", volts + 0.12, 3.0205, length_s).feed(volts, 3.0205, length_s)


def test_an_inrush_below_the_minimum_for_two_milliseconds_is_ridden_through() -> None:
    judgement = ask(inrush_to(6.7, 0.0016).bins())
    assert judgement.verdict == PASS, describe(judgement)


@pytest.mark.parametrize("lead", [True, False], ids=["lead", "no lead"])
def test_one_continuous_loss_is_told_once(lead: bool) -> None:
    judgement = ask(Made(Setup(lead=lead, end_s=9.0)).feed(0.0, 2.93, 3.2).bins())
    assert judgement.verdict == FAIL
    assert sum("lost" in reason for reason in judgement.reasons) == 1, describe(judgement)
    assert len(judgement.dropouts) == 1
    assert judgement.dropouts[0].duration_s == pytest.approx(3.2, abs=0.002)
    assert judgement.likely_causes[0].cause == "feed_dead_in_start"


@pytest.mark.parametrize("seed", [1, 2])
def test_cut_in_the_first_moments_of_a_crank_it_does_not_raise(seed: int) -> None:
    trace = to_trace(simulate("feed_dead_in_start", seed))
    begins = int(np.argmax(trace.channels["starter_coil"].mean_v > 3.0))
    for count in range(begins - 4, begins + 110, 6):
        assert verdict(cut(trace, count)) in ("FAIL", "NO VERDICT")


def test_a_key_turned_off_whose_wiring_discharges() -> None:
    made = Made(Setup(end_s=10.0)).change("key_switch", 8.3, 9.0, lambda t, v: v * np.exp(-(t - 8.3) / 0.02))
    judgement = ask(made.bins())
    assert judgement.verdict == PASS, describe(judgement)


@pytest.mark.parametrize("lead", [True, False], ids=["lead", "no lead"])
def test_a_key_turned_off_between_cranks(lead: bool) -> None:
    """Its wiring discharges with 20 ms."""
    setup = Setup(cranks=(Crank(3.0, 2.5), Crank(10.5, 2.5)), end_s=15.6, lead=lead)
    made = Made(setup).change("key_switch", 8.0, 1.3, lambda t, v: v * np.exp(-(t - 8.0) / 0.02))
    judgement = ask(made.bins())
    assert judgement.verdict == PASS, describe(judgement)


@pytest.mark.parametrize("lead", [True, False], ids=["lead", "no lead"])
@pytest.mark.parametrize("lit_s", [1.3, 2.0])
def test_a_sound_start_with_headlights_and_fans_is_passed(lit_s: float, lead: bool) -> None:
    made = Made(Setup(lead=lead, end_s=9.0))
    for role in BATTERY_FED:
        made.change(role, lit_s, 9.0, lambda t, v: np.where(v > 1, v - 0.25 - 0.1 * np.exp(-(t - lit_s) / 0.1), v))
    judgement = ask(made.bins(), ASKED)
    assert judgement.verdict == PASS, describe(judgement)
