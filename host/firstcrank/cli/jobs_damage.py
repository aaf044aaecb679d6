"""firstcrank jobs check, salvage: is the record whole, and what can still be saved of one that is not."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

TROUBLE = 4
MOST_LINES = 20


@click.command()
@STORE
def check(place: str | None) -> int:
    """Read every row and every recording of the record and say what is lost or wrong. Nothing is changed.

    Exit code: 0 whole, 4 not.

    \b
    Examples:
      firstcrank jobs check
      firstcrank jobs check --store shop.sqlite
    """
    from rich.progress import Progress

    from firstcrank.jobs.check import check as check_record

    with opened(place) as store, Progress(transient=True) as bar:
        task = bar.add_task("Reading")
        found = check_record(store, lambda n, total: bar.update(task, completed=n, total=total))
    for line in found.trouble:
        say(line, err=True)
    for line in found.notes:
        say(f"Note: {line}")
    read = f"{found.rows.get('jobs', 0)} jobs, {found.rows.get('starts', 0)} starts, {found.contents} recordings and photos"
    if not found.trouble:
        say(f"The record is whole: {read}.")
        return 0
    say(f"Readable: {read}. First make a copy of it, then: firstcrank jobs salvage NEW.sqlite")
    return TROUBLE


@click.command()
@click.argument("new", type=click.Path(path_type=Path))
@STORE
def salvage(new: Path, place: str | None) -> int:
    """Save what can still be read of a damaged store (--store) into the store NEW. The damaged one is not changed.

    Recordings that no row names any more are judged and filed with the job "salvaged". Exit code: 0 all was saved, 4 not all.

    \b
    Examples:
      firstcrank jobs salvage saved.sqlite --store shop.sqlite
    """
    from firstcrank.errors import UsageError
    from firstcrank.jobs.salvage import salvage as save
    from firstcrank.jobs.typed_place import default_place

    if new.exists():
        raise UsageError(f"{new} is already there: choose another name")
    with opened(str(new), create=True) as target:
        done = save(place or default_place(), target)
    for line in done.lost[:MOST_LINES]:
        say(f"Lost: {line}", err=True)
    if len(done.lost) > MOST_LINES:
        say(f"... and {len(done.lost) - MOST_LINES} more", err=True)
    say(
        f"Saved into {new}: {done.rows.get('jobs', 0)} jobs, {done.rows.get('starts', 0)} starts, {done.contents} recordings and photos"
    )
    if done.lonely:
        say(f'{done.lonely} recordings or photos that no row names are in the job "salvaged"')
    return TROUBLE if done.lost else 0
