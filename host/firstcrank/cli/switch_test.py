"""firstcrank switch-test: the key through OFF, ON, START and back with the starter disabled. Never a start, never a PASS."""

from __future__ import annotations

from typing import TYPE_CHECKING, Unpack

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import RecordingOptions
from firstcrank.cli.record import recording_options
from firstcrank.cli.wrapped import question
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.analysis.switch_test import SwitchResult

DISABLE = (
    "Is the starter disabled as said above, the S wire off, insulated, tied back, and the starter lead clipped on that wire?",
    "Neutral, clutch down, brake on, wheels chocked, nobody near belts and fan, a second person watching?",
    "Module plugged in (or a 5 W lamp from the feed's pin to ground), battery above 12.4 V?",
)
TURN = (
    "Key OFF 2 s, ON, let the WAIT lamp finish, START 3 s, back slowly. Ten times: three at the usual speed, twice slowly, "
    "then moving key and column in START. Press q when done."
)
RESTORED = "Is the S wire (50) back on its stud, torqued, with its boot?"
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
    from firstcrank.analysis.switch_test import SwitchWord, judge_switch
    from firstcrank.cli.screen import Screen
    from firstcrank.cli.switch_recording import record_switch
    from firstcrank.cli.switch_result import EXIT, show_switch

    if options["job"] is not None:
        from firstcrank.cli.file_start import job_is_there

        job_is_there(options["job"], options["store"])
    console = Screen()
    for key in ("K1", "K2"):
        console.print(STANDING[key])
    if not options["yes"]:
        for done in DISABLE:
            if not click.confirm(question(done), default=False):
                raise UsageError("no switch test: do that first, then run it again")
    console.print(TURN)
    path, trace, limits, simulated = record_switch(console, options)
    result = judge_switch(trace, limits)
    show_switch(console, result, simulated)
    console.print(f"Kept as {path.resolve()}")
    if options["job"] is not None and not simulated:
        from firstcrank.cli.checklist import keep_by_board
        from firstcrank.visit.checklist import from_switch_test

        keep_by_board(options["job"], options["store"], "switch_test", from_switch_test(result))
    elif options["job"] is not None:
        console.print("Nothing is noted in the job: a simulated switch is no vehicle's.")
    if _repeats(result, ask=not options["yes"]):
        return EXIT[result.word]
    if options["yes"] and result.word is not SwitchWord.HELD:
        console.print("When it holds, before anybody cranks:")
    _put_back(console, ask=not options["yes"])
    return EXIT[result.word]


def _repeats(result: SwitchResult, ask: bool) -> bool:
    """Whether it goes on with the starter disabled, so that nothing is put back yet."""
    from firstcrank.analysis.switch_test import SwitchWord

    stays = "Does the starter stay disabled for the repair and another switch test?"
    return ask and result.word is not SwitchWord.HELD and click.confirm(question(stays), default=True)


def _put_back(console: Console, ask: bool) -> None:
    """Asked until it is done: this step is not skipped."""
    console.print(PUT_BACK + ".")
    while ask and not click.confirm(question(RESTORED), default=False):
        console.print("This step can't be skipped.")
