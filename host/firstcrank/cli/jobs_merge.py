"""firstcrank jobs merge: another store brought into this one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, WHO, opened
from firstcrank.units import counted

if TYPE_CHECKING:
    from firstcrank.jobs.merging import Merged

TROUBLE = 4
MOST_LINES = 20
STOPPED = 1


@click.command()
@click.argument("other")
@click.option("--dry-run", is_flag=True, help="Only say what it would do.")
@click.option("--yes", is_flag=True, help="Do not ask before deleting jobs that were forgotten in the other store.")
@WHO
@STORE
def merge(other: str, dry_run: bool, yes: bool, who: str, place: str | None) -> int:
    """Bring jobs, starts, recordings, photos and history of the store OTHER (a file or a URL) into this one. OTHER is only read.

    Each row comes once, however often it is done. A job whose number is taken here gets a new one, which is told. What was deleted
    for privacy in either store is deleted or stays out. Exit code: 0, or 4 where recordings are missing or something is to be looked at.

    \b
    Examples:
      firstcrank jobs merge laptop.sqlite --dry-run
      firstcrank jobs merge laptop.sqlite --store postgresql://user@server/shop
    """
    from firstcrank.jobs.merging import merge as bring
    from firstcrank.jobs.merging import would_forget
    from firstcrank.jobs.other_store import other_store
    from firstcrank.jobs.scrubbing import scrub

    with opened(place) as store, other_store(other, store) as source:
        numbers = would_forget(store, source)
        if numbers:
            say(f"Deleted for privacy in {source.name}, and here too: job {', '.join(numbers)}", err=True)
            if not (yes or dry_run or click.confirm("Delete here for good?", default=False)):
                return STOPPED
        done = bring(store, source, who, dry_run)
        if done.forgotten and not dry_run:
            for line in scrub(store)[1]:
                say(f"Note: {line}", err=True)
    _tell(done, source.name, dry_run)
    return TROUBLE if done.trouble else 0


def _tell(done: Merged, name: str, dry_run: bool) -> None:
    would = "Would bring" if dry_run else "Brought"
    counts = ", ".join(counted(count, table.replace("_", " ").removesuffix("s")) for table, count in done.rows.items())
    say(f"{would} from {name}: {counts}." if counts else f"{name} has nothing that is not here already.")
    for there, here in done.renumbered:
        say(f"Job {there} there is job {here} here: another job has that number.")
    _lines("Corrected there later", done.changed, err=False)
    if done.same:
        say(f"{done.same} recordings or photos were filed in both stores with the same job: once is enough.")
    if done.kept_out:
        say(f"{done.kept_out} rows were deleted here for privacy and stay out.")
    if done.forgotten:
        say(f"{done.forgotten} jobs or single rows {'would be ' if dry_run else ''}deleted for privacy, as in {name}.")
    _lines("Note", done.trouble, err=True)


def _lines(title: str, lines: list[str], err: bool) -> None:
    for line in lines[:MOST_LINES]:
        say(f"{title}: {line}", err=err)
    if len(lines) > MOST_LINES:
        say(f"... and {len(lines) - MOST_LINES} more", err=err)
