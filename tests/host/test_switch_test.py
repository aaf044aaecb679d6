"""The switch test: three words of its own, never a PASS, never exit code 0; the judge of starts refuses its recording."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pexpect
import pytest

from firstcrank.analysis.switch_test import KIND, SwitchWord, judge_switch
from firstcrank.analysis.verdict import judge
from firstcrank.cli.switch_result import EXIT
from firstcrank.limits import shipped
from firstcrank.trace import Channel, Hole, Trace, Uncertainty
from firstcrank.tracefiles.native import read_native
from firstcrank.visit.switch_steps import SwitchVisit, switch_show, switch_step
from firstcrank.visit.values import Bins, Key, Word
from firstcrank_sim.scenarios.visits import VISITS

from .terminal import finished, plain, run_at

BIN_S = 0.768e-3


def trace_of(name: str, seconds: float = 93.0, **changes: object) -> Trace:
    """The visit's leads as bins, without a board between."""
    steps = VISITS[name](1)
    start_s = np.arange(int(seconds / BIN_S), dtype=np.float64) * BIN_S
    channels = {}
    for role in ("battery", "key_switch", "starter_coil"):
        mean_v = steps.volts(role, start_s)
        channels[role] = Channel(role, mean_v, mean_v, mean_v, Uncertainty(0.002, 0.01), 20.0)
    count = np.full(len(start_s), 128, dtype=np.int64)
    parts = {"start_s": start_s, "end_s": start_s + BIN_S, "conversions": count, "gap_s": np.full(len(start_s), 6e-6)}
    return Trace(**{**parts, "channels": channels, "complete": True, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "word", "turns"),
    [("switch_held", SwitchWord.HELD, 10), ("switch_lost", SwitchWord.LOST, 10), ("switch_no_start", SwitchWord.NOT_SEEN, 0)],
)
def test_the_three_words(name: str, word: SwitchWord, turns: int) -> None:
    result = judge_switch(trace_of(name), shipped(12))
    assert (result.word, result.turns) == (word, turns)
    assert "nothing proved" in result.reason or result.turns


def test_what_is_cut_short_or_lacks_the_lead_proves_nothing() -> None:
    whole = trace_of("switch_held", 30.0)
    no_lead = {role: c for role, c in whole.channels.items() if role != "starter_coil"}
    for changed in (
        trace_of("switch_held", 30.0, complete=False),
        trace_of("switch_held", 30.0, holes=(Hole(3.0, 3.1, "lost"),)),
        trace_of("switch_held", 30.0, channels=no_lead),
    ):
        assert judge_switch(changed, shipped(12)).word is SwitchWord.NOT_SEEN
    few = judge_switch(whole, shipped(12))
    assert few.word is SwitchWord.HELD
    assert "10 turns are wanted" in few.reason


def test_a_worn_contact_in_one_turn_of_ten_is_found() -> None:
    trace = trace_of("switch_held")
    feed = trace.channels["key_switch"]
    mean_v = feed.mean_v.copy()
    mean_v[(trace.start_s > 60.0 + 0.5) & (trace.start_s < 60.0 + 0.53)] = 1.0  # within the turn that begins at 59 s
    worn = {**trace.channels, "key_switch": Channel("key_switch", mean_v, mean_v, mean_v, feed.uncertainty, 20.0)}
    result = judge_switch(trace_of("switch_held", channels=worn), shipped(12))
    assert result.word is SwitchWord.LOST
    assert result.lost_s == pytest.approx(0.03, abs=0.002)


def test_no_word_is_a_pass_and_no_exit_code_is_0() -> None:
    assert set(EXIT) == {str(word) for word in SwitchWord}
    assert 0 not in EXIT.values()
    assert not any("PASS" in word for word in EXIT)


@pytest.mark.parametrize(
    ("name", "code", "word"),
    [
        ("switch_held", 3, "FEED HELD, SWITCH TEST ONLY"),
        ("switch_lost", 1, "FEED LOST IN START"),
        ("switch_held,system=24", 3, "FEED HELD, SWITCH TEST ONLY"),
        ("switch_lost,system=24", 1, "FEED LOST IN START"),
    ],
)
def test_the_command_keeps_a_recording_that_no_judge_takes_for_a_start(tmp_path: Path, name: str, code: int, word: str) -> None:
    program = run_at(tmp_path, "switch-test", "--port", f"sim:{name}", "--yes", "--longest", "11", "--out", "s.fcr")
    left, output = finished(program)
    assert left == code, plain(output)[-1500:]
    assert word in plain(output)
    assert "SIMULATED" in plain(output)
    assert "negative off first" in " ".join(plain(output).split())
    recording = read_native(tmp_path / "s.fcr")
    assert recording.trace.kind == KIND
    judgement = judge(recording.trace, shipped(12), recording.context)
    assert judgement.verdict == "NO VERDICT"
    assert "switch test" in judgement.reasons[0]
    judged = finished(run_at(tmp_path, "judge", "s.fcr"))
    shown = " ".join(plain(judged[1]).split())
    assert judged[0] == code  # never 0: no start
    assert word in shown
    assert "Record a start" not in shown
    assert "while cranking" not in shown
    if code == 1:
        assert shown.count("Caution: ") >= 2  # K1 and K2
        assert "Do not crank. The starter stays disabled until the feed holds" in shown


def begun(tmp_path: Path, port: str) -> pexpect.spawn[str]:
    """A switch test whose questions beforehand are answered with yes."""
    program = run_at(tmp_path, "switch-test", "--port", port, "--longest", "11", "--out", "s.fcr")
    for _ in range(3):
        program.expect(r"\[y/N\]")
        program.sendline("y")
    return program


def test_putting_the_s_wire_back_is_asked_until_it_is_done(tmp_path: Path) -> None:
    program = begun(tmp_path, "sim:switch_held")
    program.expect("back on its stud")
    program.sendline("n")
    program.expect("can't be skipped")
    program.expect("back on its stud")
    program.sendline("y")
    assert finished(program)[0] == 3


def test_after_a_lost_feed_the_starter_stays_disabled_for_the_repair(tmp_path: Path) -> None:
    program = begun(tmp_path, "sim:switch_lost")
    program.expect("stay disabled for the repair and another switch test")
    program.sendline("y")
    code, output = finished(program)
    assert code == 1
    assert "back on its stud" not in plain(output)


def test_a_no_before_it_ends_it(tmp_path: Path) -> None:
    program = run_at(tmp_path, "switch-test", "--port", "sim:switch_held", "--out", "s.fcr")
    program.expect(r"\[y/N\]")
    program.sendline("n")
    assert finished(program)[0] == 2
    assert not (tmp_path / "s.fcr").exists()


def test_the_positions_are_asked_for_in_turn() -> None:
    visit, at_s = SwitchVisit(), 0.0
    prompts: list[Word] = []
    for state, feed_v, seconds in (
        ("key off?", 0.0, 2),
        ("key on", 12.3, 3),
        ("cranking", 12.2, 4),
        ("released", 12.3, 1),
        ("released", 0.0, 1),
    ):
        for _ in range(seconds * 10):
            at_s += 0.1
            visit = switch_step(visit, Bins(at_s, 12.5, feed_v, feed_v, state))
            word = switch_show(visit).word
            if not prompts or prompts[-1] is not word:
                prompts.append(word)
    assert prompts == [Word.KEY_ON, Word.WAIT, Word.START, Word.LET_GO, Word.WAIT, Word.KEY_ON]
    assert visit.turns == 1
    assert switch_step(visit, Key("q", at_s)).over
