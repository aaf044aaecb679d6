"""firstcrank export: a recording for other tools."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say


@click.command()
@click.argument("start")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--store", "place", envvar="FIRSTCRANK_STORE", help="Record store.")
def export(start: str, file: Path, place: str | None) -> None:
    """Write START (a number in the record, or a recording file) as FILE: .csv, .parquet or .mf4."""
    from firstcrank.jobs.recordings import stored_recording
    from firstcrank.jobs.records import find_start
    from firstcrank.jobs.store import open_store
    from firstcrank.tracefiles.export import write
    from firstcrank.tracefiles.table import load

    if start.isdigit():
        with open_store(place) as store:
            row, _ = find_start(store, start)
            recording = stored_recording(store, row["content_hash"], row["file_name"], row["calibration_json"])
    else:
        recording = load(Path(start))
    write(file, recording)
    say(str(file))
