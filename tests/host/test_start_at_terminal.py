"""The real program in a pseudo-terminal against the simulated board: what a first start does to it must not break it."""

from __future__ import annotations

import io
import signal
import time
from pathlib import Path

import pytest
from rich.console import Console

from firstcrank.analysis.verdict import judge
from firstcrank.cli.before_crank import seconds_typed
from firstcrank.cli.record import cautions
from firstcrank.cli.result import show_start
from firstcrank.cli.wrapped import wrapped_text
from firstcrank.limits import shipped
from firstcrank.thresholds.visit import VISIT
from firstcrank.tracefiles.native import read_native
from firstcrank.visit.before import BEFORE
from firstcrank.visit.ending import ending_of
from firstcrank.visit.steps import BURSTS_S
from firstcrank.visit.values import Visit

from .terminal import finished, last_screenful, plain, run_at
from .visit_at_terminal import answered, start, verdict_of


@pytest.mark.parametrize(
    ("name", "code", "height", "width"),  # every text at both sizes: test_result_screen.py
    [
        ("healthy", 0, 24, 80),
        ("feed_dead_in_start", 1, 20, 60),
        ("runs_on", 0, 20, 60),
        pytest.param("one_sweep", 3, 24, 80, marks=pytest.mark.slow),
    ],
)
def test_the_result_is_the_last_screenful(tmp_path: Path, name: str, code: int, height: int, width: int) -> None:
    left, output = finished(start(tmp_path, f"sim:{name}", "--yes", height=height, width=width))
    assert left == code, plain(output)[-2000:]
    screen = " ".join(" ".join(last_screenful(output, height - 1)).split())
    assert "SIMULATED" in screen
    assert "Why: " in screen
    assert "Kept as" in screen or "Caution: " in screen
    if code:
        assert "Check next: " in screen
    assert "\x07" in output  # a bell at the changes
    assert "\x1b[3" not in output.split("Recording ended")[-1]  # no colour in the result


