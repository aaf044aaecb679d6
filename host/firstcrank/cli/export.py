"""firstcrank export: a recording for other tools."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.tracefiles.table import load, writable_suffixes, write

HELP = f"Write START (a number in the record, or a recording file) as FILE: {', '.join(writable_suffixes())}."
EXAMPLES = "\n\n\b\nExamples:\n  firstcrank export start.fcr start.csv\n  firstcrank export 12 start.parquet"


@click.command(help=HELP + EXAMPLES)
@click.argument("start")
@click.argument("file", type=click.Path(path_type=Path))
@STORE
def export(start: str, file: Path, place: str | None) -> None:
    """Write a recording as a file of another format."""
    from firstcrank.jobs.recordings import recording_of
    from firstcrank.jobs.records import find_start

    if start.isdigit():
        with opened(place) as store:
            row, _ = find_start(store, start)
            recording = recording_of(store, row)
    else:
        recording = load(Path(start))
    write(file, recording)
    say(str(file))
