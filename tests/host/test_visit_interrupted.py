"""The cable pulled, plugged in again, or the lid closed at every stage of a visit: the real program in a pseudo-terminal.

The lid is a stop and a go on of the process (SIGSTOP, SIGCONT). A laptop that switches its USB port off as it sleeps is the
pulled cable.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest

from firstcrank.tracefiles.native import read_native
from firstcrank.visit.values import Stage

from .terminal import finished, plain
from .visit_at_terminal import answered, last_stage, led_on, led_to, start, verdict_of

pytestmark = pytest.mark.slow
CLOSED_S = 1.0
LONG = os.environ.get("FIRSTCRANK_VISIT_LONG") == "1"
PULLED = {  # the port, and the second of the recording in which the cable goes
    Stage.SEE_OFF: ("sim:no_crank", 0.4),
    Stage.SEE_ON: ("sim:no_crank", 1.2),
    Stage.WAIT_LAMP: ("sim:no_crank", 6.0),
    Stage.READY: ("sim:no_crank", 60.0),
    Stage.CRANKING: ("sim:hot_restart", 4.6),
    Stage.REST: ("sim:second_burst_starts", 14.0),
    Stage.OIL: ("sim:hot_restart", 8.0),
    Stage.IDLE: ("sim:hot_restart", 60.0),
    Stage.OFF_AFTER: ("sim:hot_restart", 80.0),
    Stage.SOAK: ("sim:hot_restart", 100.0),
}


BRIEFLY = (Stage.SEE_ON, Stage.CRANKING, Stage.OIL)
STAGES = [
    pytest.param(
        stage,
        marks=pytest.mark.skipif(not LONG and stage not in BRIEFLY, reason="all stages: FIRSTCRANK_VISIT_LONG=1, minutes"),
    )
    for stage in PULLED
]


def test_every_stage_is_here() -> None:
    assert set(PULLED) == set(Stage) - {Stage.OVER}


@pytest.mark.parametrize("stage", STAGES)
def test_unplugged_at_each_stage_keeps_what_was_recorded_and_plugged_in_again_starts_afresh(
    tmp_path: Path, stage: Stage
) -> None:
    port, pull_s = PULLED[stage]
    program = start(tmp_path, f"{port},speed=10,pull={pull_s}", "--plain")
    answered(program)
    led_to(program, stage)
    at = str(program.after)
    code, output = finished(program, at)
    shown = plain(output)
    assert last_stage(shown) is stage, shown[-1500:]
    assert "Traceback" not in output
    assert "cable was pulled" in shown
    assert code == 3, shown[-1500:]  # a recording that broke off proves nothing
    assert "Kept as" in shown
    assert "Check next" in shown
    assert verdict_of(tmp_path) == "NO VERDICT"
    (tmp_path / "start.fcr").rename(tmp_path / "broken_off.fcr")
    assert finished(start(tmp_path, "sim:healthy", "--yes"))[0] == 0  # the board in again, the same command once more


@pytest.mark.parametrize("stage", STAGES)
def test_the_lid_closed_at_each_stage_and_opened_again_goes_on_to_the_end(tmp_path: Path, stage: Stage) -> None:
    port, _ = PULLED[stage]
    nobody_cranks = port == "sim:no_crank"
    program = start(tmp_path, f"{port},speed=10", "--plain")
    answered(program)
    led_to(program, stage)
    program.kill(signal.SIGSTOP)
    time.sleep(CLOSED_S)
    program.kill(signal.SIGCONT)
    if nobody_cranks:
        led_on(program, stage, Stage.READY)
    elif stage is Stage.REST:  # the simulated key stays on after this one
        led_on(program, stage, Stage.IDLE)
        program.expect("Key off now")  # after its minute: a PASS wants 2 s with the key left ON
        program.send("s")
        program.expect("Hot restart after 15 min")
    else:
        led_on(program, stage, Stage.SOAK)
    program.send("q" if nobody_cranks else "s")
    code, output = finished(program)
    assert "Traceback" not in output
    assert ("ended at the keyboard" if nobody_cranks else "the last step was skipped") in plain(output)
    assert code == (3 if nobody_cranks else 0), plain(output)[-1500:]
    assert verdict_of(tmp_path) == ("NO VERDICT" if nobody_cranks else "PASS")
    assert not read_native(tmp_path / "start.fcr").trace.holes  # readings waited in the board and on the way
