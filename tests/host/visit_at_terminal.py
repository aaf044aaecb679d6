"""A guided start in a pseudo-terminal, driven from stage to stage by what the program says."""

from __future__ import annotations

from pathlib import Path

import pexpect

from firstcrank.analysis.verdict import judge
from firstcrank.limits import shipped
from firstcrank.tracefiles.native import read_native
from firstcrank.visit.values import Stage

from .terminal import run_at

ANSWERS = ("--key-start", "--module-plugged")

# What stands on the screen in each stage, and the key that goes on from it.
STAGES = {
    Stage.SEE_OFF: ("Waiting to see the feed dead", ""),
    Stage.SEE_ON: ("Turn the key ON", ""),
    Stage.WAIT_LAMP: ("WAIT lamp still lit", " "),
    Stage.READY: ("Burst 1 of 3", ""),
    Stage.CRANKING: ("Cranking. Let go", ""),
    Stage.OIL: ("It runs. Oil pressure", "o"),
    Stage.IDLE: ("Idle for a minute", "s"),
    Stage.OFF_AFTER: ("Key off now", ""),
    Stage.SOAK: ("Hot restart after 15 min", "h"),
}
AGAIN = "for another WAIT cycle"
RESTING = "Not again before the engine stands still"


def start(folder: Path, port: str, *more: str, **terminal: object) -> pexpect.spawn[str]:
    """A guided start with every dead check asked unless `more` has --yes."""
    return run_at(folder, "start", "--port", port, "--out", "start.fcr", *ANSWERS, *more, **terminal)  # type: ignore[arg-type]


def answered(program: pexpect.spawn[str], figures: int = 4) -> None:
    """Every question before the key with yes; of the maker's figures the `figures` that no option gave are left open."""
    for _ in range(6):
        program.expect(r"\d/6 ")
        program.sendline("y")
    for _ in range(figures):
        program.expect(r"Enter:\s+not\s+known")
        program.sendline("")


def led_to(program: pexpect.spawn[str], stage: Stage) -> None:
    """Goes on from stage to stage until `stage` is on the screen."""
    if stage is Stage.REST:
        led_to(program, Stage.CRANKING)
        program.expect(RESTING)
        return
    for here, (line, letter) in STAGES.items():
        if here is Stage.READY and stage is not Stage.READY:
            continue  # the simulated crank may begin before the key arrives
        program.expect(line)
        if here is stage:
            return
        program.send(letter)


def led_on(program: pexpect.spawn[str], stage: Stage, last: Stage) -> None:
    """From `stage`, which is on the screen, to the stage `last`."""
    if stage is Stage.REST:
        program.expect(AGAIN)
        stage = Stage.CRANKING
    order = list(STAGES)
    here = stage
    for then in order[order.index(stage) + 1 : order.index(last) + 1]:
        if then is Stage.READY and last is not Stage.READY:
            continue
        program.send(STAGES[here][1])
        program.expect(STAGES[then][0])
        here = then


def last_stage(shown: str) -> Stage:
    """The stage whose line was shown last."""
    lines = {Stage.REST: RESTING, **{stage: line for stage, (line, _) in STAGES.items()}}
    return max(lines, key=lambda stage: shown.rfind(lines[stage]))


def verdict_of(folder: Path) -> str:
    """The kept recording's verdict, judged again."""
    recording = read_native(folder / "start.fcr")
    return str(judge(recording.trace, shipped(12), recording.context).verdict)
