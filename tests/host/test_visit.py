"""A visit is plain values and pure steps: order and limits of a first start, driven by events alone."""

from __future__ import annotations

import pytest

from firstcrank.thresholds.visit import VISIT
from firstcrank.visit.account import account
from firstcrank.visit.before import BEFORE, answer
from firstcrank.visit.ending import ending_of
from firstcrank.visit.showing import show
from firstcrank.visit.steps import BURSTS_S, IDLE_S, burst_limit_s, rest_s, step
from firstcrank.visit.values import Bins, Burst, Clock, Leads, MakersLimits, Stage, Visit, Word

from .driven_visit import STEP_S, Driven


def test_the_words_of_a_whole_first_start_come_in_the_order_of_the_trade() -> None:
    driven = Driven().to_ready().crank(4.0).readings(31.0, "released").wait_cycle().crank(2.0, running=True)
    assert driven.stage() is Stage.OIL
    driven.key("o").readings(IDLE_S + 1, "released").readings(3.0, "released", 0.0)
    assert driven.stage() is Stage.SOAK
    driven.readings(VISIT.soak_s + 1, "released", 0.0).readings(0.5, "released").key(" ").crank(1.0, running=True)
    driven.key("o").readings(3.0, "released", 0.0)
    again = ["KEY OFF", "KEY ON", "WAIT", "CRANK"]  # the heat is lost in seconds: another WAIT cycle after the rest
    cold = ["KEY OFF", "KEY ON", "WAIT", "CRANK", "REST", *again, "LET GO", "OIL", "IDLE", "KEY OFF"]
    assert driven.prompts == [*cold, "REST", "KEY ON", "WAIT", "CRANK", "LET GO", "OIL", "KEY OFF", "DONE"]
    assert driven.visit.why == "the whole start was watched"
    assert [b.ran for b in driven.visit.bursts] == [False, True, True]
    assert "Answered: oil pressure seen" in account(driven.visit)
    assert any(line.startswith("Burst 3 (hot restart): 1.0 s, the engine ran") for line in account(driven.visit))


def test_a_hot_restart_is_taken_at_once_skipped_or_begun_unasked() -> None:
    def ran() -> Driven:
        return Driven().to_ready().crank(2.0, running=True).key("oss")

    now = ran().readings(60.0, "released", 0.0).key("h")
    assert now.stage() is Stage.SEE_ON
    assert "hot restart after 1 min of soak" in now.visit.answered
    assert burst_limit_s(now.visit) == 5.0  # its bursts count from one again
    now.readings(0.5, "released").key(" ")
    for _ in range(3):
        now.crank(2.0).readings(31.0, "released")
    assert now.stage() is Stage.OVER
    assert "three bursts" in now.visit.why
    skipped = ran().key("s")
    assert skipped.stage() is Stage.OVER
    assert "hot restart" in skipped.visit.skipped
    unasked = ran().crank(1.0)
    assert unasked.visit.cold_bursts == 1
    assert "hot restart before the soak was over" in unasked.visit.noted
    patient = ran().readings(VISIT.soak_s + 1, "released", 0.0)
    assert patient.stage() is Stage.SEE_ON  # the soak is no waiting for a crank
    assert patient.readings(601.0, "released", 0.0).visit.why == "no crank in 10 minutes"


def test_bursts_grow_and_never_exceed_the_makers_limit() -> None:
    burst = Burst(0.0, 5.0, feed_held=True, ran=False)
    lengths = [burst_limit_s(Visit(guided=True, bursts=(burst,) * cranked)) for cranked in range(4)]
    assert lengths == [5.0, 10.0, 15.0, 15.0]
    assert max(BURSTS_S) == 15.0  # published: 15 s at most for a first start; common practice
    assert burst_limit_s(Visit(makers=MakersLimits(starter_on_s=3.0))) == 3.0
    assert burst_limit_s(Visit(makers=MakersLimits(starter_on_s=30.0))) == 5.0


@pytest.mark.parametrize(
    ("cranked_s", "makers_s", "rest"), [(2.0, None, 30.0), (10.0, None, 40.0), (15.0, 120.0, 120.0), (15.0, 60.0, 60.0)]
)
def test_rest_is_four_times_the_crank_and_30_s_or_the_makers(cranked_s: float, makers_s: float | None, rest: float) -> None:
    assert rest_s(Visit(makers=MakersLimits(rest_s=makers_s)), cranked_s) == rest


def test_let_go_at_the_limit_when_it_runs_and_when_the_feed_dies() -> None:
    for seconds, feed_v, running, expected in (
        (5.2, 12.3, False, "Long enough"),
        (1.5, 12.3, True, "runs up by itself"),
        (0.5, 0.0, False, "FEED DEAD"),
    ):
        driven = Driven().to_ready()
        driven.crank_s = 0.0
        driven.readings(seconds, "cranking", feed_v, 10.0, running=running)
        shown = show(driven.visit)
        assert shown.word is Word.LET_GO
        assert expected in shown.line


def test_a_dead_feed_is_called_within_three_tenths_of_a_second() -> None:
    driven = Driven().to_ready()
    driven.crank_s = 0.0
    driven.readings(1.0, "cranking", 10.0)
    before_s = driven.at_s
    while show(driven.visit).word is not Word.LET_GO:
        driven.readings(STEP_S, "cranking", 0.0)
    assert driven.at_s - before_s <= 0.2 + 1e-9  # a frame of 0.1 s and one more


