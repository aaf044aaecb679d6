"""firstcrank switch-test: the key through OFF, ON, START and back with the starter disabled. Never a start, never a PASS."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import RecordingOptions
from firstcrank.cli.record import recording_options
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.analysis.switch_test import SwitchResult

EXIT = {"FEED HELD, SWITCH TEST ONLY": 3, "FEED LOST IN START": 1, "START NOT SEEN": 3}
DISABLE = (
    "Is the starter disabled as said above, the S wire off, insulated, tied back, and the starter lead clipped on that wire?",
    "Neutral, clutch down, brake on, wheels chocked, nobody near belts and fan, a second person watching?",
    "Module plugged in (or a 5 W lamp from the feed's pin to ground), battery above 12.4 V?",
)
TURN = (
    "Key OFF 2 s, ON, let the WAIT lamp finish, START 3 s, back slowly. Ten times: three at the usual speed, twice slowly,",
    "then moving key and column in START. Press q when done.",
)
PUT_BACK = "Put back: key off, wait the power-down time, negative off, S wire on and torqued, boot on, negative on"


@click.command("switch-test", cls=GroupedCommand)
@recording_options
def switch_test(**options: Unpack[RecordingOptions]) -> int:
    """Turn the key through START with the starter disabled: does the feed hold? No start, never a PASS.

    Exit code: 1 FEED LOST IN START, 3 FEED HELD, SWITCH TEST ONLY or START NOT SEEN (nothing about a start is proved), 2 wrong usage,
    4 trouble with the board, port or file. Never 0.

    \b
    Examples:
      firstcrank switch-test
      firstcrank switch-test --job 1207
      firstcrank switch-test --port sim:switch_lost --yes --longest 95
    """
    from firstcrank.analysis.causes.cautions import STANDING
    from firstcrank.analysis.switch_test import judge_switch
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.switch_recording import record_switch

    if options["job"] is not None:
        from firstcrank.cli.file_start import job_is_there

        job_is_there(options["job"], options["store"])
    console = Screen()
    for key in ("K1", "K2"):
        console.print(STANDING[key])
    if not options["yes"]:
        for question in DISABLE:
            if not click.confirm(question, default=False):
                raise UsageError("no switch test: do that first, then run it again")
    for line in TURN:
        console.print(line)
    path, trace, limits, simulated = record_switch(console, options)
    result = judge_switch(trace, limits)
    _show(console, result, simulated)
    console.print(f"Kept as {path.resolve()}")
    if options["job"] is not None and not simulated:
        from firstcrank.cli.checklist import keep_by_board
        from firstcrank.visit.checklist import from_switch_test

        keep_by_board(options["job"], options["store"], "switch_test", from_switch_test(result))
    _put_back(console, ask=not options["yes"])
    return EXIT[result.word]


def _show(console: Console, result: SwitchResult, simulated: bool) -> None:
    from rich.text import Text

    from firstcrank.analysis.switch_test import CANNOT_SHOW

    if simulated:
        console.print("SIMULATED: no vehicle", style="bold reverse")
    console.print(Text(f" {result.word} ".center(min(console.width, 80)), style="bold reverse"))
    console.print(f"Why: {result.reason[:1].upper()}{result.reason[1:]}")
    console.print(f"It can't show: {'; '.join(CANNOT_SHOW)}.")
    if result.word == "FEED LOST IN START":
        console.print(
            "Check next: a terminal proved live in ON and in START (firstcrank wire --terminals). Never the START terminal."
        )
    elif result.word == "START NOT SEEN":
        console.print(
            "Check next: the starter lead on the removed S wire. A module-controlled starter may keep it dead in a healthy vehicle."
        )
    else:
        console.print("Next: put the S wire back, then firstcrank start.")


def _put_back(console: Console, ask: bool) -> None:
    """Asked until it is done: this step is not skipped."""
    console.print(PUT_BACK + ".")
    while ask and not click.confirm("Is the S wire (50) back on its stud, torqued, with its boot?", default=False):
        console.print("This step can't be skipped.")
