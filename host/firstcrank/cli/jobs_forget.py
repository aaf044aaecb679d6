"""firstcrank jobs forget: jobs deleted for privacy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from firstcrank.cli.say import say
from firstcrank.cli.store_option import STORE, WHO, opened
from firstcrank.errors import UsageError
from firstcrank.units import counted

if TYPE_CHECKING:
    from firstcrank.jobs.rows import JobRow
    from firstcrank.jobs.store import Store

STOPPED, TROUBLE = 1, 4
# What no command of ours reaches.
ELSEWHERE = (
    "Backups made before still hold it: delete them, or after restoring one: firstcrank jobs merge THIS_STORE --store RESTORED_STORE",
    "Not reached: folders exported or handed over, reports, recordings kept as files, copies elsewhere, the disk's own blocks.",
)


@click.command()
@click.argument("numbers", nargs=-1)
@click.option("--customer", default="", metavar="WORDS", help="All jobs with these words in customer or phone.")
@click.option(
    "--keep-measurements", is_flag=True, help="Keep each start's verdict and figures, without job, day and recording."
)
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--sweep", is_flag=True, help="Delete nothing more; finish what was cut off, and clear the database's free room.")
@click.option("--rewrite", is_flag=True, help="PostgreSQL: write all tables anew at once. Others wait meanwhile.")
@WHO
@STORE
def forget(
    numbers: tuple[str, ...],
    customer: str,
    keep_measurements: bool,
    yes: bool,
    sweep: bool,
    rewrite: bool,
    who: str,
    place: str | None,
) -> int:
    """Delete the jobs NUMBERS for privacy, for good: fields, notes, starts, recordings, photos, history, and what waits for them here.

    What stays: that something was deleted, by whom, when and how much of it; and hashes that keep it from coming back out of an
    outbox, another store or a backup. Exit code: 0 done, 1 not confirmed, 4 something could not be cleared yet.

    \b
    Examples:
      firstcrank jobs forget 1207
      firstcrank jobs forget --customer "M. Tansy" --keep-measurements
      firstcrank jobs forget --sweep
    """
    from firstcrank.jobs import forgetting
    from firstcrank.jobs.scrubbing import scrub

    if sweep and (numbers or customer):
        raise UsageError("--sweep names no job: it finishes what was deleted before")
    with opened(place) as store:
        jobs = [] if sweep else _chosen(store, numbers, customer)
        if jobs and not _confirmed(store, jobs, keep_measurements, yes):
            return STOPPED
        if sweep:
            trouble = forgetting.sweep(store)
        else:
            waited = forgetting.out_of_outbox(store, [job["number"] for job in jobs])
            done = forgetting.forget(store, [job["id"] for job in jobs], who, keep_measurements)
            trouble = done.trouble
            say(f"Deleted: {done.text()}." + (f" {counted(waited, 'start')} out of this computer's outbox." if waited else ""))
        cleared, messages = scrub(store, rewrite)
    for line in (*trouble, *messages, *(() if sweep else ELSEWHERE)):
        say(f"Note: {line}", err=True)
    return 0 if cleared and not trouble else TROUBLE


def _chosen(store: Store, numbers: tuple[str, ...], customer: str) -> list[JobRow]:
    from firstcrank.jobs.forgetting import of_customer
    from firstcrank.jobs.records import find_job

    found = {job["id"]: job for job in (find_job(store, number) for number in numbers)}
    found |= {job["id"]: job for job in of_customer(store, customer)} if customer.strip() else {}
    if not found:
        raise UsageError(
            "name a job, or --customer WORDS: no job is chosen" if not customer else f"no job's customer has {customer!r}"
        )
    return list(found.values())


def _confirmed(store: Store, jobs: list[JobRow], keep_measurements: bool, yes: bool) -> bool:
    from firstcrank.jobs.records import job_detail

    for job in jobs:
        whole = job_detail(store, job["number"])
        found = ((whole.starts, "start"), (whole.notes, "note"), (whole.photos, "photo"))
        counts = ", ".join(counted(len(rows), noun) for rows, noun in found)
        say(f"Job {job['number']}  {job['customer']}  {job['vehicle']}: {counts}, all its history.")
    say("Each start's verdict and figures stay, without job and day." if keep_measurements else "No figure of it stays.")
    return yes or click.confirm(f"Delete {counted(len(jobs), 'job')} for good?", default=False)