def test_no_feed_in_on_means_do_not_crank() -> None:
    driven = Driven().readings(1.0, "key off?", 0.0).readings(3.0, "key off seen", 0.0)
    shown = show(driven.visit)
    assert shown.word is Word.KEY_ON
    assert "DO NOT CRANK" in shown.line
    driven.readings(1.0, "key on").key(" ")
    assert show(driven.visit).word is Word.CRANK
    driven.readings(0.6, "key on", 0.0)
    assert "NO FEED: DO NOT CRANK" in show(driven.visit).line


def test_the_wait_lamp_decides_and_a_crank_before_it_is_told() -> None:
    driven = Driven().readings(1.0, "key off?", 0.0).readings(0.5, "key off seen", 0.0).readings(40.0, "key on")
    assert show(driven.visit).word is Word.WAIT
    driven.crank(2.0)
    assert "cranked before the WAIT lamp was answered for" in driven.visit.noted
    early = Driven().readings(1.0, "key off?", 0.0).readings(0.5, "key off seen", 0.0).readings(2.0, "key on")
    early.crank_s = 0.0
    early.readings(1.0, "cranking", 10.0, 10.2)
    assert "Noted: cranked before the WAIT lamp was answered for." in show(early.visit).lines
    assert ending_of(driven.visit).noted == ("cranked before the WAIT lamp was answered for",)


def test_the_key_turned_before_told_is_noted_each_time() -> None:
    driven = Driven().crank(1.0)
    assert driven.visit.noted == ("cranked before the key was seen off",)
    driven = Driven().to_ready().crank(2.0).readings(3.0, "released").crank(1.0)
    assert any("before the rest was over" in line for line in driven.visit.noted)


def test_after_three_bursts_it_stops_and_after_a_lost_feed_at_once() -> None:
    driven = Driven().to_ready()
    for _ in range(3):
        driven.crank(4.0).readings(31.0, "released")
    assert driven.stage() is Stage.OVER
    assert "three bursts" in driven.visit.why
    driven = Driven().to_ready().crank(3.0, feed_good=False).readings(3.0, "released")
    assert driven.stage() is Stage.OVER
    assert "feed did not hold" in driven.visit.why


def test_what_is_skipped_stands_in_the_account() -> None:
    driven = Driven().to_ready().crank(2.0, running=True).key("ssss")
    assert driven.stage() is Stage.OVER
    assert driven.visit.skipped == ("oil pressure", "idle and charging", "key off after running", "hot restart")
    assert sum(line.startswith("Skipped: ") for line in account(driven.visit)) == 4
    visit = answer(Visit(), BEFORE[0], "skip", "engine was run on a stand")
    assert "barred over by hand (engine was run on a stand)" in visit.skipped
    assert "no reason given" in answer(Visit(), BEFORE[0], "skip").skipped[0]


@pytest.mark.parametrize(("letters", "why"), [("ssss", "the last step was skipped"), ("q", "ended at the keyboard")])
def test_an_end_asked_for_too_early_waits_for_what_the_verdict_needs(letters: str, why: str) -> None:
    def released() -> Driven:
        return Driven().to_ready().crank(2.0, running=True, wait_s=1.7).key(letters)

    held = released()
    assert held.stage() is not Stage.OVER
    assert "LEAVE THE KEY ON for 1.7 s more" in show(held.visit).line
    held.readings(1.0, "released", wait_s=0.7)
    assert held.stage() is not Stage.OVER
    held.readings(0.1, "released")
    assert (held.stage(), held.visit.why) == (Stage.OVER, why)
    again = released().key("q")
    assert (again.stage(), again.visit.why) == (Stage.OVER, why)
    off = released().readings(0.2, "released", 0.0, wait_s=1.5)
    assert off.visit.stage is Stage.OVER  # the key is off: no longer watch can bring it
    never = released().readings(6.5, "released", wait_s=1.5)
    assert never.visit.stage is Stage.OVER
    cranked = released().crank(1.0, wait_s=1.7)
    assert cranked.visit.stage is Stage.REST


def test_hammered_keys_move_nothing_on_that_is_not_asked() -> None:
    driven = Driven().key("zxcv sorn\r\n" * 50)
    assert driven.stage() is Stage.SEE_OFF
    driven.to_ready()
    assert driven.stage() is Stage.READY
    driven.key(" \r\nosr" * 50)
    assert driven.stage() is Stage.READY


def test_ten_minutes_without_a_crank_end_it() -> None:
    visit = step(Visit(guided=True), Clock(601.0))
    assert visit.stage is Stage.OVER
    assert visit.why == "no crank in 10 minutes"


def test_leads_are_told_at_once_and_the_key_lead_is_not_proved_by_0_v() -> None:
    visit = step(Visit(guided=True), Leads(("the two leads look exchanged",)))
    assert any("exchanged" in line for line in show(visit).lines)
    visit = step(visit, Leads(()))
    assert any("not proved yet" in line for line in show(visit).lines)
    proved = Driven().to_ready().visit
    assert not any("not proved" in line for line in show(step(proved, Leads(()))).lines)


def test_a_step_changes_nothing_in_place() -> None:
    visit = Visit(guided=True)
    step(visit, Bins(1.0, 12.5, 0.0, 0.0, "key off seen"))
    assert visit == Visit(guided=True)


@pytest.mark.parametrize("bad", [{"starter_on_s": 0.1}, {"rest_s": 2.0}, {"oil_s": 100.0}, {"power_down_s": -1.0}])
def test_makers_figures_out_of_range_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        MakersLimits(**bad)


def test_stop_is_never_a_word() -> None:
    assert not {"STOP", "RUN"} & {str(word) for word in Word}
