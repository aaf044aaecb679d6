"""firstcrank jobs backup, restore, export: the whole store as one file or one folder."""

from __future__ import annotations

from pathlib import Path

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened

PATH = click.Path(path_type=Path)


@click.command()
@click.argument("file", type=PATH)
@STORE
def backup(file: Path, place: str | None) -> None:
    """Make one FILE of the whole store, and check it.

    \b
    Examples:
      firstcrank jobs backup shop.backup
      firstcrank jobs backup shop.backup --check
    """
    from rich.progress import Progress

    from firstcrank.jobs.backup import back_up

    with opened(place) as store, Progress(transient=True) as bar:
        task = bar.add_task("Backing up")
        kept, trouble = back_up(store, file, lambda n, total: bar.update(task, completed=n, total=total))
    for line in trouble:
        say(f"Not in the backup: {line}", err=True)
    say(f"{file}: {kept} recordings and photos, checked.")


@click.command()
@click.argument("file", type=PATH)
@click.option("--check", is_flag=True, help="Only check the backup.")
@STORE
def restore(file: Path, check: bool, place: str | None) -> None:
    """Fill an empty store from a backup FILE.

    \b
    Examples:
      firstcrank jobs restore shop.backup
    """
    from firstcrank.jobs.backup import check_backup
    from firstcrank.jobs.backup import restore as fill

    if check:
        about = check_backup(file)
        say(f"{file} is whole: {about['rows']['jobs']} jobs, {about['rows']['starts']} starts, made {about['made_utc']}")
        return
    with opened(place) as store:
        about = fill(store, file)
        say(f"{about['rows']['jobs']} jobs and {about['rows']['starts']} starts restored into {store.name}")


@click.command("export")
@click.argument("folder", type=PATH)
@STORE
def export_all(folder: Path, place: str | None) -> None:
    """Write the whole store as a Parquet FOLDER.

    \b
    Examples:
      firstcrank jobs export starts.csv
    """
    from firstcrank.jobs.export import export_store

    with opened(place) as store:
        for line in export_store(store, folder):
            say(f"Left out: {line}", err=True)
    say(f"{folder}: for example in DuckDB: SELECT verdict, count(*) FROM '{folder}/starts.parquet' GROUP BY verdict")
