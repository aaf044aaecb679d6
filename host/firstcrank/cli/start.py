"""firstcrank start: led through a first start, from the dead checks to the key off after running."""

from __future__ import annotations

from typing import Unpack

import click

from firstcrank.cli.grouped import GroupedCommand
from firstcrank.cli.options import RecordingOptions
from firstcrank.cli.record import recording_options, run_recording


@click.command(cls=GroupedCommand)
@recording_options
@click.option("--patience", type=click.FloatRange(10, 7200), default=600.0, help="End after so many seconds without a crank.")
@click.option("--starter-on", type=click.FloatRange(1, 60), help="Maker's longest crank, seconds.")
@click.option("--starter-rest", type=click.FloatRange(5, 1800), help="Maker's rest of the starter, seconds.")
@click.option("--oil-within", type=click.FloatRange(1, 60), help="Maker's time until oil pressure shows, seconds.")
def start(
    patience: float,
    starter_on: float | None,
    starter_rest: float | None,
    oil_within: float | None,
    **options: Unpack[RecordingOptions],
) -> int:
    """Be led through a first start: dead checks, key off, ON, WAIT lamp, cranks with rests, oil, idle, key off.

    One large word at a time and a bell at each change. Several cranks go into one recording; what is skipped stands in the report.
    With --yes nothing is asked and every question counts as skipped. A runaway and missing oil pressure lead the result whatever the key
    feed's verdict. Exit code: 0 PASS, 1 FAIL, a runaway or no oil pressure, 2 wrong usage, 3 NO VERDICT, 4 trouble with the board, port
    or file.

    \b
    Examples:
      firstcrank start --job 1207
      firstcrank start --starter-on 15 --starter-rest 60
      firstcrank start --port sim:runs_on,speed=1
    """
    from dataclasses import replace

    from firstcrank.cli.before_crank import ask_before, ask_makers
    from firstcrank.visit.before import BEFORE, answer
    from firstcrank.visit.values import MakersLimits, Visit

    def asked(known: RecordingOptions) -> Visit:
        makers = MakersLimits(starter_on, starter_rest, known["hold_on_s"], oil_within)
        visit = Visit(guided=True)
        if known["yes"]:
            for check in BEFORE:
                visit = answer(visit, check, "skip", "--yes")
        else:
            visit = ask_before(visit)
            makers = ask_makers(makers)
        if makers.power_down_s is not None:
            known["hold_on_s"] = makers.power_down_s
        return replace(visit, makers=makers, attended=not known["yes"], patience_s=patience)

    options["longest_s"] = max(options["longest_s"], 3600.0) + patience
    return run_recording(options, asked)
