"""A judged recording on whatever the output is: a terminal, a dumb one, a file, a screen reader."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console

from firstcrank.cli.result_screen import SIMULATED, ending_lines, show_result
from firstcrank.cli.screen import Screen
from firstcrank.cli.show import last_line, show
from firstcrank.model.judgement import Judgement
from firstcrank.recording import Recording
from firstcrank.visit.ending import Ending, ending_kept

JUST_ENDED = Ending()


def is_simulated(recording: Recording) -> bool:
    """Whether no vehicle stood behind it."""
    return bool(recording.meta.get("synthetic") or recording.trace.origin.get("synthetic"))


def show_all(judgement: Judgement, recording: Recording, path: Path, plain: bool = False) -> None:
    """Every figure, then on a terminal the result once more as the last screenful; plain lines alone where they are wanted."""
    console = Screen()
    simulated, ending = is_simulated(recording), ending_kept(recording.trace.notes)
    if plain or console.is_dumb_terminal:
        show_result(console, judgement, str(path), True, simulated, ending)
        return
    if simulated:
        console.print(SIMULATED, style="bold reverse")
    show(console, judgement, recording.trace, title=path.name)
    if console.is_terminal:
        show_result(console, judgement, str(path), False, simulated, ending)
    else:
        for line in ending_lines(judgement, ending):
            console.print(line, style="bold")
        last_line(console, judgement, str(path))


def show_start(
    console: Console,
    judgement: Judgement,
    recording: Recording,
    footer: str,
    plain: bool = False,
    ending: Ending = JUST_ENDED,
    below: str = "",
) -> None:
    """What comes after a recording: the last screenful on a terminal; elsewhere how it ended, the verdict, the picture and the footer.

    `below`: what will be printed under it, for which its lines are left free.
    """
    simulated = is_simulated(recording)
    if plain or console.is_terminal:
        show_result(console, judgement, footer, plain, simulated, ending, below)
        return
    if simulated:
        console.print(SIMULATED)
    for line in ending_lines(judgement, ending):
        console.print(line, style="bold")
    show(console, judgement, recording.trace, details=False)
    if ending.is_fault:  # before the feed's verdict at the bottom too
        console.print(f"\n{ending_lines(judgement, ending)[0]}", style="bold")
    last_line(console, judgement, footer)
