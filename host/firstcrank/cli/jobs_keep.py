"""firstcrank jobs backup, restore, export: the whole store as one file or one folder."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

PATH = click.Path(path_type=Path)
TROUBLE = 4


@click.command()
@click.argument("file", type=PATH)
@click.option("--check", is_flag=True, help="Restore it into a scratch store and compare every row before it is kept.")
@STORE
def backup(file: Path, check: bool, place: str | None) -> int:
    """Make one FILE of the whole store as it is now. Others may go on filing meanwhile.

    Exit code: 0, or 4 where recordings of the store itself are missing or altered; the rest is in the backup all the same.

    \b
    Examples:
      firstcrank jobs backup shop.backup --check
    """
    from rich.progress import Progress

    from firstcrank.jobs.backup import back_up

    with opened(place) as store, Progress(transient=True) as bar:
        task = bar.add_task("Backing up")
        made = back_up(store, file, lambda n, total: bar.update(task, completed=n, total=total), check)
    for line in made.trouble:
        say(f"Not in the backup: {line}", err=True)
    how = "restored once and compared row for row" if check else "each fits its hash"
    say(f"{file}: {made.rows['jobs']} jobs, {made.rows['starts']} starts, {made.contents} recordings and photos; {how}.")
    return TROUBLE if made.trouble else 0


@click.command()
@click.argument("file", type=PATH)
@click.option("--check", is_flag=True, help="Only check the backup, by restoring it into a scratch store.")
@STORE
def restore(file: Path, check: bool, place: str | None) -> None:
    """Fill an empty store from a backup FILE.

    \b
    Examples:
      firstcrank jobs restore shop.backup --check
      firstcrank jobs restore shop.backup --store new.sqlite
    """
    from firstcrank.jobs.proof import prove
    from firstcrank.jobs.restore import restore as fill

    if check:
        about = prove(file)
        say(f"{file} is whole: {about.rows['jobs']} jobs, {about.rows['starts']} starts, made {about.made_utc}")
        return
    with opened(place, create=True) as store:
        about = fill(store, file)
        say(f"{about.rows['jobs']} jobs and {about.rows['starts']} starts restored into {store.name}")


@click.command("export")
@click.argument("folder", type=PATH)
@STORE
def export_all(folder: Path, place: str | None) -> None:
    """Write the whole store as a Parquet FOLDER.

    \b
    Examples:
      firstcrank jobs export whole_store
    """
    from firstcrank.jobs.export import export_store

    with opened(place) as store:
        for line in export_store(store, folder):
            say(f"Left out: {line}", err=True)
    say(f"{folder}: for example in DuckDB: SELECT verdict, count(*) FROM '{folder}/starts.parquet' GROUP BY verdict")
