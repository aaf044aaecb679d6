"""A guided start that must not go on: runaway, no oil pressure, wrong leads, no start; and another WAIT cycle after a rest."""

from __future__ import annotations

import pytest

from firstcrank.thresholds.visit import VISIT
from firstcrank.visit.account import account
from firstcrank.visit.ending import RUNAWAY_CAUTION, ending_of
from firstcrank.visit.showing import show
from firstcrank.visit.steps import EXCHANGED, NEVER_SEEN_OFF, NOT_UP_BEFORE, step
from firstcrank.visit.values import Key, Leads, MakersLimits, Stage, Word

from .driven_visit import STEP_S, Driven


def test_no_oil_pressure_is_key_off_until_the_feed_is_seen_dead() -> None:
    """Published engine manuals: oil pressure within 15 s after it starts, else key off."""
    driven = Driven().to_ready().crank(2.0, running=True).readings(15.5, "released")
    shown = show(driven.visit)
    assert shown.word is Word.KEY_OFF
    assert "No oil pressure within 15 s" in shown.line
    driven.key("os hr \r")  # no key leads back
    driven.readings(120.0, "released").readings(1.0, "cranking", 10.0, 10.0).readings(5.0, "released")
    assert show(driven.visit).word is Word.KEY_OFF
    assert driven.stage() is not Stage.OVER
    driven.readings(0.6, "released", 0.0)
    assert driven.stage() is Stage.OVER
    assert driven.visit.why == "no oil pressure within 15 s, key off: find out why before the next crank"
    assert show(driven.visit).word is Word.KEY_OFF
    early = Driven().to_ready().crank(2.0, running=True).readings(4.0, "released").readings(0.6, "released", 0.0)
    assert early.visit.why == "no oil pressure seen, key off: find out why before the next crank"
    for one in (driven, early):
        ending = ending_of(one.visit)
        assert ending.is_fault
        assert ending.large == ("NO OIL PRESSURE", "KEY OFF")
        assert "before the next crank" in ending.next_check
        assert any("no oil pressure" in line for line in account(one.visit))
    left_on = Driven().to_ready().crank(2.0, running=True).readings(VISIT.oil_s + 601.0, "released")
    assert left_on.visit.stage is Stage.OVER
    assert "turn it off now" in left_on.visit.why
    makers = Driven(makers=MakersLimits(oil_s=8.0)).to_ready().crank(2.0, running=True).readings(8.5, "released")
    assert show(makers.visit).word is Word.KEY_OFF


def test_where_nobody_could_answer_for_the_oil_a_key_off_is_no_fault() -> None:
    alone = Driven(attended=False).to_ready().crank(2.0, running=True).readings(3.0, "released").readings(1.0, "released", 0.0)
    assert alone.visit.stage is Stage.OVER
    assert not ending_of(alone.visit).is_fault


@pytest.mark.parametrize("presses", ["a", "aa", "aaa"])
@pytest.mark.parametrize("stage", ["cranking", "oil", "idle", "rest"])
def test_a_runaway_is_raised_by_a_however_often_and_only_k_clears_it_to_key_off(presses: str, stage: str) -> None:
    driven = Driven().to_ready()
    if stage == "cranking":
        driven.crank_s = 0.0
        driven.readings(2.0, "cranking", 10.0, 10.2)
    else:
        driven.crank(2.0, running=stage != "rest").key("o" if stage == "idle" else "")
    driven.key(presses)
    driven.readings(16.0, "released", running=True).key("os rhn")  # no countdown, no step, no other key
    shown = show(driven.visit)
    assert shown.word is Word.SHUT_AIR
    assert "never a hand or a rag" in shown.line
    assert shown.countdown_s is None
    driven.key("k")
    assert show(driven.visit).word is Word.KEY_OFF
    driven.key("os rhn ").readings(16.0, "released", running=True).readings(1.0, "cranking", 10.0, 10.0)
    assert show(driven.visit).word is Word.KEY_OFF
    driven.readings(1.0, "released", 0.0)
    assert driven.stage() is Stage.OVER
    assert show(driven.visit).word is Word.KEY_OFF
    after = driven.prompts[driven.prompts.index("SHUT AIR") :]
    assert after == ["SHUT AIR", "KEY OFF"]
    assert driven.visit.noted.count("the engine ran away: air shut") == 1
    ending = ending_of(driven.visit)
    assert ending.is_fault
    assert ending.large == ("RUNAWAY", "KEY OFF")
    assert ending.cautions == (RUNAWAY_CAUTION,)
    assert "Do not crank again" in ending.next_check


def test_a_runaway_ends_with_q_and_after_all_patience_too() -> None:
    ran = Driven().to_ready().crank(2.0, running=True).key("a")
    quit_at_once = step(ran.visit, Key("q", ran.at_s))
    assert quit_at_once.stage is Stage.OVER
    assert ending_of(quit_at_once).large == ("SHUT AIR", "KEY OFF")
    left = ran.readings(601.0, "released").visit
    assert left.stage is Stage.OVER
    assert ending_of(left).is_fault
    again = Driven().to_ready().crank(2.0, running=True).key("ak").readings(2.0, "released").key("a")
    assert show(again.visit).word is Word.SHUT_AIR  # it ran up again


