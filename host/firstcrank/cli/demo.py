"""firstcrank demo: the trap and its repair, on a simulated vehicle, in one sitting."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.console import Console

    from firstcrank.model.judgement import Judgement

SEED = 7
STORY = (
    (
        "marigold_trap",
        "FAIL",
        "Marigold, a farm pickup with a new diesel. It cranks well and does not fire. A test lamp on the key feed glows with KEY ON.",
    ),
    (
        "marigold_repaired",
        "PASS",
        "The module's key feed now sits on a terminal that is live with KEY ON and in START. Same pickup, same battery.",
    ),
)


@click.command()
def demo() -> int:
    """A start whose key feed dies in START, then the same vehicle repaired. Simulated, no hardware needed.

    \b
    Examples:
      firstcrank demo
    """
    from rich.text import Text

    from firstcrank.cli.screen import Screen

    console = Screen()
    as_expected = True
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, expected, text) in enumerate(STORY, start=1):
            console.rule(f"Start {number} of {len(STORY)}  (simulated)")
            console.print(text + "\n")
            judgement = _one(console, name, Path(folder) / f"{number}.fcr")
            as_expected = as_expected and judgement.verdict == expected
            console.print()
    if as_expected:
        console.print(Text.assemble("Before the repair: ", ("FAIL", "bold red"), ". After it: ", ("PASS", "bold green"), "."))
        console.print("On your vehicle: read firstcrank help safety first; then firstcrank board install, switch-test, start.")
        return 0
    console.print("The demo did not come out as it should: please report this.")
    return 4


def _one(console: Console, name: str, path: Path) -> Judgement:
    from firstcrank.analysis.verdict import judge
    from firstcrank.cli.lead_map import channels_of
    from firstcrank.cli.record import choose_calibration
    from firstcrank.cli.show import show
    from firstcrank.cli.visit_screen import VisitScreen
    from firstcrank.limits import shipped
    from firstcrank.link.board_client import BoardClient
    from firstcrank.link.open import open_link
    from firstcrank.model.context import Context
    from firstcrank.recorder import Plan, record
    from firstcrank.tracefiles.native import read_native

    limits = shipped(12)
    client = BoardClient(open_link(f"sim:{name},seed={SEED}"))
    try:
        client.handshake()
        answers = Context(cranked_with_key=True, module_plugged_in=True)
        plan = Plan(path, limits, choose_calibration(client, None, limits, console), answers, channels_of(()))
        with VisitScreen(console, limits, simulated=True) as screen:
            record(client, plan, screen)
    finally:
        client.close()
    recording = read_native(path)
    judgement = judge(recording.trace, limits, recording.context)
    show(console, judgement, recording.trace, title="Marigold", details=False)
    return judgement
