"""The answer of a switch test: its own large word, what it can't show, what to check next with its cautions. Never a verdict of a start."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from firstcrank.analysis.causes.advice import ADVICE
from firstcrank.analysis.switch_test import CANNOT_SHOW, SwitchResult, SwitchWord
from firstcrank.thresholds.switch import SWITCH
from firstcrank.units import sentence

if TYPE_CHECKING:
    from rich.console import Console

EXIT = {SwitchWord.HELD: 3, SwitchWord.LOST: 1, SwitchWord.NOT_SEEN: 3}
AGAIN = "firstcrank switch-test"


def show_switch(console: Console, result: SwitchResult, simulated: bool) -> None:
    """Prints the answer, the next check last so that it stays on the screen."""
    if simulated:
        console.print("SIMULATED: no vehicle", style="bold reverse")
    console.print(Text(f" {result.word} ".center(min(console.width, 80)), style="bold reverse"))
    console.print(f"Why: {sentence(result.reason)}")
    if result.word is SwitchWord.HELD:
        console.print(f"It can't show: {'; '.join(CANNOT_SHOW)}.")
        if result.turns < SWITCH.turns_wanted:
            console.print(
                f"Next: {AGAIN} again, the starter still disabled, {SWITCH.turns_wanted} turns through START this time."
            )
        else:
            console.print("Next: put the S wire back, then firstcrank start.")
    elif result.word is SwitchWord.LOST:
        advice = ADVICE["feed_dead_in_start"]
        console.print(f"Check next: {advice.check}")
        for caution in advice.cautions:
            console.print(f"Caution: {caution}")
        console.print(
            f"Do not crank. The starter stays disabled until the feed holds: mend it, then {AGAIN} again.", style="bold"
        )
    else:
        console.print(
            "Check next: the starter lead on the removed S wire, the starter still disabled; neutral, the clutch pedal down (a start "
            f"interlock keeps the wire dead); then {AGAIN} again. A module-controlled starter may keep it dead in a healthy vehicle."
        )