@pytest.mark.parametrize(
    ("unproved", "put_right"),
    [(NEVER_SEEN_OFF, "put the leads right"), (NOT_UP_BEFORE, "start again: KEY ON, WAIT lamp, then START")],
)
def test_no_second_burst_where_the_feed_was_never_proved(unproved: str, put_right: str) -> None:
    driven = Driven().readings(2.0, "key off?").crank(3.0, unproved=unproved).readings(1.0, "released", unproved=unproved)
    shown = show(driven.visit)
    assert shown.word is Word.KEY_OFF
    assert "Leave the key ON" not in shown.line
    assert put_right in shown.line
    driven.readings(60.0, "released", unproved=unproved)
    assert driven.stage() is Stage.OVER
    assert "CRANK" not in driven.prompts
    assert unproved in driven.visit.why
    assert ending_of(driven.visit).key_off


@pytest.mark.parametrize("at", ["key on", "wait", "ready"])
def test_no_crank_while_the_leads_are_wrong(at: str) -> None:
    driven = Driven().readings(1.0, "key off?", 0.0).readings(0.5, "key off seen", 0.0)
    if at != "key on":
        driven.readings(1.0, "key on")
    if at == "ready":
        driven.key(" ")
    driven.visit = step(driven.visit, Leads(("the battery lead reads 7.1 V",)))
    driven.prompts.clear()
    driven.readings(1.0, "key on", battery_v=7.1).key(" ")
    assert driven.prompts == ["KEY OFF"]
    assert "NO CRANK" in show(driven.visit).line
    assert any("7.1 V" in line for line in show(driven.visit).lines)
    driven.crank(3.0).readings(60.0, "released")
    assert "CRANK" not in driven.prompts
    assert driven.stage() is Stage.OVER
    assert "put the leads right" in driven.visit.why


def test_leads_put_right_before_the_crank_go_on() -> None:
    driven = Driven().to_ready()
    driven.visit = step(driven.visit, Leads(("the battery lead reads nothing",)))
    assert show(driven.visit).word is Word.KEY_OFF
    driven.visit = step(driven.visit, Leads(()))
    assert show(driven.visit).word is Word.CRANK


def test_exchanged_leads_are_called_a_swap_at_once_and_remembered_with_the_key_on() -> None:
    driven = Driven().readings(0.1, "key off?", 12.5, 0.0)
    shown = show(driven.visit)
    assert shown.word is Word.KEY_OFF
    assert shown.lines[0] == f"Check the leads: {EXCHANGED}"
    driven.visit = step(driven.visit, Leads(("the key lead reads 12.5 V: key not off, or something feeds it back",)))
    driven.readings(2.0, "key off?", 12.5, 12.3)  # the key is ON now: both alike
    assert show(driven.visit).lines[0] == f"Check the leads: {EXCHANGED}"
    right = Driven().readings(0.5, "key off?", 12.5, 0.0).readings(0.5, "key off?", 0.0, 12.5)
    assert not any("exchanged" in line for line in show(right.visit).lines)
    driven.crank(3.0, 12.0).readings(10.0, "released", 12.5)
    assert "CRANK" not in driven.prompts
    assert f"{EXCHANGED}: exchange them" in ending_of(driven.visit).noted
    assert "Out of order: " + EXCHANGED in account(driven.visit)


def test_after_the_rest_another_wait_cycle_is_asked_for_and_is_no_condition() -> None:
    """The heat is lost in seconds; the key goes off only after the two seconds that the judge wants with it ON."""
    driven = Driven().to_ready().crank(4.0)
    while driven.stage() is Stage.REST:
        driven.readings(STEP_S, "released")
    assert driven.at_s > 30.0
    shown = show(driven.visit)
    assert shown.word is Word.KEY_OFF
    assert "Burst 2 of 3: KEY OFF, then KEY ON for another WAIT cycle." in shown.line
    driven.readings(1.0, "released", 0.0)
    assert show(driven.visit).word is Word.KEY_ON
    driven.readings(1.0, "released")
    assert show(driven.visit).word is Word.WAIT
    driven.key(" ")
    assert show(driven.visit).word is Word.CRANK
    assert not driven.crank(2.0).visit.noted
    unasked = Driven().to_ready().crank(4.0).readings(31.0, "released").crank(2.0)
    assert unasked.visit.noted == ("burst 2 without another WAIT cycle",)
    assert len(unasked.visit.bursts) == 2
    no_lamp = Driven().readings(1.0, "key off?", 0.0).readings(0.5, "key off seen", 0.0).readings(1.0, "key on").key("n")
    no_lamp.crank(4.0).readings(31.0, "released")
    assert show(no_lamp.visit).word is Word.CRANK  # an engine without the lamp


def test_three_bursts_without_a_start_are_told_apart_from_an_engine_that_ran() -> None:
    driven = Driven().to_ready()
    for _ in range(3):
        driven.crank(4.0).readings(31.0, "released")
    assert ending_of(driven.visit).no_start
    assert not ending_of(driven.visit).ran
    ran = Driven().to_ready().crank(2.0, running=True).key("ssss")
    assert ending_of(ran.visit).ran
    assert not ending_of(ran.visit).no_start
    lost = Driven().to_ready().crank(3.0, feed_good=False).readings(3.0, "released")
    assert ending_of(lost.visit).key_off
    assert not ending_of(lost.visit).no_start


def test_no_hot_restart_after_a_feed_that_did_not_hold() -> None:
    driven = Driven().to_ready().crank(2.0, running=True, feed_good=False).key("oss")
    assert driven.stage() is Stage.OVER
    assert "feed did not hold" in driven.visit.why