def test_questions_are_asked_and_a_no_ends_it_before_any_key(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:healthy")
    program.expect(r"two\s+full\s+turns\s+by\s+hand")
    program.sendline("n")
    code, output = finished(program)
    assert code == 2
    assert "no crank" in plain(output)
    assert not (tmp_path / "start.fcr").exists()


def test_no_question_breaks_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    for columns in (60, 80):
        monkeypatch.setenv("COLUMNS", str(columns))
        for check in BEFORE:
            lines = wrapped_text(f"1/6 {check.question} (y, n, s)", spare=4).split("\n")
            assert max(map(len, lines)) <= columns - 4
            assert " ".join(lines) == f"1/6 {check.question} (y, n, s)"


@pytest.mark.parametrize(("text", "seconds"), [("20", 20.0), ("20 s", 20.0), ("20,5", 20.5), ("20.5s", 20.5), ("20 sec", 20.0)])
def test_seconds_as_people_type_them(text: str, seconds: float) -> None:
    assert seconds_typed(text, 1.0, 60.0) == seconds


@pytest.mark.parametrize("text", ["twenty", "nan", "inf", "-3", "2 min", "20 20"])
def test_what_is_no_number_of_seconds_is_told_in_plain_words(text: str) -> None:
    with pytest.raises(ValueError, match="a number of seconds, for example 20"):
        seconds_typed(text, 1.0, 60.0)
    with pytest.raises(ValueError, match="200 s can't be: 1 to 60 seconds"):
        seconds_typed("200", 1.0, 60.0)


def test_a_guided_start_says_that_its_limits_are_shorter_than_a_starters() -> None:
    outputs = {}
    for guided in (False, True):
        console = Console(file=io.StringIO(), width=200)
        cautions(console, guided)
        outputs[guided] = console.file.getvalue()  # type: ignore[attr-defined]
    assert "Starter 30 s at most" in outputs[False]
    assert "Starter 30 s at most" not in outputs[True]
    assert "shorter than a starter's on purpose" in outputs[True]
    for limit_s in (*BURSTS_S, VISIT.rest_least_s):
        assert f"{limit_s:.0f}" in outputs[True].partition("on purpose")[2]
    assert "maker's instructions come before all of this" in " ".join(outputs[True].split())


def test_piped_output_begins_and_ends_with_the_runaway(tmp_path: Path) -> None:
    assert finished(start(tmp_path, "sim:healthy", "--yes", "--plain"))[0] == 0
    recording = read_native(tmp_path / "start.fcr")
    target = io.StringIO()
    ending = ending_of(Visit(guided=True, fault="runaway", ran=True))
    judgement = judge(recording.trace, shipped(12), recording.context)
    show_start(Console(file=target, width=80, force_terminal=False), judgement, recording, "Kept as x", ending=ending)
    lines = [line.strip() for line in target.getvalue().splitlines() if line.strip()]
    assert lines[1] == "RUNAWAY. KEY OFF."
    assert lines[-3:] == ["RUNAWAY. KEY OFF.", "Key feed: PASS", "Kept as x"]


def test_a_job_that_is_not_there_is_told_before_the_first_question(tmp_path: Path) -> None:
    assert finished(run_at(tmp_path, "jobs", "new", "1207"))[0] == 0
    code, output = finished(start(tmp_path, "sim:healthy", "--job", "4711"))
    assert code == 2, plain(output)
    assert "1/6" not in plain(output)
    assert "4711" in plain(output)


def test_a_misspelt_simulated_start_is_told_before_the_first_question(tmp_path: Path) -> None:
    code, output = finished(start(tmp_path, "sim:helthy"))
    assert code == 2, plain(output)
    assert "1/6" not in plain(output)
    assert "Did you mean healthy" in " ".join(plain(output).split())


def test_a_runaway_leads_the_last_screenful_and_is_no_good_start(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:runs_on,speed=4", "--oil-within", "60")
    answered(program, figures=3)
    program.expect("lamp is out")
    program.send(" ")
    program.expect("It runs. Oil pressure", timeout=60)
    program.send("aa")
    program.expect("it stands still")
    time.sleep(0.5)
    program.send("ao")
    program.send("k")
    program.expect("Do not crank again before its cause is found")
    program.send("q")
    code, output = finished(program)
    assert code == 1, plain(output)[-1500:]
    screen = " ".join(" ".join(last_screenful(output, 23)).split())
    assert "Why: The engine ran away and its air was shut." in screen
    assert "Check next: Do not crank again" in screen
    assert "Key feed: " in screen
    assert "does not fire" not in screen
    _, output = finished(run_at(tmp_path, "judge", "start.fcr"))  # later too
    screen = " ".join(" ".join(last_screenful(output, 23)).split())
    assert "Why: The engine ran away: air shut." in screen
    assert "Check next: Do not crank again before its cause is found." in screen
    assert "does not fire" not in screen


@pytest.mark.slow
def test_no_oil_pressure_leads_the_last_screenful(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:hot_restart,speed=10", height=20, width=60)
    answered(program)
    program.expect("lamp is out")
    program.send(" ")
    program.expect("No oil pressure within 15 s", timeout=60)
    code, output = finished(program)  # the simulated key goes off a minute later
    assert code == 1, plain(output)[-1500:]
    screen = " ".join(" ".join(last_screenful(output, 19)).split())
    assert "N O O I L P R E S S U R E" in screen or "NO OIL PRESSURE" in screen
    assert "Check next: Find out why" in screen
    assert "does not fire" not in screen


@pytest.mark.parametrize("name", ["both_on_battery", "leads_exchanged"])
def test_leads_that_are_wrong_never_bring_the_word_crank(tmp_path: Path, name: str) -> None:
    program = start(tmp_path, f"sim:{name},speed=10", "--plain")
    answered(program)
    code, output = finished(program)
    shown = plain(output)
    assert code == 3, shown[-1500:]
    assert "CRANK: " not in shown
    assert "Leave the key ON" not in shown
    assert "put the leads right" in shown
    assert shown.index("KEY OFF.") < shown.index("Verdict: NO VERDICT.")
    assert ("the two leads look exchanged" in shown) == (name == "leads_exchanged")


def test_a_whole_visit_with_two_bursts_in_one_recording(tmp_path: Path) -> None:
    program = start(
        tmp_path, "sim:second_burst_starts,speed=12", "--starter-on", "15", "--starter-rest", "30", "--oil-within", "15"
    )
    program.expect("1/6")
    for letter in ("y", "y", "y", "y", "y"):
        program.sendline(letter)
    program.expect("6/6")
    program.sendline("s")
    program.expect("Why is it skipped")
    program.sendline("no assistant for it")
    program.expect("power-down")
    program.sendline("")
    program.expect("lamp is out")
    program.send(" ")
    program.expect("It runs. Oil pressure", timeout=60)
    program.send("o")
    program.expect("Idle for a minute")
    program.send("s")
    program.expect("Key off now")
    program.send("s")
    program.expect("Hot restart after 15 min")
    program.send("s")
    code, output = finished(program)
    assert code == 0, plain(output)[-1500:]
    recording = read_native(tmp_path / "start.fcr")
    judgement = judge(recording.trace, shipped(12), recording.context)
    assert len(judgement.cranks) == 2
    noted = "\n".join(recording.trace.notes)
    assert "Burst 2" in noted
    assert "Answered: oil pressure seen" in noted
    assert "Skipped: switch test (no assistant for it)" in noted
    assert "Skipped: idle and charging" in noted


def test_steps_skipped_at_once_after_a_good_start_still_give_its_verdict(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:runs_on")
    answered(program)
    program.expect("lamp is out")
    program.send(" ")
    program.expect("It runs. Oil pressure", timeout=60)
    program.send("ssss")
    program.expect("LEAVE THE KEY ON for")
    code, output = finished(program)
    assert code == 0, plain(output)[-1500:]
    assert "Skipped: hot restart" in "\n".join(read_native(tmp_path / "start.fcr").trace.notes)


@pytest.mark.slow
def test_a_hot_restart_goes_into_the_same_recording(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:hot_restart,speed=10")
    answered(program)
    for output, letter in (
        ("lamp is out", " "),
        ("It runs. Oil", "o"),
        ("Hot restart after 15 min", "h"),
        ("lamp is out", " "),
    ):
        program.expect(output, timeout=60)
        program.send(letter)
    program.expect("It runs. Oil", timeout=60)
    program.send("o")
    code, output = finished(program)
    assert code == 0, plain(output)[-1500:]
    recording = read_native(tmp_path / "start.fcr")
    assert len(judge(recording.trace, shipped(12), recording.context).cranks) == 2
    noted = "\n".join(recording.trace.notes)
    assert "Burst 2 (hot restart)" in noted
    assert "does not fire" not in plain(output)
    assert noted.count("key off: feed seen dead") == 2


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "code"), [("healthy_24v", 0), ("second_burst_starts,system=24", 0), ("hot_restart,system=24", 0)]
)
def test_a_vehicle_of_24_volts(tmp_path: Path, name: str, code: int) -> None:
    left, output = finished(start(tmp_path, f"sim:{name}", "--yes", "--system", "24"))
    assert left == code, plain(output)[-1500:]
    assert "SIMULATED" in output


@pytest.mark.slow
def test_three_bursts_without_a_start_end_it(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:never_starts,speed=40", "--starter-rest", "30")
    answered(program, figures=3)
    program.expect("lamp is out")
    program.send(" ")
    code, output = finished(program)
    assert "three bursts without a start" in plain(output)
    recording = read_native(tmp_path / "start.fcr")
    assert len(judge(recording.trace, shipped(12), recording.context).cranks) == 3
    assert code == 0, plain(output)[-1500:]  # the key feed held through all three
    assert "another WAIT cycle" in plain(output)
    assert "PASS, but it does not fire: no more bursts" in " ".join(last_screenful(output, 23))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "code"),
    [  # the key feed held through what was cranked: that is all that a PASS says
        ("cranks_together", 0),
        ("stalls_after_1s", 0),
        ("starter_bridged", 3),
        ("cable_pulled", 3),
        ("board_restarts", 3),
        ("host_stalls", 3),
    ],
)
def test_odd_starts_end_by_themselves_with_a_kept_file_and_an_honest_verdict(tmp_path: Path, name: str, code: int) -> None:
    left, output = finished(start(tmp_path, f"sim:{name}", "--yes", timeout_s=150.0))
    assert left == code, plain(output)[-1500:]
    assert verdict_of(tmp_path) == ("NO VERDICT" if code else "PASS")
    assert "Traceback" not in output


@pytest.mark.slow
@pytest.mark.parametrize("name", ["no_crank", "battery_disconnected"])
def test_nobody_cranks(tmp_path: Path, name: str) -> None:
    """Ten minutes on a vehicle; a tenth of a minute here."""
    code, output = finished(start(tmp_path, f"sim:{name}", "--yes", "--patience", "12"))
    assert code == 3
    assert "no crank in 0.2 minutes" in plain(output)


def test_hammered_keys_and_a_resized_window_do_no_harm(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:healthy,speed=4", "--yes")
    program.expect(r"\[q\] end")  # whichever stage is drawn first: simulated time goes on while the program starts
    for size in ((10, 30), (3, 12), (50, 200), (24, 80)):
        program.setwinsize(*size)
        program.kill(signal.SIGWINCH)
        program.send("zx\r\n \x1b[A")
        time.sleep(0.2)
    code, output = finished(program)
    assert code == 0, plain(output)[-1500:]
    assert "Traceback" not in output


@pytest.mark.parametrize("term", ["dumb", pytest.param("unknown", marks=pytest.mark.slow)])
def test_a_dumb_terminal_gets_lines(tmp_path: Path, term: str) -> None:
    code, output = finished(start(tmp_path, "sim:healthy", "--yes", term=term))
    assert code == 0
    assert "\x1b[" not in output
    assert "Verdict: PASS." in output
    assert "CRANK: " in output


@pytest.mark.slow
def test_plain_and_no_colour(tmp_path: Path) -> None:
    code, output = finished(start(tmp_path, "sim:healthy", "--yes", "--plain"))
    assert code == 0
    assert "Verdict: PASS." in output
    (tmp_path / "start.fcr").unlink()
    code, output = finished(start(tmp_path, "sim:healthy", "--yes", NO_COLOR="1"))
    assert code == 0
    assert not any(f"\x1b[{n}" in output for n in ("31", "32", "33", "1;31", "1;32", "38"))


def test_ended_at_the_keyboard_and_by_ctrl_c(tmp_path: Path) -> None:
    program = start(tmp_path, "sim:no_crank,speed=5")
    for _ in range(6):
        program.expect(r"\d/6 ")
        program.sendline("y")
    for _ in range(4):
        program.expect(r"Enter:\s+not\s+known")
        program.sendline("")
    program.expect("lamp is out")
    program.send("q")
    code, output = finished(program)
    assert code == 3
    assert "ended at the keyboard" in plain(output)
    assert (tmp_path / "start.fcr").exists()
