"""firstcrank judge: verdicts on files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from firstcrank.cli.answers import EXIT, FILE, chosen_limits, context_with, judging_options
from firstcrank.errors import FirstcrankError

WORST_FIRST = (2, 4, 1, 3, 0)


@click.command()
@click.argument("files", nargs=-1, required=True, type=FILE)
@judging_options
@click.option("--map", "columns", multiple=True, metavar="ROLE=COLUMN", help="CSV column of a lead; may be repeated.")
@click.option("--uncertainty", metavar="0.5%+20mV", help="Accuracy of the CSV's logger.")
@click.option("--json", "as_lines", is_flag=True, help="One JSON object a file, and nothing else.")
def judge(files: tuple[Path, ...], columns: tuple[str, ...], uncertainty: str | None, as_lines: bool, **options: Any) -> int:
    """Judge recordings (.fcr) or CSV files.

    Exit code: 0 PASS, 1 FAIL, 2 wrong usage, 3 NO VERDICT, 4 file trouble; of several files the worst: 2, 4, 1, 3, 0.
    """
    codes = []
    for file in files:
        try:
            codes.append(_one(file, columns, uncertainty, as_lines, options))
        except FirstcrankError as error:
            click.echo(f"firstcrank: {error}", err=True)
            codes.append(error.exit_code)
    return min(codes, key=WORST_FIRST.index)


def _one(file: Path, columns: tuple[str, ...], uncertainty: str | None, as_lines: bool, options: dict[str, Any]) -> int:
    from rich.console import Console

    from firstcrank.analysis.as_json import to_line
    from firstcrank.analysis.verdict import judge as judge_trace
    from firstcrank.calibration import read_calibration
    from firstcrank.cli.show import show
    from firstcrank.tracefiles.csv import parse_map, parse_uncertainty
    from firstcrank.tracefiles.table import load

    calibration = read_calibration(options["calibration_file"]) if options["calibration_file"] else None
    accuracy = parse_uncertainty(uncertainty) if uncertainty else None
    mapped = parse_map(columns)
    chosen_limits(options["limits_file"], options["system"])  # a wrong limits file is told before a wrong trace
    recording = load(file, calibration, mapped, accuracy)
    limits = chosen_limits(options["limits_file"], options["system"], recording.limits)
    judgement = judge_trace(recording.trace, limits, context_with(recording.context, options))
    if as_lines:
        click.echo(to_line(judgement, str(file)))
    else:
        show(Console(highlight=False), judgement, recording.trace, title=file.name)
    return EXIT[judgement.verdict]
