"""firstcrank jobs backup, restore, export: the whole store as one file or one folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, opened
from firstcrank.errors import UsageError

if TYPE_CHECKING:
    from firstcrank.jobs.store import Store

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
@click.option("--job", "number", help="This job alone, as a folder: recordings, photos, report, JSON, CSV.")
@click.option("--find", "search", help="The jobs that a search finds, each as such a folder.")
@click.option("--page", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the PDF.")
@STORE
def export_all(folder: Path, number: str | None, search: str | None, page: str, place: str | None) -> int:
    """Hand jobs over as FOLDER/NUMBER; without --job and --find write the whole store as a Parquet FOLDER.

    A job's folder holds all that is kept with it, internal notes too. Exit code: 0, or 4 where something could not be written.

    \b
    Examples:
      firstcrank jobs export --job 1207 handed_over
      firstcrank jobs export --find "green pickup" handed_over
      firstcrank jobs export whole_store
    """
    from firstcrank.jobs.export import export_store

    with opened(place) as store:
        if number is not None or search is not None:
            return _handed_over(store, folder, number, search, page)
        trouble = export_store(store, folder)
    for line in trouble:
        say(f"Left out: {line}", err=True)
    say(f"{folder}: for example in DuckDB: SELECT verdict, count(*) FROM '{folder}/starts.parquet' GROUP BY verdict")
    return TROUBLE if trouble else 0


def _handed_over(store: Store, folder: Path, number: str | None, search: str | None, page: str) -> int:
    from firstcrank.report.hand_over import found_jobs, hand_over

    if number is not None and search is not None:
        raise UsageError("give --job or --find, not both")
    numbers = [number] if number is not None else found_jobs(store, search or "")
    if not numbers:
        raise UsageError(f"no job has {search!r}: firstcrank jobs find lists what is found")
    trouble = []
    for one in numbers:
        trouble += [f"job {one}, {line}" for line in hand_over(store, one, folder, page)]
    for line in trouble:
        say(f"Left out: {line}", err=True)
    say(f"{len(numbers)} jobs in {folder}")
    return TROUBLE if trouble else 0
